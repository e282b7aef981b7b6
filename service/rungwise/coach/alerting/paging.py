"""How a page reaches a person: by text, by e-mail or both, and by the other way when one fails.

A page is at least once: it waits in the outbox like every text, and a lost answer sends it again.
One that fails for good, may not have arrived, or has not left in five minutes, goes the other way;
where there is none, the second contact is paged. An alert counts as paged from when a carrier took
the first page about it, and as unpaged again when that failed after all: until then it stands in
red on every page.
"""

import logging
from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, func, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.alerting.page_words import (
    gravest,
    incident_of,
    page_words,
    second_words,
)
from rungwise.coach.outbox.sender_numbers import From
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import (
    QUEUED,
    Alert,
    AlertPage,
    Message,
    Practice,
    Trainer,
)

log = logging.getLogger(__name__)

WAYS = ("text", "email", "both")
BY_EMAIL = From(EMAIL, "")
OTHER_WAY = "other-way:"
SECOND_WAY = "second-way:"
MOST_AT_ONCE = 100
LINK_LASTS = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Receiver:
    """Whom a page goes to, and by which number or address; `by` None is the practice's number."""

    to: str
    trainer_id: int | None
    by: From | None = None


def page_trainer(
    session: Session, now: datetime, practice: Practice, trainer: Trainer, alerts: Sequence[Alert]
) -> list[Message]:
    """Queue a page about these alerts the way this trainer wishes."""
    ways = ways_to(practice, trainer)
    queued = [queue_page(session, now, practice, receiver, alerts) for receiver in ways]
    return [message for message in queued if message is not None]


def ways_to(practice: Practice, trainer: Trainer) -> list[Receiver]:
    """How this trainer wishes to be paged; by e-mail when there is no phone."""
    ways = []
    if trainer.page_by != "email" and trainer.phone:
        ways.append(Receiver(trainer.phone, trainer.id))
    if (trainer.page_by != "text" or not ways) and not practice.is_demo and trainer.email:
        ways.append(Receiver(trainer.email, trainer.id, BY_EMAIL))
    return ways


def can_page(session: Session, practice: Practice, set_up: Set[str]) -> bool:
    """Whether a page could reach anybody of the practice by the carriers that are set up."""
    rows = select(Trainer).where(Trainer.practice_id == practice.id, col(Trainer.active).is_(True))
    ways = (way for one in session.exec(rows).all() for way in ways_to(practice, one))
    return any((way.by.carrier if way.by else practice.carrier) in set_up for way in ways)


def queue_page(
    session: Session,
    now: datetime,
    practice: Practice,
    receiver: Receiver,
    alerts: Sequence[Alert],
    once_key: str | None = None,
    words: str | None = None,
) -> Message | None:
    """Queue a page about alerts of one client, and link it. One person gets one page: what still
    waits for them is taken back and told by this one. `words` are said when it is about one client.


    Without news it keeps the place of one that may have arrived, so that it does not come sooner.
    """
    waiting = _waiting_for(session, practice, receiver)
    told = {page.id: _alerts_of(session, page) for page in waiting}
    about = {alert.id: alert for alert in alerts} | {
        one.id: one for alerts in told.values() for one in alerts
    }
    for one in about.values():
        _renew_link(session, now, one)
    said = page_words(session, now, practice, list(about.values()))
    body = said.email if receiver.by is not None else said.text
    if words is not None and len({one.client_id for one in about.values()}) == 1:
        body = words
    text = Text("page", body, once_key)
    page = queue_to_phone(
        session, now, practice, text, receiver.to, receiver.trainer_id, receiver.by
    )
    if page is None:
        return None
    for earlier in waiting:
        earlier.state, earlier.problem = "cancelled", "A later page says it too."
        if earlier.maybe_taken and {one.id for one in told[earlier.id]} == about.keys():
            page.maybe_taken = max(page.maybe_taken, earlier.maybe_taken)
            page.not_before = max(page.not_before or now, earlier.not_before or now)
        session.add(earlier)
    session.add(page)
    for one in about.values():
        link(session, one, [page.id])
    return page


