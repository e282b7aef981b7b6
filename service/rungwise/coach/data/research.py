"""The research export: tidy pseudonymous tables, their codebook, what is missing, and a hash.

Clients are those whose ids are given. A pseudonym is a keyed hash: with the same key a later
export has the same ones, and without the key nobody can make them. Rows of tables are in order of
client and day, so the same data give the same files and the same hash.
"""

import csv
import hashlib
import hmac
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from sqlmodel import Session, col, select

from rungwise.coach.data.research_parquet import refuse_without_parquet, write_parquet
from rungwise.coach.data.research_tables import TABLES
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.falls_followed import asked_of, followed
from rungwise.coach.record.moves import whole_past
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reviews.comparing import Drawn, lots_of, protocol_of
from rungwise.coach.reviews.sessions import sessions_of
from rungwise.concepts.fall_facts import FALL_FACTS
from rungwise.errors import ImpossibleValue
from rungwise.evidence.dose import Session as Practised
from rungwise.evidence.falls import FallEvent, Followed
from rungwise.evidence.falls_followed import Asked
from rungwise.evidence.rates import small_cell
from rungwise.ladder.estimate import difficulty
from rungwise.ladder.moves import PastDay
from rungwise.store.tables import Client, ComparisonRow, Fall, Message, Question, Retest
from rungwise.time_zone import zone_named

LEAST_KEY_BYTES = 16
CODEBOOK = ("table", "column", "kind", "unit", "values", "source", "what")
MISSING = ("table", "column", "rows", "missing", "share")
GROUPS = ("practice", "clients", "fallers", "repeat_fallers")

LONG_AGO = date(2000, 1, 1)

Row = Mapping[str, Any]


def write_research(
    session: Session,
    folder: Path,
    client_ids: Sequence[int],
    key: bytes,
    until: date,
    progress: Callable[[], object] = lambda: None,
    parquet: bool = False,
) -> str:
    """Write the export into an empty or new folder; the SHA-256 of all the tables together.

    Clients are followed up to, not with, `until`. `progress` is called after each of them. With
    `parquet` each table is written in that form too. ImpossibleValue for a short key or a folder
    that holds something; NoParquet where what writes it is not installed.
    """
    if parquet:
        refuse_without_parquet()
    if len(key) < LEAST_KEY_BYTES:
        allowed = f"at least {LEAST_KEY_BYTES} bytes"
        raise ImpossibleValue("key", f"{len(key)} bytes", allowed)
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise ImpossibleValue("folder", str(folder), "a new or empty one")
    rows = _rows(session, client_ids, key, until, progress)
    for name, columns in TABLES.items():
        _write(folder / f"{name}.csv", [one.name for one in columns], rows[name])
        if parquet:
            write_parquet(folder / f"{name}.parquet", columns, rows[name])
    _write(folder / "codebook.csv", CODEBOOK, _codebook())
    _write(folder / "missing.csv", MISSING, _missing(rows))
    _write(folder / "groups.csv", GROUPS, _groups(rows))
    whole = hashlib.sha256()
    lines = []
    for name in sorted(TABLES):
        content = (folder / f"{name}.csv").read_bytes()
        whole.update(content)
        lines.append(f"{hashlib.sha256(content).hexdigest()}  {name}.csv\n")
        if parquet:
            same = (folder / f"{name}.parquet").read_bytes()
            lines.append(f"{hashlib.sha256(same).hexdigest()}  {name}.parquet\n")
    (folder / "SHA256SUMS").write_text("".join(lines), encoding="ascii")
    return whole.hexdigest()


def pseudonym(key: bytes, kind: str, number: int) -> str:
    """The same for the same key and number; nothing can be told from it without the key."""
    return hmac.new(key, f"{kind} {number}".encode(), hashlib.sha256).hexdigest()[:12]


@dataclass(frozen=True, slots=True)
class _Told:
    """What is known of clients' falls and sessions, read for all of them at once."""

    falls: Mapping[int, Sequence[FallEvent]]
    records: Mapping[int, Fall]
    asked: Mapping[int, Sequence[Question]]
    answered: Mapping[int, Sequence[Asked]]
    followed: Mapping[int, Followed]
    sessions: Mapping[int, Sequence[Practised]]
    lots: Mapping[int, Sequence[tuple[ComparisonRow, Drawn]]]


