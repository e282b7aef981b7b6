"""Alerts: opening and growing them, paging the trainer, seeing and handling them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.alerting.duty import leads_of, whom_to_page
from rungwise.coach.alerting.paging import link, page_trainer, page_words, pages_of
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.outbox.webhook_calls import tell_of_alert
from rungwise.coach.record.audit import record
from rungwise.coach.record.wording import wording_of
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES, Urgency
from rungwise.errors import ServiceError
from rungwise.store.due import set_due
from rungwise.store.tables import Alert, AlertMessage, Client, Message, Practice, Trainer
from rungwise.wording.texts import alert_words, render

LONGEST_PAGE_WAIT_MINUTES = 240


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
        words = page_words(session, practice, client, alert)
        whom = {one.id: one for one in [*whom_to_page(session, now, practice, client), *also]}
        for trainer in whom.values():
            pages = page_trainer(session, now, practice, trainer, words)
            link(session, alert, [message.id for message in pages])
            if pages:
                alert.paged_at = now
    else:
        at_once = [page.id for page in pages_of(session, other.id) if page.created_at == now]
        link(session, alert, at_once)
        alert.paged_at = now
    alert.pages += 1
    session.add(alert)
    minutes = min(practice.escalate_minutes * 2 ** (alert.pages - 1), LONGEST_PAGE_WAIT_MINUTES)
    set_due(session, "escalate", alert.id, now + timedelta(minutes=minutes))


def _just_paged(session: Session, now: datetime, alert: Alert) -> Alert | None:
    """Another alert of this client that is paged at this very instant.

    Who opens the inbox for a fall sees the pain beside it; a second text would only blunt the
    first.
    """
    others = select(Alert).where(
        Alert.client_id == alert.client_id,
        Alert.id != alert.id,
        Alert.urgency == "urgent",
        Alert.state == "new",
        Alert.paged_at == now,
    )
    return session.exec(others.order_by(col(Alert.id))).first()


def escalate(session: Session, now: datetime, alert_id: int) -> None:
    """Nobody opened an urgent alert in time: text the second contact and the trainer again.

    Who has named no second contact has the practice leads for one.
    """
    alert = session.get(Alert, alert_id)
    if alert is None or alert.state != "new" or alert.urgency != "urgent":
        return
    client = session.get_one(Client, alert.client_id)
    practice = session.get_one(Practice, alert.practice_id)
    trainer = session.get_one(Trainer, client.trainer_id)
    if trainer.second_contact_phone and _just_paged(session, now, alert) is None:
        body = render(
            "page_second",
            practice.language,
            wording_of(session, practice.id, practice.language),
            practice=practice.name,
            called=client.called,
            kind=alert_words(alert.kind, practice.language),
            trainer=trainer.name,
        )
        text = Text("page", body)
        second = queue_to_phone(
            session, now, practice, text, trainer.second_contact_phone, trainer.id
        )
        link(session, alert, [second.id] if second else [])
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


def see(session: Session, now: datetime, trainer: Trainer, alert: Alert) -> None:
    """The trainer opened it: no further paging, still to be handled."""
    if alert.state != "new":
        return
    alert.state = "seen"
    alert.seen_at = now
    alert.seen_by = trainer.id
    session.add(alert)
    record(session, now, trainer, "alert seen", client_id=alert.client_id, alert=alert.id)
