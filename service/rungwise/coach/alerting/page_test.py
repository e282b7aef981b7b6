"""The test page: nobody gets a first text before one to their own trainer was answered.

It goes the ways the trainer is paged, with a code that stands in it alone. The code sent back from
the paged phone, or entered by who is signed in, shows that pages arrive. It holds until that phone
or the way is changed. Who gets texts already goes on getting them; every page then says so in red.
"""

from collections.abc import Collection
from datetime import datetime, timedelta
from secrets import randbelow

from sqlmodel import Session, col, select

from rungwise.carriers.email import EMAIL
from rungwise.coach.alerting.paging import ways_to
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.coach.record.audit import record
from rungwise.coach.record.wording import wording_of
from rungwise.errors import ServiceError
from rungwise.store.salvage import salvage_one
from rungwise.store.tables import Client, Message, Practice, Trainer
from rungwise.wording.texts import render

NAME = "page_test"
GOOD_FOR = timedelta(hours=24)
AGAIN_AFTER = timedelta(minutes=1)


class NotReached(ServiceError):
    """No test page to this client's trainer has been answered, so nobody would hear of a fall."""


class NoWay(ServiceError):
    """Nothing reaches this trainer: set a phone first, or have the carrier set up."""


class TooSoon(ServiceError):
    """A test page has only just been sent. Give it a minute, then send another."""


class WrongCode(ServiceError):
    """This is not the code in the latest test page, or it is older than a day. Look again."""


def not_answered(trainer: Trainer) -> tuple[str, ...]:
    """Why no client of this trainer gets a first text, as a sentence; nothing when one may."""
    if trainer.page_answered_at is not None:
        return ()
    who = trainer.name or "the trainer"
    return (f"No test page to {who} was answered yet: send one from {who}'s page under Practice.",)


def unreached(session: Session, client: Client) -> tuple[str, ...]:
    """The same for the trainer of this client."""
    return not_answered(salvage_one(session, Trainer, client.trainer_id).row)


def refuse_unreached(session: Session, client: Client) -> None:
    """NotReached while no test page to the client's trainer was answered."""
    if says := unreached(session, client):
        raise NotReached(says[0])


def send_test_page(
    session: Session, now: datetime, by: Trainer, trainer: Trainer, set_up: Collection[str]
) -> None:
    """Queue a test page by every way this trainer is paged that a carrier is set up for."""
    practice = session.get_one(Practice, trainer.practice_id)
    ways = [
        way
        for way in ways_to(practice, trainer)
        if (way.by.carrier if way.by else practice.carrier) in set_up
    ]
    if not ways:
        raise NoWay
    if trainer.page_test_at is not None and now - trainer.page_test_at < AGAIN_AFTER:
        raise TooSoon
    trainer.page_test_code, trainer.page_test_at = f"{10 + randbelow(90)}", now
    session.add(trainer)
    own = wording_of(session, practice.id, practice.language)
    for way in ways:
        name = f"{NAME}_email" if way.by is not None and way.by.carrier == EMAIL else NAME
        values = {"trainer": trainer.name, "code": trainer.page_test_code}
        body = render(name, practice.language, own, **values)
        text = Text("page", body, name=NAME)
        queue_to_phone(session, now, practice, text, way.to, trainer.id, way.by)
    record(session, now, by, "test page sent", colleague=trainer.id)


def answer_test_page(
    session: Session, now: datetime, by: Trainer, trainer: Trainer, code: str
) -> None:
    """Take the code that stood in the latest test page; WrongCode for any other."""
    sent_at = trainer.page_test_at
    is_open = sent_at is not None and now - sent_at <= GOOD_FOR
    if not is_open or code.strip() != trainer.page_test_code:
        raise WrongCode
    _note(session, now, trainer)
    record(session, now, by, "test page answered", colleague=trainer.id, way="code")


def answered_by_text(
    session: Session, now: datetime, practice: Practice, phone: str, code: str | None
) -> Trainer | None:
    """The trainer whose test page was answered from this phone; None when it was not."""
    rows = select(Trainer).where(
        Trainer.practice_id == practice.id,
        col(Trainer.active).is_(True),
        col(Trainer.page_test_code).is_not(None),
        col(Trainer.page_test_at) > now - GOOD_FOR,
    )
    # Compared here, for the database may hold the numbers sealed.
    tested = [one for one in session.exec(rows).all() if one.phone == phone]
    for trainer in tested:
        if code is None or trainer.page_test_code == code:
            _note(session, now, trainer)
            record(session, now, trainer, "test page answered", colleague=trainer.id, way="text")
            return trainer
    return None


def _note(session: Session, now: datetime, trainer: Trainer) -> None:
    trainer.page_answered_at, trainer.page_test_code = now, None
    session.add(trainer)
    session.flush()


def latest_test(session: Session, trainer: Trainer) -> list[Message]:
    """The texts of the latest test page, with what became of each."""
    if trainer.page_test_at is None:
        return []
    rows = select(Message).where(
        Message.practice_id == trainer.practice_id,
        Message.trainer_id == trainer.id,
        Message.name == NAME,
        Message.created_at >= trainer.page_test_at,
    )
    return list(session.exec(rows.order_by(col(Message.id))).all())
