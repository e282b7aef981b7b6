"""What became of a text: answers of carriers, delivery receipts, lost answers, giving up.

States only move forward, whatever order the news comes in: a receipt can overtake the answer to
our own send, or come for a text whose answer was lost. What a carrier may have taken is never
sent again, unless its kind is one that must arrive.
"""

import logging
from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta

import tenacity
from sqlalchemy import ColumnElement, delete
from sqlmodel import Session, col, select

from rungwise.carriers.base import Accepted, Outcome, Receipt, Refused, TryLater, Unknown
from rungwise.coach.alerting.alerts import Raised, alerts_with, raise_alert
from rungwise.coach.alerting.paging import note_handed_over, page_in_doubt, page_lost, say_on
from rungwise.coach.outbox.circuit import circuit_of, note_outcome, wait_s
from rungwise.coach.outbox.claiming import Claimed, claim
from rungwise.coach.outbox.rate_limit import Pace, state_of
from rungwise.coach.outbox.texts import AT_LEAST_ONCE, Text, give_up, queue_answer, take_back_stale
from rungwise.coach.record.wording import text_for
from rungwise.concepts.questions import QUESTIONS, SAFETY
from rungwise.store.database import is_passing
from rungwise.store.due import set_due
from rungwise.store.salvage import Salvaged, salvage, salvage_one
from rungwise.store.tables import (
    BEING_SENT,
    QUEUED,
    Circuit,
    Client,
    EarlyReceipt,
    Message,
    Practice,
    Question,
)

log = logging.getLogger(__name__)

# Growing waits between tries, with some chance in them so that texts don't come in step.
WAITS = tenacity.wait_exponential_jitter(multiplier=15, max=1800, jitter=5)
# Help must not wait for long once the way is open again.
URGENT_WAITS = tenacity.wait_exponential_jitter(multiplier=5, max=120, jitter=2)
# What may have arrived and must arrive goes again after these, the last for ever: no more than
# three times an hour.
UNKNOWN_WAITS = (timedelta(minutes=1), timedelta(minutes=10), timedelta(minutes=60))
# An unknown text usually gets its receipt within this; after it the trainer is told.
SETTLES_WITHIN = timedelta(minutes=15)
EARLY_RECEIPTS_KEPT = timedelta(days=3)
BATCH = 500
# What news can change: the state it brings, and the states it changes.
BEFORE = {
    "sent": ("queued", "sending", "unknown"),
    "failed": ("queued", "sending", "unknown", "sent"),
    "delivered": ("queued", "sending", "unknown", "sent", "failed"),
}


@dataclass(frozen=True, slots=True)
class Sent:
    """What a carrier answered to a try to send. `attempt` tells it from other tries."""

    message_id: int
    attempt: int
    outcome: Outcome


def take(session: Session, now: datetime, carrier: str, pace: Pace, most: int) -> Claimed:
    """Claim texts for sending, and tell trainers of those that were given up."""
    claimed = claim(session, now, carrier, pace, most)
    for message in claimed.kept_back:
        if message.state == "failed":
            tell_apart(session, now, message)
    for message in claimed.set_aside:
        tell_apart(session, now, message, urgent=True)
    _say_late(session, now, claimed.stale)
    return claimed


def _say_late(session: Session, now: datetime, stale: Sequence[Message]) -> None:
    """In place of safety texts that waited too long: one that fits, and the open question again."""
    latest = {message.client_id: message for message in stale}
    for client_id, message in latest.items():
        try:
            with session.begin_nested():
                _say_late_to(
                    session, now, salvage_one(session, Client, client_id or 0).row, message
                )
        except Exception as problem:
            if is_passing(problem):
                raise
            log.exception("message %s could not be replaced", message.id)


