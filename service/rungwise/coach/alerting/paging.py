"""How a page reaches a person: by text, by e-mail or both, and by the other way when one fails.

A page is at least once: it waits in the outbox like every text, and a lost answer sends it again.
One that fails for good, or has not left in five minutes, goes the other way. When no page of an
urgent alert is on its way or arrived any more, the alert counts as unpaged again, and stands in
red on every page until somebody is reached.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.outbox.sender_numbers import From
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.wording import wording_of
from rungwise.concepts.alert_kinds import ALERT_KINDS
from rungwise.store.tables import QUEUED, Alert, AlertPage, Client, Message, Practice, Trainer
from rungwise.wording.texts import alert_words, render

log = logging.getLogger(__name__)

WAYS = ("text", "email", "both")
BY_EMAIL = From(EMAIL, "")
OTHER_WAY = "other-way:"
# States in which a page may still reach somebody, or has.
ALIVE = ("queued", "sending", "sent", "delivered", "unknown")
MOST_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class PageWords:
    """The same page as a text, which names the client, and as e-mail, which names nobody."""

    text: str
    email: str


def page_words(session: Session, practice: Practice, client: Client, alert: Alert) -> PageWords:
    """What a page about this alert says, in the practice's language and own words."""
    again = "_again" if alert.paged_at else ""
    kind = alert_words(alert.kind, practice.language)
    own = wording_of(session, practice.id, practice.language)
    return PageWords(
        render(f"page{again}", practice.language, own, called=client.called, kind=kind),
        render(f"page_email{again}", practice.language, own, kind=kind),
    )


def page_trainer(
    session: Session, now: datetime, practice: Practice, trainer: Trainer, words: PageWords
) -> list[Message]:
    """Queue a page the way this trainer wishes; by e-mail when there is no phone."""
    queued: list[Message | None] = []
    if trainer.page_by != "email" and trainer.phone:
        text = Text("page", words.text)
        queued.append(queue_to_phone(session, now, practice, text, trainer.phone, trainer.id))
    if (trainer.page_by != "text" or not queued) and not practice.is_demo:
        queued.append(_by_email(session, now, practice, trainer, Text("page", words.email)))
    return [message for message in queued if message is not None]


def _by_email(
    session: Session, now: datetime, practice: Practice, trainer: Trainer, text: Text
) -> Message | None:
    return queue_to_phone(session, now, practice, text, trainer.email, trainer.id, BY_EMAIL)


def link(session: Session, alert: Alert, message_ids: Sequence[int]) -> None:
    """Note which pages are about this alert."""
    for message_id in message_ids:
        if session.get(AlertPage, (alert.id, message_id)) is None:
            session.add(AlertPage(alert_id=alert.id, message_id=message_id))
    session.flush()


def pages_of(session: Session, alert_id: int) -> list[Message]:
    """The pages about an alert, oldest first."""
    rows = (
        select(Message)
        .join(AlertPage, col(AlertPage.message_id) == col(Message.id))
        .where(AlertPage.alert_id == alert_id)
    )
    return list(session.exec(rows.order_by(col(Message.id))).all())


def page_lost(session: Session, now: datetime, message: Message) -> None:
    """A page failed or does not leave: try the other way, and count the alert as unpaged if that
    was its last hope.
    """
    log.error("page %s is %s", message.id, message.state)
    alerts = _alerts_of(session, message)
    other = _other_way(session, now, message, alerts)
    for alert in alerts:
        if other is not None:
            link(session, alert, [other.id])
        if not any(page.state in ALIVE for page in pages_of(session, alert.id)):
            alert.paged_at = None
            session.add(alert)


def _alerts_of(session: Session, message: Message) -> Sequence[Alert]:
    rows = (
        select(Alert)
        .join(AlertPage, col(AlertPage.alert_id) == col(Alert.id))
        .where(AlertPage.message_id == message.id, Alert.state == "new")
        .order_by(col(Alert.id))
    )
    return session.exec(rows).all()


def _other_way(
    session: Session, now: datetime, message: Message, alerts: Sequence[Alert]
) -> Message | None:
    """The same page by e-mail instead of text, or the other way round; once for each page."""
    if message.trainer_id is None or (message.once_key or "").startswith(OTHER_WAY):
        return None
    trainer = session.get_one(Trainer, message.trainer_id)
    practice = session.get_one(Practice, message.practice_id)
    key = f"{OTHER_WAY}{message.id}"
    if trainer.page_by == "both" or practice.is_demo:
        return None  # it went both ways already, or goes nowhere
    if message.carrier == EMAIL:
        if not trainer.phone:
            return None
        text = Text("page", message.body, key)
        return queue_to_phone(session, now, practice, text, trainer.phone, trainer.id)
    if message.to_phone != trainer.phone:
        return None  # it was for the second contact, of whom we know only the phone
    own = wording_of(session, practice.id, practice.language)
    kind = alert_words(_gravest(alerts).kind if alerts else "other", practice.language)
    body = render("page_email_again", practice.language, own, kind=kind)
    return _by_email(session, now, practice, trainer, Text("page", body, key))


def _gravest(alerts: Sequence[Alert]) -> Alert:
    """The one that a page about all of these names: a page names one only."""
    return min(alerts, key=lambda alert: ALERT_KINDS.index(alert.kind))


def strand(session: Session, now: datetime) -> int:
    """Where no mail server is set up, what was to leave by e-mail fails at once; how many."""
    rows = select(Message).where(QUEUED, Message.carrier == EMAIL).limit(MOST_AT_ONCE)
    found = session.exec(rows.with_for_update(skip_locked=True)).all()
    for message in found:
        message.state, message.settled_at = "failed", now
        message.problem = "No mail server is set up."
        session.add(message)
        session.flush()
        page_lost(session, now, message)
    return len(found)
