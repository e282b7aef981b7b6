"""Hashes of each client's days in the audit trail, so that what was stored then can be checked.

Two hours after a day (UTC) is over, what was stored of each client on it is hashed: its rows
(texts, reports, moves, alerts, notes) and the words of its texts. The hashes go into `day_seal`,
and their own hash into the audit trail. So a report, move or text that is changed, moved to
another client, taken out or put in with an earlier date is found. What is changed before its day
is sealed, at most 26 hours and as long as the service is stopped, is not.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from json import dumps
from typing import Any

from sqlalchemy import ColumnElement, true, update
from sqlmodel import Session, and_, col, select

from rungwise.coach.record.audit import ERASURE, record_by_service
from rungwise.store import Store
from rungwise.store.database import one_at_a_time
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.sealing.crypto import audit_hash, audit_key
from rungwise.store.tables import (
    Alert,
    Audit,
    Client,
    ClientNote,
    DaySeal,
    Message,
    MoveRow,
    Practice,
    Report,
)

AFTER = timedelta(hours=2)
A_DAY = timedelta(days=1)
# Bounded, so that the first run on an old practice ends; the next goes on.
DAYS_AT_ONCE = 60
SEALED = "day sealed"

# By name, so that a column added later does not change what old days come to.
OF_A_MOVE = (
    *("id", "local_date", "report_id", "trainer_id", "kind", "from_key", "to_key", "rule"),
    *("because", "alerts", "facts", "rule_version", "plan_version", "resting", "decided_at"),
)

Within = Callable[[Any], ColumnElement[bool]]


@dataclass(slots=True)
class _Day:
    """What one client's day consists of; `removed`: words of its texts are gone by now."""

    rows: list[list[Any]] = field(default_factory=list)
    words: list[list[Any]] = field(default_factory=list)
    removed: bool = False


def seal_days(store: Store, now: datetime) -> int:
    """Seal every practice's days that are over; how many days were sealed."""
    with store.read() as session:
        ids = session.exec(select(Practice.id).order_by(col(Practice.id))).all()
    return sum(_seal_practice(store, now, practice_id) for practice_id in ids)


def _seal_practice(store: Store, now: datetime, practice_id: int) -> int:
    sealed = 0
    with store.read() as session:
        day = _first_open_day(session, practice_id)
    while day is not None and _is_over(day, now) and sealed < DAYS_AT_ONCE:
        with store.read() as session:
            # Read and hashed apart from the writing, which then takes a moment.
            seals = _seals(session, practice_id, day)
        store.run(partial(_write, now=now, practice_id=practice_id, day=day, seals=seals))
        sealed += 1
        day += A_DAY
    return sealed


def _is_over(day: date, now: datetime) -> bool:
    return _midnight(day + A_DAY) + AFTER <= now


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(0), UTC)


def _first_open_day(session: Session, practice_id: int) -> date | None:
    """The day after the last sealed one; the practice's first where none is."""
    rows = select(Audit).where(Audit.practice_id == practice_id, Audit.action == SEALED)
    last = session.exec(rows.order_by(col(Audit.number).desc()).limit(1)).first()
    if last is not None:
        return date.fromisoformat(last.detail["day"]) + A_DAY
    practice = session.get(Practice, practice_id)
    return practice.created_at.astimezone(UTC).date() if practice else None


def _seals(session: Session, practice_id: int, day: date) -> list[DaySeal]:
    start, end = _midnight(day), _midnight(day + A_DAY)

    def of_that_day(at: Any) -> ColumnElement[bool]:
        return and_(at >= start, at < end)

    clients = select(Client.id).where(Client.practice_id == practice_id)
    texts = and_(col(Message.practice_id) == practice_id, col(Message.client_id).is_not(None))
    days = _days(session, lambda column: column.in_(clients), of_that_day, texts)
    ordered = sorted(days.items())
    key = audit_key(session)
    return [
        DaySeal(
            practice_id=practice_id,
            day=day,
            place=place,
            client_id=client_id,
            rows_hash=_hash(session, key, [client_id, held.rows]),
            words_hash=_hash(session, key, [client_id, held.words]),
        )
        for place, ((client_id, _), held) in enumerate(ordered)
    ]


def _hash(session: Session, key: str, content: list[Any]) -> str:
    plain = dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return audit_hash(session, key, plain) or ""


def _whole_hash(session: Session, key: str, seals: Iterable[DaySeal]) -> str:
    return _hash(session, key, [[one.place, one.rows_hash, one.words_hash] for one in seals])


def _write(
    session: Session, now: datetime, practice_id: int, day: date, seals: list[DaySeal]
) -> None:
    one_at_a_time(session, f"day seals of {practice_id}")
    if _first_open_day(session, practice_id) != day:
        return  # another process was quicker
    session.add_all(seals)
    key = audit_key(session)
    whole = _whole_hash(session, key, seals)
    record_by_service(
        session, now, practice_id, SEALED, day=day.isoformat(), clients=len(seals), hash=whole
    )


