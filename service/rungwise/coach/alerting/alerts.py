"""Alerts: opening and growing them, paging the trainer, seeing and handling them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.alerting.duty import leads_of, whom_to_page
from rungwise.coach.alerting.paging import (
    link,
    page_second,
    page_trainer,
    pages_of,
    say_on,
    take_back,
)
from rungwise.coach.outbox.texts import take_back_answers
from rungwise.coach.outbox.webhook_calls import tell_of_alert
from rungwise.coach.record.audit import record
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES, Urgency
from rungwise.errors import ServiceError
from rungwise.store.due import set_due
from rungwise.store.salvage import salvage_one
from rungwise.store.tables import Alert, AlertMessage, AlertPage, Client, Message, Practice, Trainer

LONGEST_PAGE_WAIT_MINUTES = 240
# An urgent alert that somebody opened and did not handle is paged again after this.
HANDLED_WITHIN = timedelta(minutes=30)
SEEN_ONLY = "It was opened and not handled for 30 minutes, so it was paged again."


class AlertHandled(ServiceError):
    """This alert was handled already. Look at its page for what was done."""


@dataclass(frozen=True, slots=True)
class Raised:
    """An alert to open or to add words to. `urgency` of what this told; None takes the kind's own.

    `anew`: page again at once, whatever was opened or answered before.
    """

    kind: str
    system_did: str
    urgency: str | None = None
    anew: bool = False


def open_alert(session: Session, client_id: int, kind: str) -> Alert | None:
    """The client's open alert of this kind, if there is one."""
    found = select(Alert).where(
        Alert.client_id == client_id, Alert.kind == kind, Alert.state != "handled"
    )
    return session.exec(found).first()


def raise_alert(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    raised: Raised,
    message: Message | None = None,
) -> Alert:
    """Open an alert, or add these words to the one that is open; urgent ones page the trainer."""
    urgency = raised.urgency or str(ALERTS[raised.kind].urgency)
    alert = open_alert(session, client.id, raised.kind)
    opened = alert is None
    if alert is None:
        alert = Alert(
            practice_id=practice.id,
            client_id=client.id,
            kind=raised.kind,
            urgency=urgency,
            system_did=raised.system_did,
            opened_at=now,
            last_at=now,
        )
        fresh = pages = True
    else:
        worse = URGENCIES.index(urgency) < URGENCIES.index(alert.urgency)
        fresh = worse or message is not None
        pages = worse or raised.anew or (message is not None and urgency == Urgency.URGENT)
        if raised.anew:
            alert.pages = 0
        alert.urgency = urgency if worse else alert.urgency
        alert.last_at = now
        if raised.system_did not in alert.system_did.splitlines():
            alert.system_did = f"{alert.system_did}\n{raised.system_did}"
        if alert.state == "seen" and (pages or (message is not None and urgency != Urgency.NOTE)):
            # News after it was seen: it needs eyes again.
            alert.state = "new"
    session.add(alert)
    session.flush()
    if message is not None:
        _attach(session, alert, message)
    if fresh:
        tell_of_alert(session, now, alert, "alert.opened" if opened else "alert.grew")
    if pages and alert.urgency == Urgency.URGENT:
        page(session, now, practice, client, alert)
    return alert


def _attach(session: Session, alert: Alert, message: Message) -> None:
    if session.get(AlertMessage, (alert.id, message.id)) is None:
        session.add(AlertMessage(alert_id=alert.id, message_id=message.id))
        session.flush()


