"""The outbox: every text we send waits here, and leaves by one door.

A text is queued in the transaction that decided it, and claimed in one that checks that it may
still go: its client has not stopped, rests or is in doubt since, it is not too late for it, and it
is no quiet hour. What a crash may cost depends on its kind: a prompt is sent at most once, so a
lost answer leaves it `unknown` until a delivery report settles it; a safety text or a page to the
trainer is sent at least once, so a lost answer sends it again.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, update
from sqlmodel import Session, and_, col, or_, select

from rungwise.coach.outbox.sender_numbers import From, first_number, number_of
from rungwise.concepts.text_kinds import TEXT_KINDS
from rungwise.store.deferred_writes import insert_later
from rungwise.store.due import set_due
from rungwise.store.idempotent_inserts import insert_once, insert_row
from rungwise.store.tables import QUEUED, Client, Message, Practice

AT_LEAST_ONCE = frozenset(kind for kind, row in TEXT_KINDS.items() if row.at_least_once)
# What a client who stopped, rests or is paused must not get any more; nor any text about a rung.
CANCELLED_BY_REST = tuple(kind for kind, row in TEXT_KINDS.items() if not row.at_rest)
# To someone who said STOP, only its confirmation and what answers their own call for help.
AFTER_STOP = frozenset(kind for kind, row in TEXT_KINDS.items() if row.after_stop)
# What we write of our own accord keeps out of quiet hours; an answer doesn't.
UNASKED = frozenset(kind for kind, row in TEXT_KINDS.items() if row.unasked)
# What answers a report of harm fits for so long; after it another text is said in its place.
FITS_FOR = {kind: row.fits_for for kind, row in TEXT_KINDS.items() if row.fits_for is not None}
# A text that must arrive and has not left after this: the trainer should telephone.
TELL_AFTER = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Text:
    """A text to queue. `once_key` unique for ever: a second one with the same key is not queued.

    `rung_key` is the rung that it asks the client to practise: it leaves for no other one.
    `not_after` is when it is given up; None takes what its kind is good for.
    """

    kind: str
    body: str
    once_key: str | None = None
    local_date: date | None = None
    rung_key: str | None = None
    answers_id: int | None = None
    not_after: datetime | None = None
    media_url: str | None = None
    name: str | None = None
    # How often what it takes the place of may have arrived.
    maybe_taken: int = 0


def queue_to_client(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    text: Text,
    to_phone: str | None = None,
) -> Message | None:
    """Put a text in the outbox; None when one with its `once_key` is there already.

    `to_phone` is another phone of the client than the one that texts go to.
    """
    leaves_by = number_of(session, practice, client)
    to_phone = to_phone or client.phone
    return _queue(session, now, practice, text, to_phone, leaves_by, client_id=client.id)


def queue_prompt(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    text: Text,
    missed: str | None = None,
) -> None:
    """Put a day's text in the outbox, or with `missed`, why not, among those that were missed.

    Whoever queues it holds the client locked, and knows that the date has none yet.
    """
    values = _values(
        now, practice, text, client.phone, number_of(session, practice, client), client.id
    )
    if missed is not None:
        values |= {"state": "missed", "problem": missed}
    insert_later(session, Message, values)


def once_key(kind: str, client_id: int, day: date) -> str:
    """What makes a client's text of this kind and date the only one, however often it is due."""
    return f"{kind}:{client_id}:{day.isoformat()}"


def queue_answer(
    session: Session, now: datetime, practice: Practice, client: Client, text: Text
) -> None:
    """Put an answer to a client's text in the outbox."""
    leaves_by = number_of(session, practice, client)
    values = _values(now, practice, text, client.phone, leaves_by, client_id=client.id)
    if text.kind not in AT_LEAST_ONCE:
        insert_later(session, Message, values)
    else:
        message_id = insert_row(session, Message, values)
        set_due(session, "unsent", message_id, now + TELL_AFTER)


def queue_to_phone(
    session: Session,
    now: datetime,
    practice: Practice,
    text: Text,
    phone: str,
    trainer_id: int | None = None,
    leaves_by: From | None = None,
) -> Message | None:
    """Put a text to a trainer, a second contact or an unknown number in the outbox."""
    number = leaves_by or first_number(practice)
    return _queue(session, now, practice, text, phone, number, trainer_id=trainer_id)


