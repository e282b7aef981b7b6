"""Storing a decision: the move, the placement it leads to, and the report it came from."""

from datetime import date, datetime

from sqlalchemy import update
from sqlmodel import Session, col

from rungwise.coach.record.codec import report_from_json, report_to_json
from rungwise.coach.record.situation import Situation, current_report, past
from rungwise.coach.record.verdict import verdict
from rungwise.ladder.progression import DayReport, Move
from rungwise.store.deferred_inserts import RowId, insert_later, insert_named_later
from rungwise.store.tables import MoveRow, Placement, Report


def store_move(
    session: Session,
    now: datetime,
    situation: Situation,
    day: date,
    move: Move,
    *,
    report_id: RowId | None = None,
    trainer_id: int | None = None,
) -> None:
    """Add the move and put the client where it leads."""
    values = {
        "client_id": situation.client_id,
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
        "plan_version": situation.placement.plan_version,
        "resting": situation.resting,
        "decided_at": now,
    }
    place(session, now, situation.placement, move.to_key)
    insert_later(session, MoveRow, values)


def place(session: Session, now: datetime, placement: Placement, rung_key: str) -> None:
    if placement.rung_key != rung_key:
        placement.rung_key = rung_key
        placement.set_at = now
        session.add(placement)


def base_report(
    session: Session, situation: Situation, day: date, asked_key: str | None
) -> DayReport:
    """The day's report so far; an empty one on the rung that was asked for when there is none."""
    stored = current_report(session, situation.client_id, day)
    if stored is not None:
        return report_from_json(stored.told)
    key = asked_key if asked_key in situation.ladder else None
    return DayReport(day=day, rung_key=key or situation.placement.rung_key)


def decide_day(
    session: Session, now: datetime, situation: Situation, report: DayReport, message_id: int
) -> Move:
    """Store the day's report in place of an earlier one of that day, and decide it afresh."""
    earlier = current_report(session, situation.client_id, report.day)
    if earlier is not None:
        _supersede(session, now, earlier)
    values = {
        "client_id": situation.client_id,
        "local_date": report.day,
        "rung_key": report.rung_key,
        "message_ids": [*(earlier.message_ids if earlier else ()), message_id],
        "told": report_to_json(report),
        "created_at": now,
    }
    plan = situation.settings.plan(situation.resting)
    move = verdict(situation.ladder, plan, past(session, situation.client_id), report)
    report_id = insert_named_later(session, Report, values)
    store_move(session, now, situation, report.day, move, report_id=report_id)
    if not report.skipped and report.day > situation.placement.since:
        situation.placement.since = report.day
        session.add(situation.placement)
    return move


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
