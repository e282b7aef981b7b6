"""The outbox: every text we send waits here, and leaves by one door.

A text is queued in the transaction that decided it, and claimed in one that checks that it may
still go: its client has not stopped, rests or is in doubt since, it is not too late for it, and it
is no quiet hour. What a crash may cost depends on its kind: a prompt is sent at most once, so a
lost answer leaves it `unknown` until a delivery report settles it; a safety text or a page to the
trainer is sent at least once, so a lost answer sends it again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy
from sqlalchemy import ColumnElement, update
from sqlmodel import Session, col, or_, select

from rungwise.carriers.base import OutboundText
from rungwise.coach.outbox.circuit import Pace, allowance, spend, state_of
from rungwise.coach.outbox.sender_numbers import From, first_number, number_of
from rungwise.coach.record.questions import DOUBTS
from rungwise.store.deferred_inserts import insert_later, write_what_waits_about
from rungwise.store.due import set_due
from rungwise.store.idempotent_inserts import insert_once, insert_row, insert_row_once
from rungwise.store.tables import QUEUED, Client, Message, Placement, Practice, Question
from rungwise.ticks.due import Quiet, is_quiet, local_to_utc, quiet_between

# Longer than any send takes: a carrier answers within half a minute.
LEASE = timedelta(seconds=60)
AT_LEAST_ONCE = frozenset({"safety", "page", "help", "opt_out"})
# Lower leaves first.
RANK = {"safety": 0, "page": 0, "help": 0, "opt_out": 0, "answer": 1, "question": 1}
# What a client who stopped, rests or is paused must not get any more; nor any text about a rung.
CANCELLED_BY_REST = ("prompt", "reminder", "weekly")
# To someone who said STOP, only its confirmation and what answers their own call for help.
AFTER_STOP = frozenset({"opt_out", "safety", "help"})
# What we write of our own accord keeps out of quiet hours; an answer doesn't.
UNASKED = frozenset({*CANCELLED_BY_REST, "notice", "welcome"})
# After this long a text is given up. An answer about the day helps nobody the next morning.
GOOD_FOR = dict.fromkeys(CANCELLED_BY_REST, timedelta(hours=2))
GOOD_FOR |= dict.fromkeys(("answer", "question"), timedelta(hours=6))
GOOD_FOR_ELSE = timedelta(hours=24)
# A text that must arrive and has not left after this: the trainer should telephone.
TELL_AFTER = timedelta(minutes=5)
# Where a session keeps the keys that surely no text has, as long as nobody else may give them.
NEW_KEYS = "new keys"
# No gateway keeps a text for longer.
LONGEST_AT_CARRIER = timedelta(hours=4)


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


def queue_to_client(
    session: Session, now: datetime, practice: Practice, client: Client, text: Text
) -> Message | None:
    """Put a text in the outbox; None when one with its `once_key` is there already."""
    leaves_by = number_of(session, practice, client)
    return _queue(session, now, practice, text, client.phone, leaves_by, client_id=client.id)


def queue_prompt(
    session: Session,
    now: datetime,
    practice: Practice,
    client: Client,
    text: Text,
    missed: str | None = None,
) -> bool:
    """Put a day's text in the outbox, or with `missed`, why not, among those that were missed.

    False when one with its `once_key` is there already.
    """
    values = _values(
        now, practice, text, client.phone, number_of(session, practice, client), client.id
    )
    if missed is not None:
        values |= {"state": "missed", "problem": missed}
    new: set[str | None] = session.info.get(NEW_KEYS, set())
    if text.once_key in new:
        new.discard(text.once_key)
        insert_later(session, Message, values)
        return True
    write_what_waits_about(session, Message, client.id)
    return insert_row_once(session, Message, ["once_key"], values) is not None


def find_new_keys(session: Session, keys: Sequence[str]) -> None:
    """Look once which of these keys no text has yet, for the texts that are about to be queued.

    Whoever asks must hold what anybody needs who gives such keys.
    """
    there = session.exec(select(Message.once_key).where(col(Message.once_key).in_(keys))).all()
    session.info[NEW_KEYS] = set(keys).difference(there)


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
        "rank": RANK.get(text.kind, 2),
        "media_url": text.media_url,
        "local_date": text.local_date,
        "rung_key": text.rung_key,
        "answers_id": text.answers_id,
        "created_at": now,
        "not_before": now,
        "not_after": text.not_after or now + GOOD_FOR.get(text.kind, GOOD_FOR_ELSE),
        "attempts": 0,
    }


def cancel_prompts(session: Session, client_id: int) -> None:
    """Take back what has not left yet and asks the client to practise."""
    asks = or_(col(Message.kind).in_(CANCELLED_BY_REST), col(Message.rung_key).is_not(None))
    _cancel(session, client_id, asks, "The client stopped, rests or is paused.")


def cancel_all(session: Session, client_id: int) -> None:
    """Take back everything queued for a client who said STOP, but what answers a call for help."""
    _cancel(session, client_id, col(Message.kind).not_in(AFTER_STOP), "The client said STOP.")


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


def waits_for(session: Session, now: datetime, carrier: str) -> bool:
    """Whether a text may leave by this carrier now."""
    rows = select(Message.id).where(QUEUED, Message.carrier == carrier, _may_leave(now))
    return session.exec(rows.limit(1)).first() is not None


@dataclass(frozen=True, slots=True)
class Claimed:
    """The texts to send now, and those that were taken back, put off or given up instead."""

    to_send: Sequence[Message] = ()
    kept_back: Sequence[Message] = ()


def claim(session: Session, now: datetime, carrier: str, pace: Pace, most: int) -> Claimed:
    """Take queued texts for sending by this carrier, the most urgent first."""
    state = state_of(session, now, carrier)
    most = allowance(state, now, pace, most)
    if most <= 0:
        return Claimed()
    due = (
        select(Message)
        .where(QUEUED, Message.carrier == carrier, _may_leave(now))
        .order_by(col(Message.rank), col(Message.id))
        .limit(most)
        .with_for_update(skip_locked=True)
    )
    waiting = session.exec(due).all()
    clients = _clients(session, waiting)
    won: list[Message] = []
    kept: list[Message] = []
    for message in waiting:
        if message.client_id is not None and message.client_id not in clients:
            continue  # another transaction is changing this client; the next round sees how
        if _may_go(now, message, clients):
            message.state = "sending"
            message.lease_until = now + LEASE
            message.attempts += 1
            won.append(message)
        else:
            kept.append(message)
        session.add(message)
    spend(state, now, pace, len(won))
    session.add(state)
    session.flush()
    return Claimed(won, kept)


def _may_leave(now: datetime):  # type: ignore[no-untyped-def]  # SQLAlchemy's own type
    """A text never tried and never put off may leave even when the clock was set back since."""
    fresh = col(Message.not_before) == col(Message.created_at)
    return or_(col(Message.not_before) <= now, fresh)


@dataclass(frozen=True, slots=True)
class _Whom:
    """What decides whether a text may still go to a client."""

    state: str
    time_zone: str
    quiet: Quiet
    rung_key: str | None
    in_doubt: bool


def _clients(session: Session, messages: Sequence[Message]) -> Mapping[int, _Whom]:
    """Those of the texts' clients whom no other transaction is changing; locked from now on."""
    ids = {message.client_id for message in messages if message.client_id is not None}
    if not ids:
        return {}
    rows = (
        sqlalchemy.select(
            col(Client.id),
            col(Client.state),
            col(Client.time_zone),
            col(Practice.texts_until),
            col(Practice.texts_from),
            col(Placement.rung_key),
        )
        .select_from(Client)
        .join(Practice, col(Practice.id) == col(Client.practice_id))
        .join(Placement, col(Placement.client_id) == col(Client.id), isouter=True)
        .where(col(Client.id).in_(ids))
        .order_by(col(Client.id))
        .with_for_update(of=Client, skip_locked=True, key_share=True)
    )
    found = session.execute(rows).all()
    doubts = select(Question.client_id).where(
        col(Question.client_id).in_(ids),
        col(Question.answered_at).is_(None),
        col(Question.kind).in_(DOUBTS),
    )
    in_doubt = set(session.exec(doubts).all())
    return {
        client_id: _Whom(
            state,
            zone,
            quiet_between(begins, ends),
            rung_key,
            client_id in in_doubt,
        )
        for client_id, state, zone, begins, ends, rung_key in found
    }


