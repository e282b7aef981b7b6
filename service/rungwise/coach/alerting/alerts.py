"""Alerts: opening and growing them, paging the trainer, seeing and handling them."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.coach.alerting.incidents import (
    HANDLED_WITHIN,
    close_if_done,
    grew,
    hold,
    join,
    open_alerts_of,
    page_again,
)
from rungwise.coach.alerting.paging import take_back
from rungwise.coach.outbox.texts import take_back_answers
from rungwise.coach.outbox.webhook_calls import tell_of_alert
from rungwise.coach.record.audit import record
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES, Urgency
from rungwise.errors import ServiceError
from rungwise.store.due import clear_due, due_of
from rungwise.store.tables import Alert, AlertMessage, Client, Incident, Message, Practice, Trainer


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
        fresh = pages = worse = True
    else:
        worse = URGENCIES.index(urgency) < URGENCIES.index(alert.urgency)
        fresh = worse or message is not None
        pages = worse or raised.anew or (message is not None and urgency == Urgency.URGENT)
        alert.urgency = urgency if worse else alert.urgency
        alert.last_at = now
        if raised.system_did not in alert.system_did.splitlines():
            alert.system_did = f"{alert.system_did}\n{raised.system_did}"
        if alert.state == "seen" and (pages or (message is not None and urgency != Urgency.NOTE)):
            # News after it was seen: it needs eyes again.
            alert.state = "new"
    session.add(alert)
    session.flush()
    join(session, now, alert)
    if message is not None:
        _attach(session, alert, message)
    if fresh:
        tell_of_alert(session, now, alert, "alert.opened" if opened else "alert.grew")
    if pages and alert.urgency == Urgency.URGENT:
        grew(session, now, practice, client, alert, anew=worse or raised.anew)
    return alert


def _attach(session: Session, alert: Alert, message: Message) -> None:
    if session.get(AlertMessage, (alert.id, message.id)) is None:
        session.add(AlertMessage(alert_id=alert.id, message_id=message.id))
        session.flush()


def escalate(session: Session, now: datetime, alert_id: int) -> None:
    """What earlier versions set by alert: the next step of its incident's chain, if it has none."""
    alert = session.get(Alert, alert_id)
    if alert is None or alert.state == "handled":
        return
    incident = join(session, now, alert)
    if incident is not None and due_of(session, "chain", incident.id) is None:
        page_again(session, now, incident.id)


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


def dealt_with(session: Session, now: datetime, alert: Alert) -> None:
    """An alert was handled: what waits about it is taken back, pages and safety texts alike.

    A safety text stays while another alert with the same words is open.
    """
    clear_due(session, "escalate", alert.id)
    take_back(session, now, alert)
    close_if_done(session, now, alert)
    answered = [
        message.id
        for message in words_of(session, alert.id)
        if not alerts_with(session, message.id)
    ]
    take_back_answers(session, alert.client_id, answered)


def see(session: Session, now: datetime, trainer: Trainer, alert: Alert) -> None:
    """The trainer opened it, and with it all of its incident: no paging for HANDLED_WITHIN, in
    which it is to be handled.
    """
    if alert.state != "new":
        return
    incident = session.get(Incident, alert.incident_id) if alert.incident_id is not None else None
    theirs = [alert] if incident is None else open_alerts_of(session, incident.id)
    fresh = [one for one in theirs if one.state == "new"]
    for one in fresh:
        one.state, one.seen_at, one.seen_by = "seen", now, trainer.id
        session.add(one)
        session.flush()
        record(session, now, trainer, "alert seen", client_id=one.client_id, alert=one.id)
    if fresh and incident is not None:
        hold(session, now, incident, now + HANDLED_WITHIN, trainer.id)