def page(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    alert: Alert,
    also: Sequence[Trainer] = (),
) -> None:
    """Page whoever is on duty and `also` these, and set when it is repeated and escalated.

    It is repeated until somebody opens the alert, each time after twice as long, at most 4 hours.
    """
    other = _just_paged(session, now, alert)
    if other is None:
        whom = {one.id: one for one in [*whom_to_page(session, now, practice, client), *also]}
        for trainer in whom.values():
            page_trainer(session, now, practice, trainer, alert)
    else:
        at_once = [page.id for page in pages_of(session, other.id) if page.created_at == now]
        link(session, alert, at_once)
    alert.pages += 1
    session.add(alert)
    minutes = min(practice.escalate_minutes * 2 ** (alert.pages - 1), LONGEST_PAGE_WAIT_MINUTES)
    set_due(session, "escalate", alert.id, now + timedelta(minutes=minutes))


def _just_paged(session: Session, now: datetime, alert: Alert) -> Alert | None:
    """Another alert of this client that is paged at this very instant.

    Who opens the inbox for a fall sees the pain beside it; a second text would only blunt the
    first.
    """
    others = (
        select(Alert)
        .join(AlertPage, col(AlertPage.alert_id) == col(Alert.id))
        .join(Message, col(Message.id) == col(AlertPage.message_id))
        .where(
            Alert.client_id == alert.client_id,
            Alert.id != alert.id,
            Alert.urgency == "urgent",
            Alert.state == "new",
            Message.created_at == now,
            Message.state != "cancelled",
        )
    )
    return session.exec(others.order_by(col(Alert.id))).first()


def escalate(session: Session, now: datetime, alert_id: int) -> None:
    """Nobody opened an urgent alert in time: text the second contact and the trainer again.

    Who has named no second contact has the practice leads for one. One that was opened and not
    handled is new again, and its pages begin anew, with the trainer.
    """
    alert = session.get(Alert, alert_id)
    if alert is None or alert.state == "handled" or alert.urgency != "urgent":
        return
    client = salvage_one(session, Client, alert.client_id).row
    practice = salvage_one(session, Practice, alert.practice_id).row
    if alert.state == "seen":
        alert.state, alert.pages = "new", 0
        say_on(session, [alert], SEEN_ONLY)
        page(session, now, practice, client, alert)
        return
    trainer = salvage_one(session, Trainer, client.trainer_id).row
    if _just_paged(session, now, alert) is None:
        page_second(session, now, practice, trainer, alert)
    leads = [] if trainer.second_contact_phone else leads_of(session, practice)
    page(session, now, practice, client, alert, also=leads)


def words_of(session: Session, alert_id: int) -> list[Message]:
    """The client's texts behind an alert, oldest first."""
    rows = (
        select(Message)
        .join(AlertMessage, col(AlertMessage.message_id) == col(Message.id))
        .where(AlertMessage.alert_id == alert_id)
        .order_by(col(Message.id))
    )
    return list(session.exec(rows).all())


def alerts_with(session: Session, message_id: int) -> list[Alert]:
    """The open alerts that hold this text of the client."""
    rows = (
        select(Alert)
        .join(AlertMessage, col(AlertMessage.alert_id) == col(Alert.id))
        .where(AlertMessage.message_id == message_id, Alert.state != "handled")
    )
    return list(session.exec(rows.order_by(col(Alert.id))).all())


def dealt_with(session: Session, alert: Alert) -> None:
    """An alert was handled: what waits about it is taken back, pages and safety texts alike.

    A safety text stays while another alert with the same words is open.
    """
    take_back(session, alert)
    answered = [
        message.id
        for message in words_of(session, alert.id)
        if not alerts_with(session, message.id)
    ]
    take_back_answers(session, alert.client_id, answered)


def see(session: Session, now: datetime, trainer: Trainer, alert: Alert) -> None:
    """The trainer opened it: no paging for HANDLED_WITHIN, in which it is to be handled."""
    if alert.state != "new":
        return
    alert.state = "seen"
    alert.seen_at = now
    alert.seen_by = trainer.id
    session.add(alert)
    session.flush()
    take_back(session, alert)
    if alert.urgency == "urgent":
        set_due(session, "escalate", alert.id, now + HANDLED_WITHIN)
    record(session, now, trainer, "alert seen", client_id=alert.client_id, alert=alert.id)