def _told(session: Session, clients: Sequence[Client], until: date) -> _Told:
    ids = [client.id for client in clients]
    weeks = defaultdict(list)
    rows = select(Question).where(
        col(Question.client_id).in_(ids), col(Question.kind) == "fall_weekly"
    )
    for week in session.exec(rows.order_by(col(Question.local_date), col(Question.id))).all():
        weeks[week.client_id].append(week)
    records = session.exec(select(Fall).where(col(Fall.client_id).in_(ids))).all()
    return _Told(
        falls=falls_of(session, clients, datetime.combine(LONG_AGO, time(), UTC)),
        records={row.id: row for row in records},
        asked=weeks,
        answered=asked_of(session, ids),
        followed=followed(session, clients, LONG_AGO, until),
        sessions=sessions_of(session, clients, LONG_AGO, until),
        lots=lots_of(session, {client.practice_id for client in clients}),
    )


def _rows(
    session: Session,
    ids: Sequence[int],
    key: bytes,
    until: date,
    progress: Callable[[], object],
) -> dict[str, list[Row]]:
    clients = session.exec(select(Client).where(col(Client.id).in_(ids))).all()
    told = _told(session, clients, until)
    found: dict[str, list[Row]] = {name: [] for name in TABLES}
    for client in sorted(clients, key=lambda one: pseudonym(key, "client", one.id)):
        for table, row in _of_client(session, client, told, key):
            found[table].append({"client": pseudonym(key, "client", client.id), **row})
        session.expunge_all()
        progress()
    return found


def _of_client(
    session: Session, client: Client, told: _Told, key: bytes
) -> Iterator[tuple[str, Row]]:
    situation = load(session, client)
    past = list(whole_past(session, client.id)) if situation is not None else []
    zone = zone_named(client.time_zone)
    began = (client.consent_at or client.created_at).astimezone(zone).date()
    first = past[0].day if past else began
    last = past[-1].day if past else first
    yield "clients", _client_row(client, situation, (last - first).days, key)
    if situation is not None:
        for one in past:
            yield from _day_rows(situation, one, first)
    yield from _fall_rows(client.id, told, first)
    yield from _retest_rows(session, client.id, first)
    yield from _lot_rows(told.lots.get(client.id, ()), first)
    texts = select(Message).where(Message.client_id == client.id).order_by(col(Message.id))
    for text in session.exec(texts):
        day = text.local_date or text.created_at.astimezone(zone).date()
        reading = text.reading or {}
        yield (
            "messages",
            {
                "day": (day - first).days,
                "direction": text.direction,
                "kind": text.kind if text.direction == "out" else None,
                "state": text.state if text.direction == "out" else None,
                "read_as": reading.get("kind"),
                "reader_version": text.reader_version,
            },
        )


def _yes_no(value: bool) -> str:
    return "yes" if value else "no"


def _fall_rows(client_id: int, told: _Told, first: date) -> Iterator[tuple[str, Row]]:
    """Sessions, falls, what was asked and answered, and for how long the client is followed."""
    for one in told.sessions.get(client_id, ()):
        yield (
            "sessions",
            {
                "day": (one.day - first).days,
                "planned": _yes_no(one.planned),
                "done": _yes_no(one.done),
                "why_not": one.why,
                "holds": one.holds,
                "held_s": one.seconds,
            },
        )
    seen = told.followed.get(client_id)
    counted = set(seen.falls) if seen is not None else set()
    for number, fall in enumerate(told.falls.get(client_id, ()), start=1):
        record = told.records.get(fall.record or 0)
        yield (
            "falls",
            {
                "day": (fall.day - first).days,
                "number": number,
                "first_day": (fall.first - first).days,
                "last_day": (fall.last - first).days,
                "tellings": fall.tellings,
                "answered_for": _yes_no(fall in counted),
                "recorded": _yes_no(record is not None),
                **{name: getattr(record, name, None) for name in FALL_FACTS},
            },
        )
    weeks = zip(told.asked.get(client_id, ()), told.answered.get(client_id, ()), strict=True)
    for week, period in weeks:
        yield (
            "falls_asked",
            {
                "day": (period.last - first).days,
                "since_day": (period.since - first).days,
                "answer": week.answer,
                "answered": _yes_no(period.answered),
            },
        )
    if seen is not None:
        yield (
            "follow_up",
            {
                "days_answered": seen.days_answered,
                "days_missing": seen.days_missing,
                "falls": len(seen.falls),
                "falls_elsewhere": len(seen.elsewhere),
                "days_to_first": int(seen.days_to_first),
                "fell": _yes_no(bool(seen.falls or seen.elsewhere)),
            },
        )


def _client_row(client: Client, situation: Situation | None, days: int, key: bytes) -> Row:
    row: dict[str, Any] = {
        "practice": pseudonym(key, "practice", client.practice_id),
        "state": client.state,
        "language": client.language,
        "days_followed": days,
    }
    if situation is not None:
        body = situation.plan_row.profile["body"]
        row |= {
            "planned_days_a_week": len(situation.settings.weekdays),
            "target_s": situation.settings.target_s,
            "foot_length_mm": body.get("foot_length_mm"),
            "foot_breadth_mm": body.get("foot_breadth_mm"),
        }
    return row


