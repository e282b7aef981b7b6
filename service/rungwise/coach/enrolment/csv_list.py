"""Many clients from a CSV file: columns are matched, the good rows taken, the others set aside.

RFC 4180, with commas, semicolons or tabs between the cells. What would be done is shown first; the
second press carries the hash of what was shown.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256

from sqlmodel import Session, col, select

from rungwise.carriers.checks import storable
from rungwise.coach.alerting.page_test import not_answered
from rungwise.coach.enrolment.columns import COLUMNS, JOINED, guesses
from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import Draft, read_intake
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.errors import ServiceError
from rungwise.store.tables import Client, Practice, Trainer
from rungwise.ticks.due import is_quiet

MOST_ROWS = 500
LARGEST_BYTES = 100_000
NEEDED = ("name", "phone")
DELIMITERS = (",", ";", "\t")
LONGEST_CELL = 2000
# What keeps a spreadsheet from taking a cell for a formula is no part of what was written.
MARKED = re.compile(r"^'(?=\s*[=+\-@])")
# The column that rows set aside have more; a file with it is read again as it is.
WHY = "why"


@dataclass(frozen=True, slots=True)
class Problem:
    """Something to put right in the file. `line` counts from 1, the header's; `column` by name."""

    line: int
    column: str
    told: str


@dataclass(frozen=True, slots=True)
class Row:
    """One client of the list, and the line it begins on."""

    line: int
    draft: Draft


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the file: its heading, what stands in it first, and what it is taken for."""

    heading: str
    sample: str
    taken_for: str


@dataclass(frozen=True, slots=True)
class ReadList:
    """What a file holds: `rows` can be taken, `aside` is the lines that can't, with `problems`.

    `problems` without a line aside are about the file as a whole: nothing can be taken.
    """

    columns: tuple[Column, ...] = ()
    rows: tuple[Row, ...] = ()
    problems: tuple[Problem, ...] = ()
    aside: tuple[tuple[int, tuple[str, ...]], ...] = ()
    note: str = ""

    @property
    def may_begin(self) -> list[Draft]:
        """Those whom nothing holds from their first text."""
        return [row.draft for row in self.rows if row.draft.begins]

    @property
    def matching(self) -> tuple[str, ...]:
        return tuple(column.taken_for for column in self.columns)

    @property
    def seen(self) -> str:
        """Tells whether what is done is what was looked at."""
        told = [repr((row.line, row.draft.new.phone, row.draft.new.name)) for row in self.rows]
        told += [repr(self.matching), repr(self.problems)]
        return sha256("\n".join(told).encode()).hexdigest()[:32]


class ListChanged(ServiceError):
    """What would be done has changed since you looked. Look again, then add them."""

    def __init__(self, found: ReadList) -> None:
        super().__init__(self.__doc__)
        self.found = found


def decoded(raw: bytes) -> tuple[str, str]:
    """The file's text, and a note where its letters had to be guessed."""
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return storable(raw.decode(encoding)), ""
    except UnicodeDecodeError:
        pass
    note = "The file is not in UTF-8 and was read as Windows-1252: check the accented letters."
    return storable(raw.decode("cp1252", "replace")), note


def read_list(
    session: Session,
    trainer: Trainer,
    text: str,
    note: str = "",
    matching: Sequence[str] | None = None,
) -> ReadList:
    """Read the whole list against what is stored, without storing anything.

    `matching` says for each column what it is taken for, empty for nothing; None guesses.
    """
    if len(text.encode()) > LARGEST_BYTES:
        return _refused(1, "", f"The file is larger than {LARGEST_BYTES // 1000} kB. Split it.")
    try:
        lines = list(_lines(text))
    except csv.Error as error:
        return _refused(1, "", f"This can't be read as CSV: {error}.")
    header_line, header = lines[0] if lines else (1, [])
    below = lines[1:]
    taken_for = guesses(header)
    if matching is not None and len(matching) == len(header):
        taken_for = tuple(one if one in COLUMNS else "" for one in matching)
    columns = tuple(
        Column(heading.strip()[:40], _sample(below, place), taken_for[place])
        for place, heading in enumerate(header)
    )
    problems = list(_matching_problems(header_line, taken_for))
    if not below:
        problems.append(Problem(header_line, "", "There is nobody in the list below its header."))
    if len(below) > MOST_ROWS:
        told = f"More than {MOST_ROWS} rows. Split the file."
        problems.append(Problem(below[MOST_ROWS][0], "", told))
    if problems:
        return ReadList(columns=columns, problems=tuple(problems), note=note)
    return _read_rows(session, trainer, ReadList(columns=columns, note=note), below)


def _sample(lines: Sequence[tuple[int, list[str]]], place: int) -> str:
    cells = (cells[place].strip() for _, cells in lines if place < len(cells))
    return next((cell[:40] for cell in cells if cell), "")