def _waiting_for(session: Session, practice: Practice, receiver: Receiver) -> list[Message]:
    """The pages that wait for this person, and may still be changed."""
    by = EMAIL if receiver.by is not None else None
    rows = select(Message.id).where(
        QUEUED,
        Message.practice_id == practice.id,
        col(Message.client_id).is_(None),
        Message.kind == "page",
        (Message.carrier == EMAIL) if by else (Message.carrier != EMAIL),
    )
    ids = session.exec(rows.order_by(col(Message.id)).with_for_update(skip_locked=True)).all()
    # Compared here, for the database may hold the numbers sealed.
    pages = [each.row for each in salvage(session, Message, ids)]
    return [page for page in pages if page.to_phone == receiver.to and _alerts_of(session, page)]


def page_second(
    session: Session,
    now: datetime,
    practice: Practice,
    trainer: Trainer,
    alerts: Sequence[Alert],
    once_key: str | None = None,
) -> Message | None:
    """Queue a page to the trainer's second contact, if there is one."""
    if not trainer.second_contact_phone:
        return None
    words = second_words(session, practice, trainer, gravest(alerts))
    receiver = Receiver(trainer.second_contact_phone, trainer.id)
    return queue_page(session, now, practice, receiver, alerts, once_key, words)


def _renew_link(session: Session, now: datetime, alert: Alert) -> None:
    """The short address in a page opens its incident for a day from the last page."""
    incident = incident_of(session, alert)
    if incident is not None:
        incident.link_until = now + LINK_LASTS
        session.add(incident)


def say_again(
    session: Session, now: datetime, practice: Practice, pages: Sequence[Message]
) -> None:
    """What these pages say, as it is now: something graver may have been told in the same text."""
    for page in pages:
        about = _alerts_of(session, page)
        if page.state == "queued" and about:
            page.body = _worded(session, now, practice, page, about)
            session.add(page)


def _worded(
    session: Session, now: datetime, practice: Practice, page: Message, alerts: Sequence[Alert]
) -> str:
    """What a page to this receiver says about these alerts."""
    one_client = len({alert.client_id for alert in alerts}) == 1
    if one_client and page.trainer_id is not None and page.carrier != EMAIL:
        trainer = salvage_one(session, Trainer, page.trainer_id).row
        if page.to_phone == trainer.second_contact_phone and page.to_phone != trainer.phone:
            return second_words(session, practice, trainer, gravest(alerts))
    said = page_words(session, now, practice, alerts)
    return said.email if page.carrier == EMAIL else said.text


def take_back(session: Session, now: datetime, alert: Alert) -> None:
    """Somebody has seen or handled it: what waits about it alone is taken back, what is about
    others too tells of those.
    """
    practice = salvage_one(session, Practice, alert.practice_id).row
    rows = (
        select(Message.id)
        .join(AlertPage, col(AlertPage.message_id) == col(Message.id))
        .where(AlertPage.alert_id == alert.id, QUEUED)
        .order_by(col(Message.id))
    )
    # One that is just being sent is left alone, and not waited for.
    ids = session.exec(rows.with_for_update(skip_locked=True, of=Message)).all()
    for page in (each.row for each in salvage(session, Message, ids)):
        left = [one for one in _alerts_of(session, page) if one.id != alert.id]
        if left:
            page.body = _worded(session, now, practice, page, left)
        else:
            page.state, page.problem = "cancelled", "Somebody has opened the alert since."
        session.add(page)


def note_handed_over(session: Session, page: Message) -> None:
    """Let each alert know when a page about it was first handed over; None while none was.

    Worked out from the pages, so that a later one changes nothing, and one that failed after all
    does not count.
    """
    session.flush()
    rows = select(AlertPage.alert_id).where(AlertPage.message_id == page.id)
    for alert_id in session.exec(rows).all():
        went = select(func.min(Message.sent_at)).join(
            AlertPage, col(AlertPage.message_id) == col(Message.id)
        )
        handed = went.where(
            AlertPage.alert_id == alert_id, col(Message.state).in_(("sent", "delivered"))
        )
        alert = salvage_one(session, Alert, alert_id).row
        alert.paged_at = session.exec(handed).one()
        session.add(alert)


def link(session: Session, alert: Alert, message_ids: Sequence[int]) -> None:
    """Note which pages are about this alert."""
    for message_id in message_ids:
        if session.get(AlertPage, (alert.id, message_id)) is None:
            session.add(AlertPage(alert_id=alert.id, message_id=message_id))
    session.flush()


