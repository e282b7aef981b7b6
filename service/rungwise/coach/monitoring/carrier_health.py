"""How the carriers are doing for a practice: what arrived, what failed, what waits."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select as select_columns
from sqlmodel import Session, col, func, select

from rungwise.store.tables import Circuit, Message, Practice

RECENT = timedelta(hours=24)
MOST_COUNTED = 5000


@dataclass(frozen=True, slots=True)
class CarrierHealth:
    """How a carrier is doing for this practice, over the last day."""

    name: str
    set_up: bool
    down_since: datetime | None
    waiting: int
    arrived: int
    failed: int
    unknown: int
    last_out: datetime | None
    last_in: datetime | None


def carriers_health(
    session: Session, now: datetime, practice: Practice, set_up: set[str]
) -> list[CarrierHealth]:
    """The practice's own carrier, and any other used in the last day. Two queries."""
    # The latest few thousand, so that a year of texts is not read to count a day.
    latest = (
        select_columns(
            col(Message.carrier),
            col(Message.direction),
            col(Message.state),
            col(Message.sent_at),
            col(Message.created_at),
        )
        .where(col(Message.practice_id) == practice.id, col(Message.removed_at).is_(None))
        .order_by(col(Message.created_at).desc())
        .limit(MOST_COUNTED)
        .subquery()
    )
    rows = (
        select_columns(
            latest.c.carrier,
            latest.c.direction,
            latest.c.state,
            func.count(),
            func.max(latest.c.sent_at),
            func.max(latest.c.created_at),
        )
        .where(latest.c.created_at >= now - RECENT)
        .group_by(latest.c.carrier, latest.c.direction, latest.c.state)
    )
    counted: dict[str, dict[str, int]] = {}
    last: dict[tuple[str, str], datetime] = {}
    for carrier, direction, state, count, sent_at, created_at in session.execute(rows).all():
        held = counted.setdefault(carrier, {})
        if direction == "out":
            held[state] = held.get(state, 0) + count
        at = sent_at if direction == "out" else created_at
        if at is not None:
            key = (carrier, direction)
            last[key] = max(at, last.get(key, at))
    open_now = select(Circuit.carrier, Circuit.down_since).where(Circuit.practice_id == practice.id)
    down: dict[str, datetime | None] = dict(session.exec(open_now).all())
    names = sorted({practice.carrier, *counted})
    return [_health(name, name in set_up, counted.get(name, {}), last, down) for name in names]


def _health(
    name: str,
    set_up: bool,
    counted: Mapping[str, int],
    last: Mapping[tuple[str, str], datetime],
    down: Mapping[str, datetime | None],
) -> CarrierHealth:
    return CarrierHealth(
        name,
        set_up,
        down.get(name),
        waiting=counted.get("queued", 0) + counted.get("sending", 0),
        arrived=counted.get("sent", 0) + counted.get("delivered", 0),
        failed=counted.get("failed", 0),
        unknown=counted.get("unknown", 0),
        last_out=last.get((name, "out")),
        last_in=last.get((name, "in")),
    )