def _say_late_to(session: Session, now: datetime, client: Client, message: Message) -> None:
    if take_back_stale(session, now, client.id):
        return
    practice = salvage_one(session, Practice, client.practice_id).row
    names = ["safety_late"]
    rows = select(Question.kind).where(
        Question.client_id == client.id,
        col(Question.answered_at).is_(None),
        col(Question.kind).in_(SAFETY),
    )
    asked = min(session.exec(rows).all(), key=SAFETY.index, default=None)
    if asked is not None:
        names.append(QUESTIONS[asked].text)
    for name in names:
        body = text_for(session, practice, client, name)
        answers, doubt = message.answers_id, message.maybe_taken
        text = Text("safety", body, answers_id=answers, maybe_taken=doubt)
        queue_answer(session, now, practice, client, text)


def tell_apart(session: Session, now: datetime, message: Message, *, urgent: bool = False) -> None:
    """The same as `undeliverable`, so that what fails over one text undoes nothing of another."""
    try:
        with session.begin_nested():
            undeliverable(session, now, message, urgent=urgent)
    except Exception as problem:
        if is_passing(problem):
            raise
        log.exception("nobody could be told that message %s is %s", message.id, message.state)


def settle(session: Session, now: datetime, carrier: str, answers: Sequence[Sent]) -> None:
    """Store what became of texts that this carrier was asked to send."""
    if not answers:
        return
    state_of(session, now, carrier)  # locked first, always, so that two never wait on each other
    ids = [answer.message_id for answer in answers]
    locked = select(Message.id).where(col(Message.id).in_(ids)).order_by(col(Message.id))
    found = salvage(session, Message, session.exec(locked.with_for_update()).all())
    messages = {each.row.id: each.row for each in found}
    early = _early(session, carrier, answers)
    for answer in answers:
        message = messages.get(answer.message_id)
        if message is None:
            continue  # erased while it was on its way
        _count(session, now, carrier, message, answer.outcome)
        if isinstance(answer.outcome, Accepted):
            _accept(now, message, answer.outcome)
            for receipt in early.get(answer.outcome.carrier_id, ()):
                note_receipt(session, now, message, receipt.state, receipt.detail)
                session.delete(receipt)
        elif message.state == "sending" and message.attempts == answer.attempt:
            _not_taken(session, now, message, answer.outcome)
        # Else a receipt was quicker, or the lease ran out and it was settled without us.
        session.add(message)
        if message.kind == "page":
            note_handed_over(session, message)
    session.flush()


def _count(
    session: Session, now: datetime, carrier: str, message: Message, outcome: Outcome
) -> None:
    """Let the practice's circuit know what became of a text."""
    circuit = circuit_of(session, carrier, message.practice_id)
    earlier = salvage(session, Message, circuit.failing) if circuit.failing else []
    numbers = {each.row.id: each.row.to_phone for each in earlier}
    note_outcome(circuit, now, message.id, outcome, numbers | {message.id: message.to_phone})
    session.add(circuit)


def _accept(now: datetime, message: Message, outcome: Accepted) -> None:
    state = "delivered" if outcome.delivered else "sent"
    message.lease_until = None
    message.carrier_id = message.carrier_id or outcome.carrier_id
    message.sent_at = message.sent_at or now
    if message.state in BEFORE[state]:
        message.state, message.problem = state, None
        message.settled_at = now if outcome.delivered else None


def _not_taken(
    session: Session, now: datetime, message: Message, outcome: TryLater | Refused | Unknown
) -> None:
    message.lease_until = None
    if isinstance(outcome, Refused):
        message.state, message.problem, message.settled_at = "failed", outcome.reason, now
        undeliverable(session, now, message)
    elif isinstance(outcome, TryLater):
        try_again(now, message, outcome.reason)
    elif message.kind in AT_LEAST_ONCE:
        _try_again_in_doubt(session, now, message, outcome.reason)
    else:
        unknown(session, now, message, outcome.reason)