def _day_rows(situation: Situation, one: PastDay, first: date) -> Iterator[tuple[str, Row]]:
    day, report, move = (one.day - first).days, one.report, one.move
    yield (
        "moves",
        {
            "day": day,
            "kind": move.kind,
            "from_rung": move.from_key,
            "to_rung": move.to_key,
            "rule": move.rule,
            "rule_version": move.version,
        },
    )
    if report is None:
        return
    ladder = situation.ladder
    known = report.rung_key in ladder
    yield (
        "days",
        {
            "day": day,
            "rung": report.rung_key,
            "difficulty": round(difficulty(ladder[report.rung_key]), 3) if known else None,
            "verdict": move.facts.get("verdict"),
            "steadiness": report.steadiness,
            "skipped": "yes" if report.skipped else "no",
            "fall": report.fall,
            "pain": report.pain,
            "dizzy": report.dizzy,
        },
    )
    for number, hold in enumerate(report.holds, start=1):
        yield (
            "holds",
            {
                "day": day,
                "number": number,
                "side": None if hold.side is None else str(hold.side),
                "held_s": hold.seconds,
                "target_s": move.facts.get("target_s"),
            },
        )


def _retest_rows(session: Session, client_id: int, first: date) -> Iterator[tuple[str, Row]]:
    rows = (
        select(Retest)
        .where(Retest.client_id == client_id, col(Retest.withdrawn_at).is_(None))
        .order_by(col(Retest.day), col(Retest.id))
    )
    for one in session.exec(rows):
        yield (
            "retests",
            {
                "day": (one.day - first).days,
                "test": one.kind,
                "age_years": one.age,
                "sex": one.sex,
                "value": one.score.get("value"),
                "unit": one.score.get("unit"),
            },
        )


def _lot_rows(
    lots: Sequence[tuple[ComparisonRow, Drawn]], first: date
) -> Iterator[tuple[str, Row]]:
    for row, drawn in lots:
        protocol, lot = protocol_of(row), drawn.lot
        withdrawn = lot.withdrawn_on
        yield (
            "comparison",
            {
                "comparison": row.id,
                "day": (lot.drawn_on - first).days,
                "first": protocol.first,
                "second": protocol.second,
                "arm": lot.arm,
                "place": lot.place,
                "agreed_day": (lot.agreed_on - first).days,
                "first_day": (drawn.first - first).days,
                "last_day": (drawn.last - first).days,
                "withdrawn_day": None if withdrawn is None else (withdrawn - first).days,
                "outcome": protocol.outcome,
                "mark": protocol.mark,
            },
        )


def _codebook() -> Iterator[Row]:
    for table, columns in TABLES.items():
        for one in columns:
            yield {
                "table": table,
                "column": one.name,
                "kind": one.kind,
                "unit": one.unit,
                "values": " ".join(one.values),
                "source": one.source,
                "what": one.what,
            }


def _missing(rows: Mapping[str, Sequence[Row]]) -> Iterator[Row]:
    """How many cells of each column are empty: missing is shown and never filled in."""
    for table, columns in TABLES.items():
        count = len(rows[table])
        for one in columns:
            empty = sum(row.get(one.name) is None for row in rows[table])
            share = f"{empty / count:.3f}" if count else ""
            yield dict(zip(MISSING, (table, one.name, count, empty, share), strict=True))


def _groups(rows: Mapping[str, Sequence[Row]]) -> Iterator[Row]:
    """Practices with their counts; a count of one to four people is not given."""
    often: dict[str, int] = {}
    for row in rows["falls"]:
        often[row["client"]] = max(often.get(row["client"], 0), row["number"])
    for practice in sorted({row["practice"] for row in rows["clients"]}):
        here = [row["client"] for row in rows["clients"] if row["practice"] == practice]
        fallers = [often.get(client, 0) for client in here]
        counts = (
            len(here),
            sum(count > 0 for count in fallers),
            sum(count > 1 for count in fallers),
        )
        yield dict(zip(GROUPS, (practice, *map(small_cell, counts)), strict=True))


def _write(file: Path, head: Sequence[str], rows: Iterable[Row]) -> None:
    """RFC 4180, UTF-8; an empty cell is a missing value."""
    with file.open("w", encoding="utf-8", newline="") as out:
        lines = csv.DictWriter(out, head, restval="", lineterminator="\r\n")
        lines.writeheader()
        lines.writerows({k: "" if v is None else v for k, v in row.items()} for row in rows)