def _days(
    session: Session,
    theirs: Within,
    then: Within,
    texts: ColumnElement[bool] | None = None,
) -> Mapping[tuple[int, date], _Day]:
    """By client and day, what was stored: of clients that fit `theirs`, at instants that `then`.

    Only what never changes afterwards: no states, and nothing of whether a row was superseded.
    """
    found: dict[tuple[int, date], _Day] = defaultdict(_Day)

    def add(client_id: int, at: datetime, *values: Any) -> _Day:
        held = found[client_id, at.astimezone(UTC).date()]
        held.rows.append([_value(value) for value in values])
        return held

    of_client = texts if texts is not None else theirs(col(Message.client_id))
    rows = select(Message).where(of_client, then(col(Message.created_at)))
    for one in session.exec(rows.order_by(col(Message.id))):
        at = one.created_at
        held = add(one.client_id or 0, at, "text", one.id, one.direction, at)
        held.words.append([one.id, one.body, one.media_url])
        held.removed = held.removed or one.removed_at is not None
    for report in _of(session, Report, theirs, then(col(Report.created_at))):
        told = (report.local_date, report.rung_key, report.message_ids, report.told)
        add(report.client_id, report.created_at, "report", report.id, report.created_at, *told)
    for move in _of(session, MoveRow, theirs, then(col(MoveRow.decided_at))):
        add(move.client_id, move.decided_at, "move", *(getattr(move, name) for name in OF_A_MOVE))
    for alert in _of(session, Alert, theirs, then(col(Alert.opened_at))):
        add(alert.client_id, alert.opened_at, "alert", alert.id, alert.kind, alert.opened_at)
    for note in _of(session, ClientNote, theirs, then(col(ClientNote.at))):
        add(note.client_id, note.at, "note", note.id, note.trainer_id, note.body, note.at)
    return found


def _of(session: Session, table: Any, theirs: Within, then: ColumnElement[bool]) -> Iterable[Any]:
    rows = select(table).where(theirs(table.client_id), then).order_by(table.id)
    return session.exec(rows)


def _value(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value.isoformat() if isinstance(value, date) else value


# --- looking whether they still fit ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DaysChecked:
    """`wrong`: a sentence for each thing that does not fit. `days` of clients were compared, of
    which `wordless` without their words, because the practice has had those removed.
    """

    wrong: tuple[str, ...]
    days: int
    wordless: int


def check_days(
    session: Session, practice: Practice, shown: Callable[[int], object] = lambda _: None
) -> DaysChecked:
    """Compare every sealed day with what is stored; `shown` is called with 1 for each client."""
    wrong: list[str] = []
    keys: dict[date, str] = {}
    by_client: dict[int, dict[date, DaySeal]] = defaultdict(dict)
    emptied = 0
    for line in session.exec(_lines_about(practice, SEALED)):
        day, key = date.fromisoformat(line.detail["day"]), line.key or ""
        keys[day] = key
        rows = select(DaySeal).where(DaySeal.practice_id == practice.id, DaySeal.day == day)
        seals = session.exec(rows.order_by(col(DaySeal.place))).all()
        if _whole_hash(session, key, seals) != line.detail["hash"]:
            wrong.append(f"the hashes of {day} were changed")
        emptied += sum(seal.client_id is None for seal in seals)
        for seal in seals:
            if seal.client_id is not None:
                by_client[seal.client_id][day] = seal
    gone = sum(line.detail.get("days", 0) for line in session.exec(_lines_about(practice, ERASURE)))
    if emptied != gone:
        wrong.append(f"{emptied} days have no client, but erasures took it from {gone}")
    here = session.exec(select(Client.id).where(Client.practice_id == practice.id)).all()
    compared = wordless = 0
    for client_id in sorted({*by_client, *here}):
        seals_of = by_client.get(client_id, {})
        found, without = _compare(session, client_id, seals_of, keys)
        wrong += found
        compared += len(seals_of)
        wordless += without
        session.expunge_all()
        shown(1)
    return DaysChecked(tuple(wrong), compared, wordless)


def _lines_about(practice: Practice, action: str) -> Any:
    rows = select(Audit).where(Audit.practice_id == practice.id, Audit.action == action)
    return rows.order_by(col(Audit.number))


def _compare(
    session: Session, client_id: int, seals: Mapping[date, DaySeal], keys: Mapping[date, str]
) -> tuple[list[str], int]:
    """What does not fit of one client, and of how many days the words are gone."""
    stored = _days(session, lambda column: column == client_id, lambda _: true())
    wrong, wordless = [], 0
    for day in sorted({*seals, *(day for _, day in stored if day in keys)}):
        held = stored.get((client_id, day), _Day())
        seal = seals.get(day)
        if seal is None:
            wrong.append(f"client {client_id}, {day}: rows were put in later")
        elif seal.rows_hash != _hash(session, keys[day], [client_id, held.rows]):
            wrong.append(f"client {client_id}, {day}: rows were changed, added or taken out")
        elif held.removed:
            wordless += 1
        elif seal.words_hash != _hash(session, keys[day], [client_id, held.words]):
            wrong.append(f"client {client_id}, {day}: the words of a text were changed")
    return wrong, wordless


def forget_client(session: Session, client_id: int) -> int:
    """Take a client who is erased out of their days' hashes; of how many days."""
    gone = update(DaySeal).where(col(DaySeal.client_id) == client_id).values(client_id=None)
    return rows_updated(session, gone)
