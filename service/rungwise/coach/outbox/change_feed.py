"""The feed of a practice's changes: numbered in the order in which they could be seen, asked after
by number, told to webhooks as they are numbered, and forgotten after a month.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import delete
from sqlmodel import Session, col, func, or_, select

from rungwise.coach.outbox.webhook_calls import living_webhooks, new_call
from rungwise.errors import ServiceError
from rungwise.store.changes import follow_again
from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Change, ChangeFeed, Client, MoveRow, Report, Retest, Webhook

KEPT = timedelta(days=30)
ASKED_NOTED_EVERY = timedelta(hours=1)
MOST_NUMBERED = 2000
# What a webhook may be told of besides alerts, by the change it comes from: its kind of call, and
# in words for the page.
TOPICS = {
    "days": "what a client told of a day",
    "moves": "every move, by the rule or a trainer",
    "retests": "every retest recorded",
    "stops": "a client's texts have stopped",
}


class ReadAnew(ServiceError):
    """These changes are kept no longer. Read everything again, then ask without a cursor."""


def follow(session: Session, now: datetime, practice_id: int) -> ChangeFeed:
    """The practice's feed, locked; from now on its changes are kept."""
    first = {"practice_id": practice_id, "asked_at": now, "last_number": 0, "forgotten_to": 0}
    insert_once(session, ChangeFeed, ["practice_id"], first)
    follow_again(session)
    rows = select(ChangeFeed).where(ChangeFeed.practice_id == practice_id)
    feed = session.exec(rows.with_for_update()).one()
    feed.asked_at = now
    session.add(feed)
    return feed


def number_changes(session: Session, now: datetime, feed: ChangeFeed) -> None:
    """Number what can be seen and has no number, and tell the webhooks that want it.

    The feed is locked, so that two do not number at once.
    """
    fresh = select(Change).where(
        Change.practice_id == feed.practice_id, col(Change.number).is_(None)
    )
    hooks = [hook for hook in living_webhooks(session, feed.practice_id) if hook.topics]
    for change in session.exec(fresh.order_by(col(Change.id)).limit(MOST_NUMBERED)).all():
        feed.last_number += 1
        change.number, change.numbered_at = feed.last_number, now
        session.add(change)
        _tell(session, now, hooks, change)
    session.add(feed)
    session.flush()


def not_up_to_date(session: Session, now: datetime, practice_id: int) -> bool:
    """Whether `bring_up_to_date` has anything to do."""
    feed = session.get(ChangeFeed, practice_id)
    fresh = select(Change.id).where(Change.practice_id == practice_id, col(Change.number).is_(None))
    if feed is None or now - feed.asked_at > ASKED_NOTED_EVERY:
        return True
    return session.exec(fresh.limit(1)).first() is not None


def bring_up_to_date(session: Session, now: datetime, practice_id: int) -> None:
    """Begin the practice's feed if there is none, and number all that can be seen."""
    number_changes(session, now, follow(session, now, practice_id))


def number_everywhere(session: Session, now: datetime) -> None:
    """The same for every practice that has changes without a number."""
    practices = select(Change.practice_id).where(col(Change.number).is_(None)).distinct()
    for practice_id in session.exec(practices).all():
        rows = select(ChangeFeed).where(ChangeFeed.practice_id == practice_id)
        feed = session.exec(rows.with_for_update(skip_locked=True)).first()
        if feed is not None:
            number_changes(session, now, feed)


def any_unnumbered(session: Session) -> bool:
    fresh = select(Change.id).where(col(Change.number).is_(None))
    return session.exec(fresh.limit(1)).first() is not None


def changes_after(
    session: Session, feed: ChangeFeed, scope: Scope, kinds: Sequence[str], after: int, most: int
) -> list[Change]:
    """What changed after a number, oldest first, of the clients in scope; ReadAnew if forgotten.

    An erased client is told to whoever may see clients of the practice.
    """
    if after < feed.forgotten_to or after > feed.last_number:
        raise ReadAnew
    rows = (
        select(Change)
        .outerjoin(Client, col(Client.id) == col(Change.client_id))
        .where(
            Change.practice_id == scope.practice_id,
            col(Change.number) > after,
            col(Change.kind).in_(kinds),
            or_(col(Change.client_id).is_(None), scope.clients),
        )
        .order_by(col(Change.number))
        .limit(most)
    )
    return list(session.exec(rows).all())


def forget_changes(session: Session, now: datetime) -> None:
    """Changes numbered a month ago, and feeds that nobody asked for since."""
    hooked = {
        hook.practice_id
        for hook in session.exec(select(Webhook).where(col(Webhook.ended_at).is_(None))).all()
        if hook.topics
    }
    for feed in session.exec(select(ChangeFeed).with_for_update()).all():
        of_practice = col(Change.practice_id) == feed.practice_id
        if feed.asked_at < now - KEPT and feed.practice_id not in hooked:
            session.execute(delete(Change).where(of_practice))
            session.delete(feed)
            continue
        old = (of_practice, col(Change.numbered_at) < now - KEPT)
        last = session.exec(select(func.max(Change.number)).where(*old)).one()
        if last is not None:
            feed.forgotten_to = last
            session.add(feed)
            session.execute(delete(Change).where(*old))
    session.flush()
    follow_again(session)


# --- webhooks -------------------------------------------------------------------------------------


def _tell(session: Session, now: datetime, hooks: Sequence[Webhook], change: Change) -> None:
    topic, kind = _topic(change)
    wanting = [hook for hook in hooks if topic in hook.topics]
    data = _data(session, change) if wanting else None
    if data is not None:
        for hook in wanting:
            call = new_call(now, hook, kind, data)
            call.client_id = change.client_id
            session.add(call)


def _topic(change: Change) -> tuple[str, str]:
    if change.kind == "client" and change.what == "stopped":
        return "stops", "client.stopped"
    named = {
        "day": ("days", "day.told"),
        "move": ("moves", "move.decided"),
        "retest": ("retests", "retest.recorded"),
    }
    return named.get(change.kind, ("", ""))


def _data(session: Session, change: Change) -> dict[str, object] | None:
    """Kinds, ids and dates; None for what was taken back since."""
    about: dict[str, object] = {"client_id": change.client_id}
    if change.kind == "day":
        day = session.get_one(Report, change.subject_id)
        return about | {"day_id": day.id, "local_date": day.local_date.isoformat()}
    if change.kind == "move":
        move = session.get_one(MoveRow, change.subject_id)
        date = move.local_date.isoformat()
        keys = {"from_key": move.from_key, "to_key": move.to_key}
        return about | {"move_id": move.id, "kind": move.kind, "local_date": date, **keys}
    if change.kind == "retest":
        retest = session.get_one(Retest, change.subject_id)
        if retest.withdrawn_at is not None:
            return None
        date = retest.day.isoformat()
        return about | {"retest_id": retest.id, "kind": retest.kind, "local_date": date}
    return about
