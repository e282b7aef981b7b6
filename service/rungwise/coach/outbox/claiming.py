"""Claiming texts for sending: which may leave now, and whether each may still go.

A text is claimed in a transaction that checks what has become of its client since it was queued.
A stored value that cannot be used sets aside the one text that needs it; a practice whose circuit
is open holds up no other practice, and one number no other number.
"""

import logging
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy
from sqlmodel import Session, and_, col, func, or_, select

from rungwise.carriers.base import OutboundText
from rungwise.coach.outbox.circuit import may_try, note_trial, open_circuits
from rungwise.coach.outbox.rate_limit import Pace, allowance, spend, state_of
from rungwise.coach.outbox.texts import (
    AFTER_STOP,
    CANCELLED_BY_REST,
    FITS_FOR,
    TELL_AFTER,
    UNASKED,
    give_up,
)
from rungwise.coach.record.situation import load
from rungwise.concepts.questions import DOUBTS
from rungwise.store.salvage import salvage, undecodable
from rungwise.store.tables import (
    QUEUED,
    Circuit,
    Client,
    Message,
    MoveRow,
    Placement,
    Practice,
    Question,
)
from rungwise.ticks.due import Quiet, is_quiet, quiet_between
from rungwise.time_zone import local_to_utc

log = logging.getLogger(__name__)

# Longer than any send takes: a carrier answers within half a minute.
LEASE = timedelta(seconds=60)
# Of what waits for a carrier that is down, so many texts are looked at for a trial.
LOOKED_AT = 500
BROKEN = "A stored value that it needs cannot be used"
# No gateway keeps a text for longer.
LONGEST_AT_CARRIER = timedelta(hours=4)


def waits_for(session: Session, now: datetime, carrier: str) -> bool:
    """Whether a text may leave by this carrier now."""
    rows = select(Message.id).where(QUEUED, Message.carrier == carrier, _may_leave(now))
    return session.exec(rows.limit(1)).first() is not None


@dataclass(frozen=True, slots=True)
class Claimed:
    """The texts to send now, those that were taken back, put off or given up instead, those that
    were set aside because a stored value that they need cannot be used, and safety texts that fit
    no more: another is to be said in their place.
    """

    to_send: Sequence[Message] = ()
    kept_back: Sequence[Message] = ()
    set_aside: Sequence[Message] = ()
    stale: Sequence[Message] = ()


def claim(session: Session, now: datetime, carrier: str, pace: Pace, most: int) -> Claimed:
    """Take queued texts for sending by this carrier, the most urgent first."""
    state = state_of(session, now, carrier)
    room = allowance(state, now, pace, most)
    if room <= 0:
        return Claimed()
    waiting = salvage(session, Message, _next(session, now, carrier, room))
    whole = [each.row for each in waiting if not each.broken]
    clients = _clients(session, whole)
    won: list[Message] = []
    stale: list[Message] = []
    kept: list[Message] = []
    aside = [_set_aside(now, each.row, ", ".join(each.broken)) for each in waiting if each.broken]
    for message in whole:
        if message.client_id is not None and message.client_id not in clients:
            continue  # another transaction is changing this client; the next round sees how
        try:
            goes = _may_go(now, message, clients)
        except Exception as problem:  # a wrong stored value stops this text and no other
            aside.append(_set_aside(now, message, str(problem) or type(problem).__name__))
            continue
        if goes and _is_stale(now, message):
            message.state, message.problem = "cancelled", "It waited until it fitted no more."
            stale.append(message)
        elif goes:
            message.state = "sending"
            message.lease_until = now + LEASE
            message.attempts += 1
            message.tried_at = now
            won.append(message)
        else:
            kept.append(message)
    session.add_all([*won, *kept, *aside, *stale])
    spend(state, pace, len(won))
    session.add(state)
    session.flush()
    return Claimed(won, kept, aside, stale)


def _is_stale(now: datetime, message: Message) -> bool:
    fits = FITS_FOR.get(message.kind)
    return fits is not None and now - message.created_at >= fits


def _set_aside(now: datetime, message: Message, what: str) -> Message:
    log.error("message %s is set aside: %s", message.id, what)
    give_up(message, now, f"{BROKEN}: {what}.")
    return message


