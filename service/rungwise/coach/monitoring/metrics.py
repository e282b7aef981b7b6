"""What monitors draw and warn by: how late, how many, how long. Nobody can be told from them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select as columns
from sqlmodel import Session, col, func, select

from rungwise.store.index_conditions import UNREAD
from rungwise.store.tables import QUEUED, Alert, Circuit, Due, LastTick, Message, WebhookCall

# The latest few thousand texts, so that a year of them is not read to judge the reader.
LATEST_TEXTS = 5_000
RECENT = timedelta(hours=24)
# As the reader names what it could make nothing of.
UNKNOWN = "other"


@dataclass(frozen=True, slots=True)
class CarrierFigures:
    """One carrier's part of the outbox. `oldest_s` is 0 when nothing waits."""

    name: str
    waiting: int
    oldest_s: float
    down: bool


@dataclass(frozen=True, slots=True)
class Figures:
    """Seconds and counts; `ticks` is when each last finished well, by the machine's clock.

    `unknown_share` is of the `replies` latest ones of the last day, 0 when there were none.
    """

    due_lag_s: float
    due_waiting: int
    urgent_unread: int
    urgent_oldest_s: float
    urgent_unpaged: int
    unknown_share: float
    replies: int
    hooks_waiting: int
    hooks_oldest_s: float
    carriers: tuple[CarrierFigures, ...]
    ticks: Mapping[str, datetime]


def figures(session: Session, now: datetime, set_up: Iterable[str] = ()) -> Figures:
    """Everything at once; every query is answered by an index or a few thousand rows.

    `set_up` names carriers that are there even when nothing waits for them.
    """
    late = select(func.count(col(Due.id)), func.min(Due.at)).where(Due.at <= now)
    due_waiting, due_at = session.exec(late).one()
    unpaged = func.count(col(Alert.id)).filter(col(Alert.paged_at).is_(None))
    urgent = select(func.count(col(Alert.id)), func.min(Alert.last_at), unpaged).where(UNREAD)
    unread, unread_at, urgent_unpaged = session.exec(urgent).one()
    hooks = select(func.count(col(WebhookCall.id)), func.min(WebhookCall.made_at)).where(
        col(WebhookCall.settled_at).is_(None)
    )
    hooks_waiting, hooks_at = session.exec(hooks).one()
    replies, unknown = _reader(session, now)
    return Figures(
        due_lag_s=_age_s(due_at, now),
        due_waiting=due_waiting,
        urgent_unread=unread,
        urgent_oldest_s=_age_s(unread_at, now),
        urgent_unpaged=urgent_unpaged,
        unknown_share=unknown / replies if replies else 0.0,
        replies=replies,
        hooks_waiting=hooks_waiting,
        hooks_oldest_s=_age_s(hooks_at, now),
        carriers=_carriers(session, now, set_up),
        ticks={tick.name: tick.at for tick in session.exec(select(LastTick)).all()},
    )


def _age_s(at: datetime | None, now: datetime) -> float:
    return max((now - at).total_seconds(), 0.0) if at is not None else 0.0


def _carriers(session: Session, now: datetime, set_up: Iterable[str]) -> tuple[CarrierFigures, ...]:
    waits = (
        columns(col(Message.carrier), func.count(), func.min(col(Message.not_before)))
        .where(QUEUED, col(Message.not_before) <= now)
        .group_by(col(Message.carrier))
    )
    waiting = {name: (count, at) for name, count, at in session.execute(waits).all()}
    # Down for one practice is reason enough to look.
    circuits = select(Circuit.carrier, Circuit.down_since).order_by(
        col(Circuit.down_since).is_not(None)
    )
    down = {name: since is not None for name, since in session.exec(circuits).all()}
    found = []
    for name in sorted(waiting.keys() | down.keys() | set(set_up)):
        count, at = waiting.get(name, (0, None))
        found.append(CarrierFigures(name, count, _age_s(at, now), down.get(name, False)))
    return tuple(found)


def _reader(session: Session, now: datetime) -> tuple[int, int]:
    """How many of the latest replies were read, and how many of them nothing was made of."""
    latest = (
        columns(
            col(Message.direction),
            col(Message.created_at),
            col(Message.reading)["kind"].as_string().label("kind"),
        )
        .order_by(col(Message.id).desc())
        .limit(LATEST_TEXTS)
        .subquery()
    )
    counted = columns(func.count(), func.count().filter(latest.c.kind == UNKNOWN)).where(
        latest.c.direction == "in", latest.c.created_at >= now - RECENT, latest.c.kind.is_not(None)
    )
    replies, unknown = session.execute(counted).one()
    return replies, unknown
