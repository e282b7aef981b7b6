"""The ticks: act on what is due, and send what waits in the outbox.

The database is the truth. A tick claims rows in the transaction that acts on them, so any number
of processes may run ticks, and one that is killed leaves the row due.
"""

import logging
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

from sqlmodel import Session

from service.carriers.base import Carrier, Outcome, Refused, Unknown
from service.clock import Clock
from service.coach import alerts, safety
from service.coach.alerts import Raised, raise_alert
from service.coach.outbox import anything_waits, claim, outbound, settle
from service.coach.prompt import prompt_due, reminder_due
from service.coach.receive import read_again
from service.coach.retests import review_due
from service.coach.situation import load
from service.coach.weekly import weekly_due
from service.store import Store
from service.store.due import due_by, next_due_at, set_due
from service.store.tables import Client, Due, LastTick, Message, Practice, Question

log = logging.getLogger(__name__)

DUE_BATCH = 50
SEND_BATCH = 50
SENDERS = 8
RETRY_AFTER = timedelta(minutes=5)


def _escalate(session: Session, now: datetime, due: Due) -> None:
    alerts.escalate(session, now, due.subject_id)


def _doubt(session: Session, now: datetime, due: Due) -> None:
    question = session.get(Question, due.subject_id)
    if question is None or question.answered_at is not None:
        return
    situation = load(session, session.get_one(Client, question.client_id))
    if situation is not None:
        safety.doubt_unanswered(session, now, situation, question.kind)


def _reread(session: Session, now: datetime, due: Due) -> None:
    read_again(session, now, due.subject_id)


HANDLERS: Mapping[str, Callable[[Session, datetime, Due], None]] = {
    "prompt": prompt_due,
    "reminder": reminder_due,
    "escalate": _escalate,
    "doubt": _doubt,
    "reread": _reread,
    "retest": review_due,
    "weekly": weekly_due,
}


def due_tick(store: Store, clock: Clock, most_batches: int = 200) -> int:
    """Act on everything due; returns how many things were done. Bounded, so it cannot hang on."""
    done = 0
    for _ in range(most_batches):
        count = _due_batch(store, clock.now())
        done += count
        if count < DUE_BATCH:
            break
    return done


def _due_batch(store: Store, now: datetime) -> int:
    with store.read() as session:
        # Most ticks find nothing; they need not take the write lock to see that.
        next_at = next_due_at(session)
    if next_at is None or next_at > now:
        return 0
    with store.write() as session:
        rows = due_by(session, now, DUE_BATCH)
        for row in rows:
            _act(session, now, row)
        return len(rows)


def _act(session: Session, now: datetime, row: Due) -> None:
    due = Due(kind=row.kind, subject_id=row.subject_id, at=row.at, local_date=row.local_date)
    try:
        with session.begin_nested():
            session.delete(row)
            session.flush()
            HANDLERS[due.kind](session, now, due)
    except Exception:
        # One client's trouble must not stop the others; it is tried again and seen in the log.
        log.exception("due %s for %s failed", due.kind, due.subject_id)
        set_due(session, due.kind, due.subject_id, now + RETRY_AFTER, due.local_date)


def send_tick(store: Store, carriers: Mapping[str, Carrier], clock: Clock) -> int:
    """Send what waits in the outbox; returns how many texts were tried."""
    with store.read() as session:
        if not anything_waits(session, clock.now()):
            return 0
    with store.write() as session:
        won = claim(session, clock.now(), SEND_BATCH)
    if not won:
        return 0
    with ThreadPoolExecutor(max_workers=min(SENDERS, len(won))) as senders:
        outcomes = list(senders.map(lambda message: _send(carriers, message), won))
    with store.write() as session:
        for message, outcome in zip(won, outcomes, strict=True):
            settled = settle(session, clock.now(), message.id, outcome)
            if settled.state in ("failed", "unknown"):
                _undeliverable(session, clock.now(), settled)
    return len(won)


def _send(carriers: Mapping[str, Carrier], message: Message) -> Outcome:
    carrier = carriers.get(message.carrier)
    if carrier is None:
        return Refused(f"No carrier named {message.carrier!r} is set up.")
    try:
        return carrier.send(outbound(message))
    except Exception as problem:
        log.exception("sending message %s failed", message.id)
        return Unknown(type(problem).__name__)


def _undeliverable(session: Session, now: datetime, message: Message) -> None:
    if message.client_id is None:
        log.error("message %s to a trainer or stranger is %s", message.id, message.state)
        return
    client = session.get_one(Client, message.client_id)
    practice = session.get_one(Practice, client.practice_id)
    did = f"The {message.kind} text is {message.state}: {message.problem}"
    urgency = "urgent" if message.kind == "safety" else "today"
    raise_alert(session, now, practice, client, Raised("undeliverable", did, urgency))


def note_tick(store: Store, name: str, now: datetime) -> None:
    """Remember that a tick finished well, so that a page can warn when they stop."""
    with store.write() as session:
        session.merge(LastTick(name=name, at=now))