def _early(
    session: Session, carrier: str, answers: Sequence[Sent]
) -> Mapping[str, list[EarlyReceipt]]:
    """Receipts that came before these answers, by the carrier's id of the text."""
    ids = [each.outcome.carrier_id for each in answers if isinstance(each.outcome, Accepted)]
    rows = select(EarlyReceipt).where(
        EarlyReceipt.carrier == carrier, col(EarlyReceipt.carrier_id).in_(ids)
    )
    found: dict[str, list[EarlyReceipt]] = defaultdict(list)
    for receipt in session.exec(rows.order_by(col(EarlyReceipt.id))).all():
        found[receipt.carrier_id].append(receipt)
    return found


def try_again(now: datetime, message: Message, reason: str) -> None:
    """Queue it for another try, after a wait that grows with each."""
    rule = URGENT_WAITS if message.kind in AT_LEAST_ONCE else WAITS
    message.state = "queued"
    message.not_before = now + timedelta(seconds=wait_s(rule, message.attempts))
    message.problem = reason


def _try_again_in_doubt(session: Session, now: datetime, message: Message, reason: str) -> None:
    """The carrier may have taken it, and it must arrive: again, but ever more seldom."""
    message.state, message.problem = "queued", reason
    message.maybe_taken += 1
    place = min(message.maybe_taken, len(UNKNOWN_WAITS)) - 1
    message.not_before = now + UNKNOWN_WAITS[place]
    session.add(message)
    session.flush()
    if message.kind == "page":
        page_in_doubt(session, now, message)
    elif message.answers_id is not None and message.kind != "opt_out":
        said = f"The {message.kind} text may not have arrived. Please phone."
        say_on(session, alerts_with(session, message.answers_id), said)


def unknown(session: Session, now: datetime, message: Message, reason: str) -> None:
    """The carrier may have taken it. A receipt may yet tell; if none comes, the trainer is told."""
    message.state, message.problem = "unknown", reason
    set_due(session, "unsettled", message.id, now + SETTLES_WITHIN)


def still_unknown(session: Session, now: datetime, message_id: int) -> None:
    """No receipt has come for a text that may or may not have left."""
    message = session.get_one(Message, message_id)
    if message.state == "unknown":
        undeliverable(session, now, message)


def needs_looking_after(session: Session, now: datetime, set_up: Set[str]) -> bool:
    """Whether anything below has something to do; asked often, so that it costs little."""
    lost = select(Message.id).where(BEING_SENT, col(Message.lease_until) < now)
    late = select(Message.id).where(QUEUED, col(Message.not_after) <= now)
    elsewhere = select(Message.id).where(QUEUED, col(Message.carrier).not_in(set_up))
    down = select(Circuit.carrier).where(col(Circuit.down_since).is_not(None))
    old = select(EarlyReceipt.id).where(col(EarlyReceipt.at) < now - EARLY_RECEIPTS_KEPT)
    return any(
        session.exec(rows.limit(1)).first() is not None
        for rows in (lost, late, elsewhere, down, old)
    )


def free_expired(session: Session, now: datetime) -> int:
    """Settle leases that ran out: the sender died, and the carrier may have taken the text."""
    found = _locked(session, BEING_SENT, col(Message.lease_until) < now)
    for message in (each.row for each in found):
        message.lease_until = None
        said = "The service stopped while sending; the carrier may have taken it."
        if message.kind not in AT_LEAST_ONCE:
            unknown(session, now, message, said)
        elif message.maybe_taken == 0:
            # Most likely nothing had left, and the lease was wait enough.
            message.state, message.not_before, message.maybe_taken = "queued", now, 1
        else:
            _try_again_in_doubt(session, now, message, said)
        session.add(message)
    return len(found)


def expire(session: Session, now: datetime) -> int:
    """Give up what has waited for too long; how many."""
    found = _locked(session, QUEUED, col(Message.not_after) <= now)
    for message in (each.row for each in found):
        give_up(message, now, "It could not be sent in time.")
        session.add(message)
        if message.state == "failed":
            tell_apart(session, now, message)
    return len(found)


