"""The ticks: act on what is due, and send what waits in the outbox.

The database is the truth. A tick claims rows in the transaction that acts on them, so any number
of processes may run ticks, and one that is killed leaves the row due.
"""

import logging
from collections.abc import Callable, Mapping, Sequence, Set
from datetime import datetime, timedelta
from itertools import groupby

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from rungwise.carriers.base import Carrier
from rungwise.carriers.email import EMAIL
from rungwise.clock import Clock
from rungwise.coach.alerting import alerts
from rungwise.coach.alerting.incidents import page_again
from rungwise.coach.alerting.paging import strand
from rungwise.coach.conversation.on_due import on_unanswered
from rungwise.coach.daily import new_phone, strangers
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.day_due import KINDS, day_texts_due
from rungwise.coach.daily.delivery import (
    expire,
    forget_early,
    free_expired,
    needs_looking_after,
    still_unknown,
    still_unsent,
)
from rungwise.coach.daily.dossiers import load_bare
from rungwise.coach.daily.falls_due import falls_due
from rungwise.coach.daily.receive import parts_waited, read_again
from rungwise.coach.daily.weekly import weekly_due
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.coach.outbox.sender_numbers import reroute
from rungwise.coach.outbox.texts import AT_LEAST_ONCE
from rungwise.coach.practice.retention import retention_due
from rungwise.coach.reviews.retests import review_due
from rungwise.concepts.due_kinds import OF_CLIENTS
from rungwise.store import Store
from rungwise.store.database import is_passing
from rungwise.store.deferred_writes import rows_may_wait
from rungwise.store.due import due_by, next_due_at, set_due
from rungwise.store.idempotent_inserts import insert_once, rows_updated
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import Client, Due, LastTick, Practice, Question
from rungwise.ticks.sending import Sender

Handler = Callable[[Session, datetime, Due], None]

log = logging.getLogger(__name__)

DUE_BATCH = 200
RETRY_AFTER = timedelta(minutes=5)


def _doubt(session: Session, now: datetime, due: Due) -> None:
    question = session.get(Question, due.subject_id)
    if question is None or question.answered_at is not None:
        return
    client = salvage_one(session, Client, question.client_id).row
    practice = salvage_one(session, Practice, client.practice_id).row
    dossier = load_bare(session, practice, client)
    apply(session, now, client, dossier, on_unanswered(dossier, question.kind, now))


def _day_text(session: Session, now: datetime, due: Due) -> None:
    day_texts_due(session, now, [due])


def _by_id(act: Callable[[Session, datetime, int], None]) -> Handler:
    """A handler for what needs to know only what it is about."""
    return lambda session, now, due: act(session, now, due.subject_id)


