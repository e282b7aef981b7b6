"""Taking back the handling of an alert, shortly after it."""

from datetime import datetime, timedelta

from sqlalchemy import update
from sqlmodel import Session, col, select

from rungwise.coach.alerting.alerts import open_alert
from rungwise.coach.alerting.incidents import reopen
from rungwise.coach.daily.client_state import rest_client
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.outbox.webhook_calls import tell_of_alert
from rungwise.coach.record.audit import record
from rungwise.coach.record.moves import store_move
from rungwise.coach.record.situation import Situation
from rungwise.coach.record.wording import text_for
from rungwise.errors import ServiceError
from rungwise.ladder.moves import Move
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.tables import Alert, Message, MoveRow, Trainer

UNDO_WITHIN = timedelta(minutes=1)
BACK_TO_REST = "Resuming was taken back: resting until you clear them."


class TooLateToUndo(ServiceError):
    """Only who handled it can take it back, within a minute. Use the client's page instead."""


class OpenedAgain(ServiceError):
    """A new alert of this kind has been opened since. Handle that one."""


def may_undo(alert: Alert, trainer: Trainer, now: datetime) -> bool:
    return (
        alert.state == "handled"
        and alert.handled_by == trainer.id
        and alert.handled_at is not None
        and now - alert.handled_at <= UNDO_WITHIN
    )


def undo_handling(
    session: Session,
    now: datetime,
    trainer: Trainer,
    alert: Alert,
    situation: Situation | None,
) -> None:
    """Open the alert again as it was, seen; a client it resumed rests again where they were."""
    if not may_undo(alert, trainer, now):
        raise TooLateToUndo
    if open_alert(session, alert.client_id, alert.kind) is not None:
        raise OpenedAgain
    resumed_on = alert.resume_key
    alert.state = "seen"
    alert.seen_at = alert.seen_at or now
    alert.seen_by = alert.seen_by or trainer.id
    alert.handled_at = alert.handled_by = alert.what_done = alert.note = alert.resume_key = None
    session.add(alert)
    session.flush()
    reopen(session, now, alert)
    record(session, now, trainer, "handling undone", client_id=alert.client_id, alert=alert.id)
    tell_of_alert(session, now, alert, "alert.reopened")
    if situation is not None and resumed_on is not None and situation.client.state == "active":
        _rest_again(session, now, trainer, situation, resumed_on)


def _rest_again(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, resumed_on: str
) -> None:
    latest = session.exec(
        select(MoveRow)
        .where(MoveRow.client_id == situation.client_id, col(MoveRow.superseded_at).is_(None))
        .order_by(col(MoveRow.id).desc())
        .limit(1)
    ).first()
    here = situation.placement.rung_key
    was_on = latest.from_key if latest and _is_that_resume(latest, trainer, resumed_on) else here
    rest_client(session, now, situation.client)
    situation.client.version += 1
    move = Move("rest", here, was_on, "trainer", BACK_TO_REST, (), {"rung": here})
    store_move(
        session,
        now,
        situation.client,
        situation.placement,
        situation.local_date(now),
        move,
        trainer_id=trainer.id,
    )
    if _take_back_notices(session, situation.client_id) == 0:
        body = text_for(session, situation.practice, situation.client, "paused")
        text = Text("notice", body, name="paused")
        queue_to_client(session, now, situation.practice, situation.client, text)


def _is_that_resume(move: MoveRow, trainer: Trainer, resumed_on: str) -> bool:
    by_them = move.trainer_id == trainer.id and move.kind == "override"
    return by_them and move.to_key == resumed_on


def _take_back_notices(session: Session, client_id: int) -> int:
    """Cancel what tells of the resume and has not left yet; how many there were."""
    return rows_updated(
        session,
        update(Message)
        .where(
            col(Message.client_id) == client_id,
            col(Message.direction) == "out",
            col(Message.kind) == "notice",
            col(Message.state) == "queued",
        )
        .values(state="cancelled", problem="The trainer took the change back."),
    )