def pages_of(session: Session, *alert_ids: int) -> list[Message]:
    """The pages about any of these alerts, oldest first."""
    rows = (
        select(Message)
        .join(AlertPage, col(AlertPage.message_id) == col(Message.id))
        .where(col(AlertPage.alert_id).in_(alert_ids))
    )
    pages = session.exec(rows.order_by(col(Message.id))).all()
    return list({page.id: page for page in pages}.values())


@dataclass(frozen=True, slots=True)
class PageTold:
    """What became of a page: to whom, by which way; when it was queued, handed over, settled."""

    id: int
    who: str
    by_email: bool
    state: str
    in_doubt: bool
    queued_at: datetime
    handed_over_at: datetime | None
    settled_at: datetime | None
    problem: str | None


def pages_told(session: Session, alert_ids: Sequence[int]) -> list[PageTold]:
    """Every page about these alerts, oldest first."""
    return [
        PageTold(
            page.id,
            _named(session, page),
            page.carrier == EMAIL,
            page.state,
            page.maybe_taken > 0,
            page.created_at,
            page.sent_at,
            page.settled_at,
            page.problem if page.state in ("failed", "queued") else None,
        )
        for page in pages_of(session, *alert_ids)
    ]


def _named(session: Session, page: Message) -> str:
    if page.trainer_id is None:
        return "a practice lead"
    trainer = session.get_one(Trainer, page.trainer_id)
    if page.to_phone == trainer.second_contact_phone and page.to_phone != trainer.phone:
        return f"{trainer.second_contact_name or 'the second contact'}, second contact"
    return trainer.name


def page_lost(session: Session, now: datetime, message: Message) -> None:
    """A page failed, does not leave or may not have arrived: try the other way, or else the second
    contact, once for each page.
    """
    log.error("page %s is %s", message.id, message.state)
    alerts = _alerts_of(session, message)
    if alerts and _other_way(session, now, message, alerts) is None:
        _second_contact(session, now, message, alerts)
    note_handed_over(session, message)


def say_on(session: Session, alerts: Sequence[Alert], line: str) -> None:
    """Add a line to what the service did about these alerts."""
    for alert in alerts:
        if line not in alert.system_did.splitlines():
            alert.system_did = f"{alert.system_did}\n{line}"
            session.add(alert)


def page_in_doubt(session: Session, now: datetime, message: Message) -> None:
    """The carrier may have taken a page and did not say so: another way too, and a line."""
    page_lost(session, now, message)
    say_on(session, _alerts_of(session, message), "A page may not have arrived. Please phone.")


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
    if message.trainer_id is None or (message.once_key or "").startswith((OTHER_WAY, SECOND_WAY)):
        return None
    trainer = salvage_one(session, Trainer, message.trainer_id).row
    practice = salvage_one(session, Practice, message.practice_id).row
    if trainer.page_by == "both" or practice.is_demo:
        return None  # it went both ways already, or goes nowhere
    if message.carrier == EMAIL:
        receiver = Receiver(trainer.phone, trainer.id) if trainer.phone else None
    elif message.to_phone == trainer.phone:
        receiver = Receiver(trainer.email, trainer.id, BY_EMAIL)
    else:
        receiver = None  # it was for the second contact, of whom we know only the phone
    if receiver is None:
        return None
    key = f"{OTHER_WAY}{message.id}"
    return queue_page(session, now, practice, receiver, alerts, key)


def _second_contact(
    session: Session, now: datetime, message: Message, alerts: Sequence[Alert]
) -> None:
    """No other way to this trainer is left: the second contact at once, once for each alert."""
    if message.trainer_id is None or (message.once_key or "").startswith(SECOND_WAY):
        return
    trainer = salvage_one(session, Trainer, message.trainer_id).row
    practice = salvage_one(session, Practice, message.practice_id).row
    if message.to_phone == trainer.second_contact_phone:
        return
    key = f"{SECOND_WAY}{gravest(alerts).id}"
    page_second(session, now, practice, trainer, alerts, key)


def strand(session: Session, now: datetime) -> int:
    """Where no mail server is set up, what was to leave by e-mail fails at once; how many."""
    rows = select(Message.id).where(QUEUED, Message.carrier == EMAIL).limit(MOST_AT_ONCE)
    ids = session.exec(rows.with_for_update(skip_locked=True)).all()
    for message in (each.row for each in salvage(session, Message, ids)):
        message.state, message.settled_at = "failed", now
        message.problem = "No mail server is set up."
        session.add(message)
        session.flush()
        page_lost(session, now, message)
    return len(ids)