def _read_rows(
    session: Session,
    trainer: Trainer,
    found: ReadList,
    lines: Sequence[tuple[int, list[str]]],
) -> ReadList:
    practice = session.get_one(Practice, trainer.practice_id)
    unreached = not_answered(trainer)
    rows: list[Row] = []
    problems: list[Problem] = []
    for line, cells in lines:
        if len(cells) > len(found.columns):
            told = f"{len(cells)} cells under {len(found.columns)} columns. "
            told += "Put words with commas in quotes."
            problems.append(Problem(line, "", told))
            continue
        try:
            given = _given(found.matching, cells)
            draft = read_intake(given, practice, screened=False, unreached=unreached)
            rows.append(Row(line, draft))
        except Unfinished as unfinished:
            problems += [Problem(line, name, told) for name, told in unfinished.problems.items()]
    problems += _twins(session, practice, rows)
    wrong = {problem.line for problem in problems}
    return replace(
        found,
        rows=tuple(row for row in rows if row.line not in wrong),
        problems=tuple(sorted(problems, key=lambda problem: problem.line)),
        aside=tuple((line, tuple(cells)) for line, cells in lines if line in wrong),
    )


def _given(matching: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """A row's cells by what their columns are taken for; parts of a name are put together."""
    given: dict[str, str] = {}
    for name, written in zip(matching, cells, strict=False):
        if name:
            cell = MARKED.sub("", written)
            held = f"{given[name]} {cell}".strip() if name in given else cell
            given[name] = held[:LONGEST_CELL]
    return given


def _refused(line: int, column: str, told: str) -> ReadList:
    return ReadList(problems=(Problem(line, column, told),))


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """The rows that hold anything, each with the line it begins on."""
    first = text.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    line = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield line, cells
        line = reader.line_num + 1


def _matching_problems(line: int, matching: Sequence[str]) -> Iterator[Problem]:
    for place, name in enumerate(matching):
        if name and name not in JOINED and name in matching[:place]:
            yield Problem(line, name, "Two columns are taken for this one. Leave one of them out.")
    for name in NEEDED:
        if name not in matching:
            yield Problem(line, name, "This column is needed. Say which of the file's it is.")


def _twins(session: Session, practice: Practice, rows: list[Row]) -> list[Problem]:
    """Phones that stand in the list twice, or that a client of the practice has already."""
    seen: dict[str, int] = {}
    found = []
    taken = set(
        session.exec(
            select(Client.phone).where(
                Client.practice_id == practice.id,
                col(Client.phone).in_([row.draft.phone.e164 for row in rows]),
            )
        ).all()
    )
    for row in rows:
        phone = row.draft.phone.e164
        if phone in seen:
            found.append(Problem(row.line, "phone", f"Line {seen[phone]} has the same number."))
        elif phone in taken:
            found.append(Problem(row.line, "phone", "A client of the practice has this number."))
        seen.setdefault(phone, row.line)
    return found


def set_aside(found: ReadList) -> list[list[str]]:
    """The lines that could not be taken, as they were, with why: header first."""
    header = [column.heading for column in found.columns]
    keep = [place for place, heading in enumerate(header) if heading.lower() != WHY]
    told: dict[int, list[str]] = {}
    for problem in found.problems:
        words = f"{problem.column}: {problem.told}" if problem.column else problem.told
        told.setdefault(problem.line, []).append(words)
    lines = [
        [*(cells[place] if place < len(cells) else "" for place in keep), " ".join(told[line])]
        for line, cells in found.aside
    ]
    return [[*(header[place] for place in keep), WHY], *lines]


@dataclass(frozen=True, slots=True)
class Added:
    """One client who was added, and whether the first text goes."""

    client_id: int
    name: str
    begun: bool
    waits_for: tuple[str, ...]


def import_list(
    session: Session,
    now: datetime,
    trainer: Trainer,
    text: str,
    *,
    matching: Sequence[str],
    seen: str,
    begin: bool,
) -> tuple[list[Added], ReadList]:
    """Add everybody whose row is good, in this transaction; also what was set aside.

    ListChanged, and nobody is added, if that is not what was looked at. With `begin`, those whom
    nothing holds get their first text now, unless it is a quiet hour where they are: a list is
    sent from a desk, not with the client beside it.
    """
    practice = session.get_one(Practice, trainer.practice_id)
    found = read_list(session, trainer, text, matching=matching)
    if found.seen != seen or not found.rows:
        raise ListChanged(found)
    added = []
    for row in found.rows:
        draft = row.draft
        quiet = is_quiet(now, draft.new.time_zone, quiet_hours(practice))
        goes = begin and draft.begins and not quiet
        client = add_from(session, now, trainer, draft, begin=goes)
        waits = (*draft.holding, *draft.waits_for)
        if draft.begins and not goes:
            waits = ("It is a quiet hour where they are.",) if begin else ("Begin when you like.",)
        added.append(Added(client.id, client.name, goes, waits))
    record(
        session,
        now,
        trainer,
        "clients imported",
        clients=len(added),
        set_aside=len(found.aside),
    )
    return added, found