def _may_go(now: datetime, message: Message, clients: Mapping[int, _Whom]) -> bool:
    """Whether the text may go now; if not, it is taken back, given up or put off."""
    whom = clients[message.client_id] if message.client_id is not None else None
    if message.not_after is not None and now >= message.not_after:
        give_up(message, now, "It could not be sent in time.")
        return False
    if whom is None:
        return True
    barred = _barred(message, whom)
    if barred is not None:
        message.state, message.problem = "cancelled", barred
        return False
    if message.kind in UNASKED and is_quiet(now, whom.time_zone, whom.quiet):
        if message.kind in CANCELLED_BY_REST:
            give_up(message, now, "Quiet hours began before it could be sent.")
        else:
            message.not_before = _quiet_ends(now, whom)
        return False
    return True


def give_up(message: Message, now: datetime, problem: str) -> None:
    """It is too late. A day's text is then missed, as if the service had been down."""
    message.state = "missed" if message.kind in CANCELLED_BY_REST else "failed"
    message.problem = f"{problem} {message.problem or ''}".strip()
    message.settled_at = now


def _barred(message: Message, whom: _Whom) -> str | None:
    """Why the client must not get this text, or None."""
    if whom.state == "stopped" and message.kind not in AFTER_STOP:
        return "The client said STOP."
    if message.kind not in CANCELLED_BY_REST and message.rung_key is None:
        return None
    if whom.state != "active":
        return "The client stopped, rests or is paused."
    if whom.in_doubt:
        return "Waiting for the answer to a safety question."
    if message.rung_key is not None and message.rung_key != whom.rung_key:
        return "The client was put on another rung."
    return None


def _quiet_ends(now: datetime, whom: _Whom) -> datetime:
    local = now.astimezone(ZoneInfo(whom.time_zone))
    day = local.date() if local.time() < whom.quiet.ends else local.date() + timedelta(days=1)
    return local_to_utc(datetime.combine(day, whom.quiet.ends), whom.time_zone)


def outbound(message: Message, now: datetime) -> OutboundText:
    """The text as a carrier gets it."""
    left = LONGEST_AT_CARRIER
    if message.not_after is not None:
        left = min(left, message.not_after - now)
    return OutboundText(
        message.id,
        message.from_phone,
        message.to_phone,
        message.body,
        message.media_url,
        good_for_s=max(int(left.total_seconds()), 60),
    )
