"""The outbox: every text we send waits here, and leaves by one door.

A text is queued in the transaction that decided it. What a crash may cost depends on its kind: a
prompt is sent at most once, so a lost answer leaves it `unknown`; a safety text or a page to the
trainer is sent at least once, so a lost answer sends it again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import and_, or_, update
from sqlmodel import Session, col, select

from service.carriers.base import Accepted, OutboundText, Outcome, Receipt, Refused, TryLater
from service.store.tables import Client, Message, Practice

LEASE = timedelta(seconds=60)
MOST_ATTEMPTS = 8
FIRST_WAIT_S = 15
LONGEST_WAIT_S = 1800
AT_LEAST_ONCE = frozenset({"safety", "page", "help", "opt_out"})
# Lower leaves first.
RANK = {"safety": 0, "page": 0, "help": 0, "opt_out": 0, "answer": 1, "question": 1}
# What a client who stopped, rests or is paused must not get any more.
CANCELLED_BY_REST = ("prompt", "reminder", "weekly")


@dataclass(frozen=True, slots=True)
class Text:
    """A text to queue. `once_key` unique for ever: a second one with the same key is not queued."""

    kind: str
    body: str
    once_key: str | None = None
    local_date: date | None = None
    rung_key: str | None = None
    answers_id: int | None = None


def queue_to_client(
    session: Session, now: datetime, practice: Practice, client: Client, text: Text
) -> Message | None:
    """Put a text in the outbox; None when one with its `once_key` is there already."""
    return _queue(session, now, practice, text, client.phone, client_id=client.id)


def queue_to_phone(
    session: Session,
    now: datetime,
    practice: Practice,
    text: Text,
    phone: str,
    trainer_id: int | None = None,
) -> Message | None:
    """Put a text to a trainer, a second contact or an unknown number in the outbox."""
    return _queue(session, now, practice, text, phone, trainer_id=trainer_id)


def _queue(
    session: Session,
    now: datetime,
    practice: Practice,
    text: Text,
    phone: str,
    client_id: int | None = None,
    trainer_id: int | None = None,
) -> Message | None:
    if text.once_key is not None:
        twin = select(Message.id).where(Message.once_key == text.once_key)
        if session.exec(twin).first() is not None:
            return None
    message = Message(
        practice_id=practice.id,
        client_id=client_id,
        trainer_id=trainer_id,
        direction="out",
        kind=text.kind,
        body=text.body,
        from_phone=practice.phone,
        to_phone=phone,
        carrier=practice.carrier,
        once_key=text.once_key,
        state="queued",
        rank=RANK.get(text.kind, 2),
        local_date=text.local_date,
        rung_key=text.rung_key,
        answers_id=text.answers_id,
        created_at=now,
        not_before=now,
    )
    session.add(message)
    session.flush()
    return message


def cancel_prompts(session: Session, client_id: int) -> None:
    """Take back what has not left yet and asks the client to practise."""
    session.execute(
        update(Message)
        .where(
            col(Message.client_id) == client_id,
            col(Message.direction) == "out",
            col(Message.state) == "queued",
            col(Message.kind).in_(CANCELLED_BY_REST),
        )
        .values(state="cancelled", problem="The client stopped, rests or is paused.")
    )


def cancel_all(session: Session, client_id: int) -> None:
    """Take back everything queued for a client who said STOP."""
    session.execute(
        update(Message)
        .where(
            col(Message.client_id) == client_id,
            col(Message.direction) == "out",
            col(Message.state) == "queued",
        )
        .values(state="cancelled", problem="The client said STOP.")
    )


def free_expired(session: Session, now: datetime) -> None:
    """Settle leases that ran out: the sender died, and the carrier may have taken the text."""
    expired = (col(Message.state) == "sending", col(Message.lease_until) < now)
    session.execute(
        update(Message)
        .where(*expired, col(Message.kind).in_(AT_LEAST_ONCE))
        .values(state="queued", lease_until=None)
    )
    session.execute(
        update(Message)
        .where(*expired, col(Message.kind).not_in(AT_LEAST_ONCE))
        .values(
            state="unknown",
            lease_until=None,
            problem="The service stopped while sending; the carrier may have taken it.",
        )
    )


def anything_waits(session: Session, now: datetime) -> bool:
    """Whether a text may leave now, or a lease has run out."""
    rows = select(Message.id).where(
        or_(
            and_(col(Message.state) == "queued", col(Message.not_before) <= now),
            and_(col(Message.state) == "sending", col(Message.lease_until) < now),
        )
    )
    return session.exec(rows.limit(1)).first() is not None


def claim(session: Session, now: datetime, most: int = 50) -> list[Message]:
    """Take up to `most` queued texts for sending. Only the process whose update counts sends."""
    free_expired(session, now)
    due = (
        select(Message)
        .where(
            Message.state == "queued",
            col(Message.not_before) <= now,
        )
        .order_by(col(Message.rank), col(Message.id))
        .limit(most)
        .with_for_update(skip_locked=True)
    )
    won: list[Message] = []
    for message in session.exec(due).all():
        result = session.execute(
            update(Message)
            .where(col(Message.id) == message.id, col(Message.state) == "queued")
            .values(state="sending", lease_until=now + LEASE, attempts=Message.attempts + 1)
            .execution_options(synchronize_session=False)
        )
        if result.rowcount == 1:  # type: ignore[attr-defined]  # an UPDATE always has a count
            won.append(message)
    for message in won:
        session.refresh(message)
    return won


def outbound(message: Message) -> OutboundText:
    return OutboundText(message.id, message.from_phone, message.to_phone, message.body)


def settle(session: Session, now: datetime, message_id: int, outcome: Outcome) -> Message:
    """Store what became of a send. Returns the message; `failed` means we gave up."""
    message = session.get_one(Message, message_id)
    message.lease_until = None
    if isinstance(outcome, Accepted):
        _accept(now, message, outcome)
    elif isinstance(outcome, TryLater) and message.attempts < MOST_ATTEMPTS:
        message.state = "queued"
        message.not_before = now + wait_before_retry(message.attempts)
        message.problem = outcome.reason
    elif isinstance(outcome, TryLater | Refused):
        message.state = "failed"
        message.problem = outcome.reason
        message.settled_at = now
    elif message.kind in AT_LEAST_ONCE and message.attempts < MOST_ATTEMPTS:
        message.state = "queued"
        message.not_before = now + wait_before_retry(message.attempts)
        message.problem = outcome.reason
    else:
        message.state = "unknown"
        message.problem = outcome.reason
    session.add(message)
    return message


def _accept(now: datetime, message: Message, outcome: Accepted) -> None:
    message.carrier_id = outcome.carrier_id
    message.sent_at = now
    message.problem = None
    # A delivery receipt can overtake the answer to our own send; states only move forward.
    if message.state not in ("delivered", "failed"):
        message.state = "delivered" if outcome.delivered else "sent"
    if outcome.delivered:
        message.settled_at = now


def wait_before_retry(attempts: int) -> timedelta:
    """15 s, then twice as long each time, at most 30 minutes."""
    return timedelta(seconds=min(FIRST_WAIT_S * 2 ** (attempts - 1), LONGEST_WAIT_S))


def note_receipts(
    session: Session, now: datetime, carrier: str, receipts: Sequence[Receipt]
) -> list[Message]:
    """Store delivery receipts; returns the texts that failed."""
    failed: list[Message] = []
    for receipt in receipts:
        message = session.exec(
            select(Message).where(
                Message.carrier == carrier,
                Message.direction == "out",
                Message.carrier_id == receipt.carrier_id,
            )
        ).first()
        if message is None or message.state in ("delivered", "failed"):
            continue
        if receipt.state != "sent":
            message.settled_at = now
        message.state = receipt.state
        message.problem = receipt.detail or None
        session.add(message)
        if receipt.state == "failed":
            failed.append(message)
    return failed