HANDLERS: Mapping[str, Handler] = {
    "prompt": _day_text,
    "reminder": _day_text,
    "weekly": weekly_due,
    "falls": falls_due,
    "retest": review_due,
    "new_phone": _by_id(new_phone.unanswered),
    "doubt": _doubt,
    "chain": _by_id(page_again),
    "escalate": _by_id(alerts.escalate),
    "reread": _by_id(read_again),
    "parts": _by_id(parts_waited),
    "unsent": _by_id(still_unsent),
    "unsettled": _by_id(still_unknown),
    "retention": _by_id(retention_due),
    "stranger": _by_id(strangers.page_again),
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
    try:
        return store.run(lambda session: _act_together(session, now))
    except Exception as problem:
        if is_passing(problem):
            raise
        log.exception("what is due could not be done together; each is done by itself")
    return store.run(lambda session: _act_one_by_one(session, now))


def _act_together(session: Session, now: datetime) -> int:
    """Act on all of a batch, or fail as a whole."""
    with rows_may_wait(session):
        return _act_on_all(session, now)


def _act_on_all(session: Session, now: datetime) -> int:
    rows = due_by(session, now, DUE_BATCH)
    clients = _free_clients(session, rows)
    taken = [row for row in rows if _is_free(row, clients)]
    for row in taken:
        session.expunge(row)
    session.execute(delete(Due).where(col(Due.id).in_([row.id for row in taken])))
    practices = {client.practice_id for client in clients.values()}
    # Held, so that the session goes on knowing them.
    held = session.exec(select(Practice).where(col(Practice.id).in_(practices))).all()
    for of_the_day, some in groupby(taken, key=lambda due: due.kind in KINDS):
        if of_the_day:
            day_texts_due(session, now, list(some))
        else:
            for due in some:
                HANDLERS[due.kind](session, now, due)
    del held
    return len(rows)


def _act_one_by_one(session: Session, now: datetime) -> int:
    rows = due_by(session, now, DUE_BATCH)
    clients = _free_clients(session, rows)
    for row in rows:
        if _is_free(row, clients):
            _act(session, now, row)
    return len(rows)


def _is_free(row: Due, clients: Mapping[int, Client]) -> bool:
    """A client who is just being dealt with elsewhere comes in the next batch."""
    return row.kind not in OF_CLIENTS or row.subject_id in clients


def _free_clients(session: Session, rows: Sequence[Due]) -> dict[int, Client]:
    """The clients whom no other transaction is changing, locked from now on."""
    ids = {row.subject_id for row in rows if row.kind in OF_CLIENTS}
    if not ids:
        return {}
    free = select(Client.id).where(col(Client.id).in_(ids)).order_by(col(Client.id))
    locked = session.exec(free.with_for_update(skip_locked=True, key_share=True)).all()
    return {each.row.id: each.row for each in salvage(session, Client, locked)}


def _act(session: Session, now: datetime, row: Due) -> None:
    due = Due(kind=row.kind, subject_id=row.subject_id, at=row.at, local_date=row.local_date)
    try:
        with session.begin_nested():
            session.delete(row)
            session.flush()
            HANDLERS[due.kind](session, now, due)
    except Exception as problem:
        if is_passing(problem):
            raise
        # One client's trouble must not stop the others; it is tried again and seen in the log.
        log.exception("due %s for %s failed", due.kind, due.subject_id)
        set_due(session, due.kind, due.subject_id, now + RETRY_AFTER, due.local_date)
        if due.kind in OF_CLIENTS:
            _tell_of_trouble(session, now, due, str(problem) or type(problem).__name__)


def _tell_of_trouble(session: Session, now: datetime, due: Due, what: str) -> None:
    """Tell the trainer that what is due for a client cannot be done, so that a person sees to it.

    Told again every few minutes, it is one alert.
    """
    did = (
        f"The {due.kind} that is due could not be made, because a stored value cannot be used: "
        f"{what}. Please look at the plan and at the practice's settings."
    )
    try:
        with session.begin_nested():
            client = salvage_one(session, Client, due.subject_id).row
            practice = salvage_one(session, Practice, client.practice_id).row
            raised = alerts.Raised("undeliverable", did, "urgent")
            alerts.raise_alert(session, now, practice, client, raised)
    except Exception as problem:
        if is_passing(problem):
            raise
        log.exception("nobody could be told of it")


def send_tick(
    store: Store,
    carriers: Mapping[str, Carrier],
    clock: Clock,
    paces: Mapping[str, Pace] | None = None,
) -> int:
    """Send what waits in the outbox, once round; returns how many texts were dealt with."""
    look_after(store, carriers, clock)
    done = 0
    for name, carrier in carriers.items():
        with Sender(store, carrier, clock, (paces or {}).get(name, Pace())) as sender:
            done += sender.round()
    return done


def look_after(store: Store, carriers: Mapping[str, Carrier], clock: Clock) -> None:
    """What the outbox needs now and then: lost leases, texts that are too late, dead carriers."""
    now = clock.now()
    with store.read() as session:
        needed = needs_looking_after(session, now, carriers.keys())
    if not needed:
        return
    for act in _cares(now, carriers.keys()):
        try:
            store.run(act)
        except Exception as problem:
            if is_passing(problem):
                raise
            # What fails in one of them must not keep the others from their work.
            log.exception("the outbox could not be looked after")


def _cares(now: datetime, set_up: Set[str]) -> list[Callable[[Session], object]]:
    """What the outbox needs, each in a transaction of its own."""
    return [
        lambda session: free_expired(session, now),
        lambda session: expire(session, now),
        lambda session: reroute(session, now, set_up, AT_LEAST_ONCE),
        lambda session: strand(session, now) if EMAIL not in set_up else None,
        lambda session: forget_early(session, now),
    ]


def note_tick(store: Store, name: str, now: datetime) -> None:
    """Remember that a tick finished well, so that a page can warn when they stop."""
    store.run(lambda session: _note_tick(session, name, now))


def _note_tick(session: Session, name: str, now: datetime) -> None:
    noted = update(LastTick).where(col(LastTick.name) == name).values(at=now)
    if rows_updated(session, noted) == 0:
        # Two processes on a new database may both be first.
        insert_once(session, LastTick, ["name"], {"name": name, "at": now})