def _next(session: Session, now: datetime, carrier: str, room: int) -> list[int]:
    """The texts to claim now, locked: those of open circuits first, one a receiver and at most
    half, then of all others the most urgent.
    """
    down = open_circuits(session, carrier)
    tried = _in_spite(session, now, carrier, down)[: max(room // 2, 1)] if down else []
    for practice_id in sorted({practice_id for _, practice_id in tried}):
        if may_try(down[practice_id], now):
            note_trial(down[practice_id], now)
    rows = (
        select(Message.id)
        .where(QUEUED, Message.carrier == carrier, _may_leave(now))
        .where(col(Message.practice_id).not_in(down))
        .order_by(col(Message.rank), col(Message.id))
        .limit(room - len(tried))
        .with_for_update(skip_locked=True)
    )
    return [*(message_id for message_id, _ in tried), *session.exec(rows).all()]


def _in_spite(
    session: Session, now: datetime, carrier: str, down: Mapping[int, Circuit]
) -> list[tuple[int, int]]:
    """What leaves although the practice's circuit is open, with the practice: pages that have
    waited for TELL_AFTER, and when it is time for a trial, a page and another text.
    """
    ready = [practice_id for practice_id, circuit in down.items() if may_try(circuit, now)]
    overdue = and_(col(Message.kind) == "page", col(Message.created_at) <= now - TELL_AFTER)
    rows = (
        select(Message.id)
        .where(QUEUED, Message.carrier == carrier, col(Message.practice_id).in_(down))
        .where(or_(overdue, col(Message.practice_id).in_(ready)))
        .order_by(col(Message.kind) != "page", col(Message.rank), col(Message.id))
        .limit(LOOKED_AT)
        .with_for_update(skip_locked=True)
    )
    theirs: dict[int, list[Message]] = defaultdict(list)
    for each in salvage(session, Message, session.exec(rows).all()):
        theirs[each.row.practice_id].append(each.row)
    found: dict[int, int] = {}
    for practice_id, messages in theirs.items():
        waits = [m for m in messages if m.kind == "page" and now - m.created_at >= TELL_AFTER]
        trials = _trials(now, messages) if practice_id in ready else []
        found |= {each.id: practice_id for each in (*_fair(now, waits), *trials)}
    return list(found.items())


def _trials(now: datetime, messages: Sequence[Message]) -> list[Message]:
    """The page and the other text whose receivers were not tried for longest."""
    pages = [message for message in messages if message.kind == "page"]
    others = [message for message in messages if message.kind != "page"]
    return [*_fair(now, pages)[:1], *_fair(now, others)[:1]]


def _fair(now: datetime, messages: Iterable[Message]) -> list[Message]:
    """One text a receiver that may leave now, the receiver first that was not tried for longest."""
    by_receiver: dict[str, list[Message]] = defaultdict(list)
    for message in messages:
        by_receiver[message.to_phone].append(message)
    turns = []
    for theirs in by_receiver.values():
        ready = [each for each in theirs if each.not_before is None or each.not_before <= now]
        if ready:
            first = min(ready, key=lambda each: (each.rank, each.id))
            tried = [each.tried_at.timestamp() for each in theirs if each.tried_at is not None]
            turns.append((max(tried, default=0.0), first.rank, first.id, first))
    return [first for *_, first in sorted(turns, key=lambda turn: turn[:3])]


def _may_leave(now: datetime):  # type: ignore[no-untyped-def]  # SQLAlchemy's own type
    """A text never tried and never put off may leave even when the clock was set back since."""
    fresh = col(Message.not_before) == col(Message.created_at)
    return or_(col(Message.not_before) <= now, fresh)


@dataclass(frozen=True, slots=True)
class _Whom:
    """What decides whether a text may still go to a client, as stored."""

    state: str
    time_zone: str
    texts_until: str
    texts_from: str
    rung_key: str | None
    in_doubt: bool
    easier: frozenset[int] = frozenset()

    @property
    def quiet(self) -> Quiet:
        """Made only for what must keep out of them: wrong ones hold up no text that need not."""
        return quiet_between(self.texts_until, self.texts_from)


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
    easier = _easier(session, messages, {row[0]: row[-1] for row in found})
    return {
        client_id: _Whom(state, zone, until, since, rung_key, client_id in in_doubt, easier)
        for client_id, state, zone, until, since, rung_key in found
    }


def _easier(
    session: Session, messages: Sequence[Message], on: Mapping[int, str | None]
) -> frozenset[int]:
    """Those texts that ask for an easier rung than the client's by design: easier for today, or
    kept up. Nothing was decided since they were written.
    """
    found = set()
    for message in messages:
        here = on.get(message.client_id or 0)
        if message.rung_key is None or here is None or message.rung_key == here:
            continue
        try:
            situation = load(session, session.get_one(Client, message.client_id))
            ladder = situation.ladder if situation is not None else None
        except Exception as problem:
            if not undecodable(problem):
                raise
            continue
        if ladder is None or here not in ladder or message.rung_key not in ladder:
            continue
        decided = select(func.max(MoveRow.decided_at)).where(MoveRow.client_id == message.client_id)
        decided_at = session.exec(decided).one()
        fresh = decided_at is not None and message.created_at >= decided_at
        if fresh and ladder.index(message.rung_key) < ladder.index(here):
            found.add(message.id)
    return frozenset(found)


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
    another = message.rung_key is not None and message.rung_key != whom.rung_key
    if another and message.id not in whom.easier:
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