def _queue(
    session: Session,
    now: datetime,
    practice: Practice,
    text: Text,
    phone: str,
    leaves_by: From,
    client_id: int | None = None,
    trainer_id: int | None = None,
) -> Message | None:
    values = _values(now, practice, text, phone, leaves_by, client_id, trainer_id)
    if text.once_key is not None:
        return insert_once(session, Message, ["once_key"], values)
    message = Message(**values)
    session.add(message)
    session.flush()
    if text.kind in AT_LEAST_ONCE:
        set_due(session, "unsent", message.id, now + TELL_AFTER)
    return message


def _values(
    now: datetime,
    practice: Practice,
    text: Text,
    phone: str,
    leaves_by: From,
    client_id: int | None = None,
    trainer_id: int | None = None,
) -> dict[str, Any]:
    return {
        "practice_id": practice.id,
        "client_id": client_id,
        "trainer_id": trainer_id,
        "direction": "out",
        "kind": text.kind,
        "body": text.body,
        "from_phone": leaves_by.phone,
        "to_phone": phone,
        "carrier": leaves_by.carrier,
        "once_key": text.once_key,
        "state": "queued",
        "problem": None,
        "rank": TEXT_KINDS[text.kind].rank,
        "media_url": text.media_url,
        "name": text.name,
        "local_date": text.local_date,
        "rung_key": text.rung_key,
        "answers_id": text.answers_id,
        "maybe_taken": text.maybe_taken,
        "created_at": now,
        "not_before": now,
        "not_after": text.not_after or now + TEXT_KINDS[text.kind].good_for,
        "attempts": 0,
    }


def cancel_prompts(session: Session, client_id: int) -> None:
    """Take back what has not left yet and asks the client to practise."""
    asks = or_(col(Message.kind).in_(CANCELLED_BY_REST), col(Message.rung_key).is_not(None))
    _cancel(session, client_id, asks, "The client stopped, rests or is paused.")


def cancel_all(session: Session, client_id: int) -> None:
    """Take back everything queued for a client who said STOP, but what answers a call for help."""
    _cancel(session, client_id, col(Message.kind).not_in(AFTER_STOP), "The client said STOP.")


def redirect(session: Session, client_id: int, to_phone: str) -> None:
    """What waits for this client goes to another phone."""
    waits = (col(Message.client_id) == client_id, col(Message.state) == "queued")
    session.execute(
        update(Message).where(*waits, col(Message.direction) == "out").values(to_phone=to_phone)
    )


def take_back_stale(session: Session, now: datetime, client_id: int) -> bool:
    """Take back every safety text of this client that fits no more; whether fresher ones wait."""
    fits = min(FITS_FOR.values())
    safety = col(Message.kind).in_(FITS_FOR)
    stale = and_(safety, col(Message.created_at) <= now - fits)
    _cancel(session, client_id, stale, "It waited until it fitted no more.")
    fresh = select(Message.id).where(
        Message.client_id == client_id, QUEUED, safety, col(Message.created_at) > now - fits
    )
    return session.exec(fresh.limit(1)).first() is not None


def take_back_answers(session: Session, client_id: int, answered: Collection[int]) -> None:
    """Take back the safety texts that wait and answer these texts: somebody has dealt with them."""
    answers = and_(col(Message.kind).in_(FITS_FOR), col(Message.answers_id).in_(answered))
    _cancel(session, client_id, answers, "Somebody has dealt with it since.")


def _cancel(session: Session, client_id: int, which: ColumnElement[bool], problem: str) -> None:
    session.execute(
        update(Message)
        .where(
            col(Message.client_id) == client_id,
            col(Message.direction) == "out",
            col(Message.state) == "queued",
            which,
        )
        .values(state="cancelled", problem=problem)
    )


def give_up(message: Message, now: datetime, problem: str) -> None:
    """It is too late. A day's text is then missed, as if the service had been down."""
    message.state = "missed" if message.kind in CANCELLED_BY_REST else "failed"
    message.problem = f"{problem} {message.problem or ''}".strip()
    message.settled_at = now
