"""What a trainer changes: placing a client on a rung, pausing, resuming, handling an alert."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy.orm import object_session
from sqlmodel import Session, col, select

from rungwise.coach.alerting.alerts import AlertHandled, dealt_with
from rungwise.coach.alerting.incidents import join
from rungwise.coach.daily.schedule import schedule_next
from rungwise.coach.outbox.texts import Text, cancel_prompts, queue_to_client
from rungwise.coach.outbox.webhook_calls import tell_of_alert
from rungwise.coach.record import questions
from rungwise.coach.record.after_fall import (
    clear_incidents,
    eased_by,
    kinds_of,
    refuse_return,
    refuse_unchecked,
    store_check,
)
from rungwise.coach.record.audit import record, words_hash
from rungwise.coach.record.clearance import refuse_uncleared
from rungwise.coach.record.fall_records import FallRecord, record_fall, record_told
from rungwise.coach.record.moves import store_move
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation, past
from rungwise.coach.record.wording import text_for
from rungwise.concepts.alert_kinds import RESTING_KINDS
from rungwise.errors import EditedMeanwhile, ImpossibleValue, ServiceError
from rungwise.ladder.absence import override_move
from rungwise.store.due import clear_due
from rungwise.store.tables import Alert, Client, Trainer
from rungwise.time_zone import zone_named

LONGEST_REASON = 500


class NoReason(ServiceError):
    """A change of rung needs a reason. Write one line: what you saw or agreed."""


class NotSoHigh(ServiceError):
    """After a rest the client starts at most where they were. Choose that rung or an easier one."""


class ALandmarkLower(ServiceError):
    """They fell while practising. Choose the landmark below where they were, or an easier rung."""


class StillOpen(ServiceError):
    """Another alert that rests this client is still open. Handle it first, then resume."""


def check_version(client: Client, version: int) -> None:
    """Refuse a form opened before someone else's change, also one that is just being made."""
    session = object_session(client)
    if session is not None:
        session.refresh(client, with_for_update={"key_share": True})
    if client.version != version:
        raise EditedMeanwhile


def place_client(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    to_key: str,
    reason: str,
) -> None:
    """Put the client on a rung, with a reason. The next prompt is for that rung.

    A gate below the rung is opened by this and recorded. A resting client stays resting: `resume`
    ends a rest.
    """
    reason = reason.strip()[:LONGEST_REASON]
    if not reason:
        raise NoReason
    if to_key not in situation.ladder:
        raise ImpossibleValue("rung", to_key, "a rung of this client's ladder")
    from_key = situation.placement.rung_key
    ladder = situation.ladder
    if situation.resting and ladder.index(to_key) > ladder.index(from_key):
        raise NotSoHigh
    _open_gates_below(session, now, trainer, situation, to_key)
    put_on(session, now, trainer, situation, to_key, reason)


def put_on(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    to_key: str,
    reason: str,
) -> None:
    """Store the placement and tell the client. It opens no gate and ends no rest."""
    from_key = situation.placement.rung_key
    history = past(session, situation.client_id)
    move = override_move(
        situation.settings.plan(situation.resting), history, from_key, to_key, reason
    )
    today = situation.local_date(now)
    store_move(
        session, now, situation.client, situation.placement, today, move, trainer_id=trainer.id
    )
    situation.placement.since = today
    session.add(situation.placement)
    _touch(session, situation.client)
    record(
        session,
        now,
        trainer,
        "override",
        client_id=situation.client_id,
        from_key=from_key,
        to_key=to_key,
    )
    if situation.client.state == "active":
        _tell(session, now, situation, "override")


def _open_gates_below(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, to_key: str
) -> None:
    place = situation.ladder.index(to_key)
    passed = {rung.gate for rung in situation.ladder.rungs[: place + 1] if rung.gate}
    closed = passed - situation.settings.open_gates
    if closed:
        settings = {
            **situation.plan_row.settings,
            "open_gates": sorted(situation.settings.open_gates | closed),
        }
        new_plan(session, now, trainer, situation, settings=settings)