def _locked(session: Session, *which: ColumnElement[bool]) -> list[Salvaged[Message]]:
    rows = select(Message.id).where(*which).limit(BATCH).with_for_update(skip_locked=True)
    return salvage(session, Message, session.exec(rows).all())


def still_unsent(session: Session, now: datetime, message_id: int) -> None:
    """A text that must arrive has waited for long: the trainer had better telephone."""
    message = session.get_one(Message, message_id)
    if message.state in ("queued", "sending"):
        undeliverable(session, now, message)


def note_receipts(
    session: Session, now: datetime, carrier: str, receipts: Sequence[Receipt]
) -> None:
    """Store delivery receipts; a text that failed is an alert."""
    meant = _meant(session, carrier, receipts) if receipts else {}
    for receipt in receipts:
        message = meant.get(receipt.carrier_id)
        if message is not None:
            message.carrier_id = message.carrier_id or receipt.carrier_id
            note_receipt(session, now, message, receipt.state, receipt.detail)
        elif receipt.message_id is None:
            session.add(
                EarlyReceipt(
                    carrier=carrier,
                    carrier_id=receipt.carrier_id,
                    state=receipt.state,
                    detail=receipt.detail,
                    at=now,
                )
            )


def _meant(session: Session, carrier: str, receipts: Sequence[Receipt]) -> Mapping[str, Message]:
    """The texts that receipts are about, by the carrier's id: those that have it, else those whose
    own id the receipt tells.
    """
    own = select(Message).where(Message.direction == "out", Message.carrier == carrier)
    # Always in the same order, so that two who lock some of the same never wait for each other.
    own = own.order_by(col(Message.id)).with_for_update()
    ids = [receipt.carrier_id for receipt in receipts]
    by_carriers = session.exec(own.where(col(Message.carrier_id).in_(ids))).all()
    found = {str(message.carrier_id): message for message in by_carriers}
    told = {
        receipt.message_id: receipt.carrier_id
        for receipt in receipts
        if receipt.message_id is not None and receipt.carrier_id not in found
    }
    if told:
        by_ours = own.where(col(Message.id).in_(told), col(Message.carrier_id).is_(None))
        found |= {told[message.id]: message for message in session.exec(by_ours).all()}
    return found


def note_receipt(session: Session, now: datetime, message: Message, state: str, said: str) -> None:
    """Move a text on by what a receipt says, if that is news."""
    if message.state not in BEFORE.get(state, ()):
        return
    message.state = state
    message.lease_until = None
    message.problem = said or None
    message.sent_at = message.sent_at or now
    message.settled_at = None if state == "sent" else now
    session.add(message)
    if message.kind == "page":
        note_handed_over(session, message)
    if state == "failed":
        undeliverable(session, now, message)


def forget_early(session: Session, now: datetime) -> None:
    """Drop receipts that no text was ever found for."""
    session.execute(delete(EarlyReceipt).where(col(EarlyReceipt.at) < now - EARLY_RECEIPTS_KEPT))


def undeliverable(
    session: Session, now: datetime, message: Message, *, urgent: bool = False
) -> None:
    """Tell the trainer that a text to their client did not arrive, or may not have."""
    if message.client_id is None:
        if message.kind == "page":
            session.add(message)
            session.flush()
            page_lost(session, now, message)
        else:
            log.error("message %s to a stranger is %s", message.id, message.state)
        return
    client = salvage_one(session, Client, message.client_id).row
    practice = salvage_one(session, Practice, client.practice_id).row
    state = "waiting" if message.state == "queued" else message.state
    did = f"The {message.kind} text is {state}: {message.problem}"
    urgent = urgent or message.kind in AT_LEAST_ONCE - {"opt_out"}
    raised = Raised("undeliverable", did, "urgent" if urgent else "today")
    raise_alert(session, now, practice, client, raised)
