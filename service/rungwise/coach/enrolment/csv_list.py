"""Many clients from a CSV file: everything wrong is told first, and all of them or none are added.

RFC 4180, with commas, semicolons or tabs between the cells.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.carriers.checks import storable
from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import FIELDS, Draft, read_intake
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.errors import ServiceError
from rungwise.store.tables import Client, Practice, Trainer
from rungwise.ticks.due import is_quiet

MOST_ROWS = 500
LARGEST_BYTES = 100_000
COLUMNS = tuple(name for name in FIELDS if name != "first_key")
NEEDED = ("name", "phone")
DELIMITERS = (",", ";", "\t")
LONGEST_CELL = 2000


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
class ReadList:
    """What a file holds. Nothing may be added from it while there are problems."""

    rows: tuple[Row, ...] = ()
    problems: tuple[Problem, ...] = ()
    note: str = ""

    @property
    def may_begin(self) -> list[Draft]:
        """Those whom nothing holds from their first text."""
        return [row.draft for row in self.rows if row.draft.begins]


class ListRefused(ServiceError):
    """The list has something to put right, so nobody was added."""

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


def read_list(session: Session, practice: Practice, text: str, note: str = "") -> ReadList:
    """Read the whole list against what is stored, without storing anything."""
    if len(text.encode()) > LARGEST_BYTES:
        return _refused(1, "", f"The file is larger than {LARGEST_BYTES // 1000} kB. Split it.")
    try:
        lines = iter(list(_lines(text)))
    except csv.Error as error:
        return _refused(1, "", f"This can't be read as CSV: {error}.")
    header_line, header = next(lines, (1, []))
    columns = [name.strip().lower().replace(" ", "_") for name in header]
    problems = list(_header_problems(header_line, columns))
    if problems:
        return ReadList(problems=tuple(problems), note=note)
    rows: list[Row] = []
    for line, cells in lines:
        if len(rows) + len(problems) >= MOST_ROWS:
            problems.append(Problem(line, "", f"More than {MOST_ROWS} rows. Split the file."))
            break
        if len(cells) > len(columns):
            told = (
                f"{len(cells)} cells under {len(columns)} columns. Put words with commas in quotes."
            )
            problems.append(Problem(line, "", told))
            continue
        given = {name: cell[:LONGEST_CELL] for name, cell in zip(columns, cells, strict=False)}
        try:
            rows.append(Row(line, read_intake(given, practice, screened=False)))
        except Unfinished as unfinished:
            problems += [Problem(line, name, told) for name, told in unfinished.problems.items()]
    problems += _twins(session, practice, rows)
    if not rows and not problems:
        return _refused(header_line, "", "There is nobody in the list below its header.")
    problems.sort(key=lambda problem: problem.line)
    return ReadList(tuple(rows), tuple(problems), note)


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


def _header_problems(line: int, columns: list[str]) -> Iterator[Problem]:
    for place, name in enumerate(columns):
        if not name:
            yield Problem(line, f"column {place + 1}", "A column has no name.")
        elif name not in COLUMNS:
            yield Problem(line, name[:40], "There is no such column. Take it out or rename it.")
        elif name in columns[:place]:
            yield Problem(line, name, "This column is there twice.")
    for name in NEEDED:
        if name not in columns:
            yield Problem(line, name, "This column is needed.")


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


@dataclass(frozen=True, slots=True)
class Added:
    """One client who was added, and whether the first text goes."""

    client_id: int
    name: str
    begun: bool
    waits_for: tuple[str, ...]


def import_list(
    session: Session, now: datetime, trainer: Trainer, text: str, *, begin: bool
) -> list[Added]:
    """Add everybody in this transaction; ListRefused, and nobody is, if anything is wrong.

    With `begin`, those whom nothing holds get their first text now, unless it is a quiet hour
    where they are: a list is sent from a desk, not with the client beside it.
    """
    practice = session.get_one(Practice, trainer.practice_id)
    found = read_list(session, practice, text)
    if found.problems:
        raise ListRefused(found)
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
    record(session, now, trainer, "clients imported", clients=len(added))
    return added