def pause(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> None:
    """No prompts until the trainer resumes. A resting client stays resting."""
    client = situation.client
    if client.state != "active":
        return
    client.state = "paused"
    client.state_since = now
    _touch(session, client)
    cancel_prompts(session, situation.client_id)
    for kind in ("prompt", "reminder"):
        clear_due(session, kind, situation.client_id)
    record(session, now, trainer, "pause", client_id=situation.client_id)
    _tell(session, now, situation, "paused")


def resume_paused(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> None:
    client = situation.client
    if client.state != "paused":
        return
    client.state = "active"
    client.state_since = now
    situation.placement.since = situation.local_date(now)
    session.add(situation.placement)
    _touch(session, client)
    schedule_next(session, now, client)
    record(session, now, trainer, "resume", client_id=situation.client_id)
    _tell(session, now, situation, "resumed")


@dataclass(frozen=True, slots=True)
class Handling:
    """How an alert was dealt with. `resume_key` the rung on which a resting client goes on;
    `after_fall` the answers of the checklist, which a fall needs, `fall` what was asked of it
    beside them; `misread`: nothing happened.
    """

    what_done: str
    note: str = ""
    resume_key: str | None = None
    after_fall: Mapping[str, str] | None = None
    misread: bool = False
    fall: Mapping[str, str] = field(default_factory=dict)


def handle(
    session: Session,
    now: datetime,
    trainer: Trainer,
    alert: Alert,
    situation: Situation | None,
    handling: Handling,
) -> None:
    """Close an alert, with what was done, and resume a resting client if the trainer says so."""
    # The client first, as where a text comes in: in another order two could wait on each other.
    session.refresh(session.get_one(Client, alert.client_id), with_for_update={"key_share": True})
    session.refresh(alert, with_for_update={"key_share": True})
    if alert.state == "handled":
        raise AlertHandled
    if not handling.what_done.strip():
        raise ImpossibleValue("what was done", "", "one line, such as: phoned, no injury")
    alert.misread = handling.misread
    _check_after_fall(session, now, trainer, alert, handling)
    alert.state = "handled"
    alert.handled_at = now
    alert.handled_by = trainer.id
    alert.what_done = handling.what_done.strip()[:LONGEST_REASON]
    alert.note = handling.note.strip()[: 4 * LONGEST_REASON] or None
    alert.resume_key = handling.resume_key
    session.add(alert)
    session.flush()
    dealt_with(session, now, alert)
    record(
        session,
        now,
        trainer,
        "alert handled",
        client_id=alert.client_id,
        alert=alert.id,
        words=words_hash(session, alert.what_done, alert.note),
    )
    tell_of_alert(session, now, alert, "alert.handled")
    if situation is None:
        return
    if alert.kind in RESTING_KINDS or alert.kind == "help":
        questions.close_all(session, now, situation.client_id)
    if handling.resume_key is not None and situation.resting:
        resume(session, now, trainer, situation, handling.resume_key, alert.what_done)


def _check_after_fall(
    session: Session, now: datetime, trainer: Trainer, alert: Alert, handling: Handling
) -> None:
    """A fall is closed with its checklist, which counts for all of its incident."""
    incident = join(session, now, alert)
    if incident is None:
        return
    session.flush()
    if handling.after_fall is not None and "fall" in kinds_of(session, incident.id):
        store_check(session, now, trainer, incident, handling.after_fall)
    if alert.kind != "fall":
        return
    check = refuse_unchecked(session, incident)
    client = session.get_one(Client, alert.client_id)
    if handling.misread:
        day = alert.opened_at.astimezone(zone_named(client.time_zone)).date()
        record_fall(session, now, trainer, client, FallRecord(day, day, happened=False), alert)
    elif check is not None and check.at >= alert.opened_at:
        given = {name: value for name, value in handling.fall.items() if value}
        record_told(session, now, trainer, client, alert, check.answers, given)


def resume(
    session: Session,
    now: datetime,
    trainer: Trainer,
    situation: Situation,
    to_key: str,
    reason: str,
) -> None:
    """End a rest: at a rung the trainer picks, at most where the client was."""
    others = select(Alert.id).where(
        Alert.client_id == situation.client_id,
        Alert.state != "handled",
        col(Alert.kind).in_(RESTING_KINDS),
    )
    if session.exec(others).first() is not None:
        raise StillOpen
    refuse_return(session, now, situation.client)
    refuse_uncleared(session, situation.client_id)
    ladder, here = situation.ladder, situation.placement.rung_key
    if to_key in ladder and eased_by(session, situation.client_id):
        lower = ladder.landmark_below(here) if here in ladder else ladder.rungs[0]
        if ladder.index(to_key) > ladder.index(lower.key):
            raise ALandmarkLower
    clear_incidents(session, now, situation.client_id)
    place_client(session, now, trainer, situation, to_key, reason)
    client = situation.client
    client.state = "active"
    client.state_since = now
    session.add(client)
    questions.close_all(session, now, situation.client_id)
    schedule_next(session, now, client)
    _tell(session, now, situation, "return_after_rest")


def _touch(session: Session, client: Client) -> None:
    client.version += 1
    session.add(client)


def _tell(session: Session, now: datetime, situation: Situation, name: str) -> None:
    body = text_for(session, situation.practice, situation.client, name)
    text = Text("notice", body, name=name)
    queue_to_client(session, now, situation.practice, situation.client, text)
