"""Storing a decision: the move, the placement it leads to, and the report it came from."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.record.codec import report_from_json, report_to_json
from rungwise.coach.record.situation import current_report
from rungwise.concepts.client_states import State
from rungwise.ladder.progression import DayReport, Move, PastDay
from rungwise.store.changes import followed, note
from rungwise.store.deferred_writes import RowId, insert_later, insert_named_later, write_now
from rungwise.store.idempotent_inserts import insert_row
from rungwise.store.tables import Client, MoveRow, Placement, Report


def store_move(
    session: Session,
    now: datetime,
    client: Client,
    placement: Placement,
    day: date,
    move: Move,
    *,
    report_id: RowId | None = None,
    trainer_id: int | None = None,
) -> None:
    """Add the move and put the client where it leads."""
    values = {
        "client_id": client.id,
        "local_date": day,
        "report_id": report_id,
        "trainer_id": trainer_id,
        "kind": move.kind,
        "from_key": move.from_key,
        "to_key": move.to_key,
        "rule": move.rule,
        "because": move.because,
        "alerts": list(move.alerts),
        "facts": dict(move.facts),
        "rule_version": move.version,
        "plan_version": placement.plan_version,
        "resting": client.state == State.RESTING,
        "decided_at": now,
    }
    place(session, now, placement, move.to_key)
    if followed(session, client.practice_id):
        note(session, client.practice_id, client.id, "move", _at_once(session, values), move.kind)
    else:
        insert_later(session, MoveRow, values)


def _at_once(session: Session, values: dict[str, Any]) -> int:
    """Insert the move where its number is asked for."""
    write_now(session)
    report_id = values["report_id"]
    if isinstance(report_id, RowId):
        values["report_id"] = report_id.number
    return insert_row(session, MoveRow, values)


def place(session: Session, now: datetime, placement: Placement, rung_key: str) -> None:
    if placement.rung_key != rung_key:
        placement.rung_key = rung_key
        placement.set_at = now
        session.add(placement)


def store_decision(
    session: Session,
    now: datetime,
    client: Client,
    placement: Placement,
    report: DayReport,
    move: Move,
    message_id: int,
    *,
    surely_first: bool = False,
) -> None:
    """Store the day's report in place of an earlier one of that day, and the move decided on it.

    `surely_first`: there is no earlier one, and none need be looked for.
    """
    earlier = None if surely_first else current_report(session, client.id, report.day)
    if earlier is not None:
        _supersede(session, now, earlier)
    values = {
        "client_id": client.id,
        "local_date": report.day,
        "rung_key": report.rung_key,
        "message_ids": [*(earlier.message_ids if earlier else ()), message_id],
        "told": report_to_json(report),
        "created_at": now,
    }
    report_id = insert_named_later(session, Report, values)
    if followed(session, client.practice_id):
        write_now(session)
        note(session, client.practice_id, client.id, "day", report_id.number or 0)
    store_move(session, now, client, placement, report.day, move, report_id=report_id)
    if not report.skipped and report.day > placement.since:
        placement.since = report.day
        session.add(placement)


def _supersede(session: Session, now: datetime, report: Report) -> None:
    """The day's report and its move no longer stand; the rule then goes from the one before."""
    report.superseded_at = now
    session.add(report)
    session.execute(
        update(MoveRow)
        .where(col(MoveRow.report_id) == report.id, col(MoveRow.superseded_at).is_(None))
        .values(superseded_at=now)
    )
    session.flush()


def move_from_row(row: MoveRow) -> Move:
    return Move(
        kind=row.kind,  # type: ignore[arg-type]  # stored from a MoveKind
        from_key=row.from_key,
        to_key=row.to_key,
        rule=row.rule,
        because=row.because,
        alerts=tuple(row.alerts),
        facts=row.facts,
        version=row.rule_version,
    )


def whole_past(session: Session, client_id: int) -> Iterator[PastDay]:
    """Every move that stands with its report, oldest first, however long ago."""
    rows = (
        select(MoveRow, Report)
        .join(Report, col(Report.id) == col(MoveRow.report_id), isouter=True)
        .where(MoveRow.client_id == client_id, col(MoveRow.superseded_at).is_(None))
        .order_by(col(MoveRow.id))
    )
    for move, report in session.exec(rows):
        told = report_from_json(report.told) if report is not None else None
        yield PastDay(day=move.local_date, report=told, move=move_from_row(move))
