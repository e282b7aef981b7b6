"""A digit in answer to a page: 1 I have it, 2 phoned and all well so far, 3 I cannot.

It only steers the pages: nothing is handled, resumed or cleared by it, for a sender's number can be
forged. It counts from a phone that was paged in the last day, with the code of the incident, which
every page holds; without the code only where that phone was paged about exactly one. The answer
names the client, and the use stands on the alert, in the line of time and in the audit trail.
A test page is answered the same way.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.alerting.incidents import HANDLED_WITHIN, hold, open_alerts_of, pass_on
from rungwise.coach.alerting.page_test import answered_by_text
from rungwise.coach.alerting.paging import say_on
from rungwise.coach.outbox.sender_numbers import From
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.audit import record
from rungwise.coach.record.wording import wording_of
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import (
    Alert,
    AlertPage,
    Client,
    Incident,
    Message,
    Practice,
    Trainer,
)
from rungwise.wording.texts import render

ANSWERED_WITHIN = timedelta(hours=24)
QUIET_AFTER_PHONED = timedelta(hours=4)
# A digit, and the code after it: "1", "1 47", "2, code 47", "3 (47)".
_DIGIT = re.compile(r"\W*([123])(?:\W+(?:code\W+|clave\W+)?(\d{2}))?\W*", re.IGNORECASE)
LEFT = ("sent", "delivered", "unknown", "sending")
LONGEST_WHO = 20
SAID = {
    "1": "{who} answered the page: has it. No pages for 30 minutes.",
    "2": "{who} answered the page: phoned, all well so far. No pages for 4 hours.",
    "3": "{who} answered the page: cannot. The next people were paged.",
}


@dataclass(frozen=True, slots=True)
class _Paged:
    """An incident that a phone was paged about, and for whom the page was."""

    incident: Incident
    trainer_id: int


def page_answered(
    session: Session,
    now: datetime,
    practice: Practice,
    message: Message,
    client: Client | None = None,
) -> bool:
    """Act on a text that answers a page. False when it does not: it is then read as any other.

    From the phone of a `client` it may be something else, unless the code is that of a page about
    somebody else.
    """
    found = _DIGIT.fullmatch(message.body)
    if found is None or (client is not None and found[2] is None):
        return False
    paged = _paged_to(session, now, practice, message.from_phone)
    if not paged or (found[2] and all(each.incident.code != found[2] for each in paged)):
        trainer = answered_by_text(session, now, practice, message.from_phone, found[2])
        if trainer is not None:
            message.state, message.trainer_id = "read", trainer.id
            session.add(message)
            _say(session, now, practice, message, "page_tested", trainer=trainer.name)
            return True
    if client is not None:
        paged = [each for each in paged if each.incident.client_id != client.id]
    digit, code = found[1], found[2]
    meant = [each for each in paged if code is None or each.incident.code == code]
    if not paged or (client is not None and not meant):
        return False
    message.state = "read"
    message.trainer_id = (meant or paged)[-1].trainer_id
    session.add(message)
    if len(meant) != 1:
        _say(session, now, practice, message, "page_which", code=paged[-1].incident.code)
        return True
    _steer(session, now, practice, message, meant[0], digit)
    return True


def _paged_to(session: Session, now: datetime, practice: Practice, phone: str) -> list[_Paged]:
    """What this phone was paged about within the last day, latest last."""
    rows = select(Message.id).where(
        Message.practice_id == practice.id,
        Message.kind == "page",
        col(Message.created_at) >= now - ANSWERED_WITHIN,
        col(Message.state).in_(LEFT),
    )
    pages = salvage(session, Message, session.exec(rows.order_by(col(Message.id))).all())
    # Compared here, for the database may hold the numbers sealed.
    mine = {each.row.id: each.row for each in pages if each.row.to_phone == phone}
    about = (
        select(AlertPage.message_id, Alert.incident_id)
        .join(Alert, col(Alert.id) == col(AlertPage.alert_id))
        .where(col(AlertPage.message_id).in_(mine), col(Alert.incident_id).is_not(None))
        .order_by(col(AlertPage.message_id))
    )
    found: dict[int, _Paged] = {}
    for message_id, incident_id in session.exec(about).all():
        trainer_id = mine[message_id].trainer_id
        if trainer_id is not None and incident_id is not None:
            found.pop(incident_id, None)
            incident = session.get_one(Incident, incident_id)
            found[incident_id] = _Paged(incident, trainer_id)
    return list(found.values())


def _steer(
    session: Session,
    now: datetime,
    practice: Practice,
    message: Message,
    paged: _Paged,
    digit: str,
) -> None:
    incident = paged.incident
    client = salvage_one(session, Client, incident.client_id).row
    session.refresh(client, with_for_update={"key_share": True})
    session.refresh(incident)
    trainer = salvage_one(session, Trainer, paged.trainer_id).row
    values = {"called": client.called, "code": incident.code}
    alerts = open_alerts_of(session, incident.id)
    if not alerts:
        _say(
            session, now, practice, message, "page_over", **values, who=_handler(session, incident)
        )
        return
    own = message.from_phone == trainer.phone
    who = trainer.name if own else trainer.second_contact_name or "The second contact"
    if digit == "1":
        hold(session, now, incident, now + HANDLED_WITHIN, trainer.id)
        _say(session, now, practice, message, "page_have", **values)
    elif digit == "2":
        hold(session, now, incident, now + QUIET_AFTER_PHONED, trainer.id)
        _say(session, now, practice, message, "page_phoned", **values)
    else:
        pass_on(session, now, incident, {message.from_phone})
        _say(session, now, practice, message, "page_cannot", **values)
    say_on(session, alerts, SAID[digit].format(who=who))
    record(
        session, now, trainer, "page answered", client_id=client.id,
        incident=incident.id, digit=int(digit), by="trainer" if own else "second contact",
    )  # fmt: skip


def _handler(session: Session, incident: Incident) -> str:
    rows = (
        select(Trainer.name)
        .join(Alert, col(Alert.handled_by) == col(Trainer.id))
        .where(Alert.incident_id == incident.id)
        .order_by(col(Alert.handled_at).desc())
    )
    return (session.exec(rows).first() or "")[:LONGEST_WHO]


def _say(
    session: Session,
    now: datetime,
    practice: Practice,
    message: Message,
    name: str,
    **values: object,
) -> None:
    own = wording_of(session, practice.id, practice.language)
    text = Text("answer", render(name, practice.language, own, **values), answers_id=message.id)
    here = From(message.carrier, message.to_phone)
    queue_to_phone(
        session, now, practice, text, message.from_phone, message.trainer_id, leaves_by=here
    )
