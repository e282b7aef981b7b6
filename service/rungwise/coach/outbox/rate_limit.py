"""How many texts may leave by a carrier now: its rate, and how many at once.

Every process that sends shares one row a carrier: tokens come back with time, one a text. How many
a second are settings, joined with the carriers in `ticks/scheduler.py`.
"""

import logging
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.salvage import undecodable
from rungwise.store.tables import CarrierState

log = logging.getLogger(__name__)

# This many seconds' worth of texts may leave at once after a quiet time.
BURST_S = 2.0


@dataclass(frozen=True, slots=True)
class Pace:
    """How a carrier may be used: `per_second` texts (None: as fast as it takes them)."""

    per_second: float | None = None
    at_once: int = 16


def state_of(session: Session, now: datetime, carrier: str) -> CarrierState:
    """The carrier's row, locked until the transaction ends; made afresh if it cannot be read."""
    rows = select(CarrierState).where(CarrierState.name == carrier).with_for_update()
    try:
        found = session.exec(rows).first()
    except Exception as problem:
        if not undecodable(problem):
            raise
        log.exception("the pace of %s cannot be read; it begins afresh", carrier)
        session.execute(delete(CarrierState).where(col(CarrierState.name) == carrier))
        found = None
    if found is not None:
        return found
    values = {"name": carrier, "tokens": 1.0, "filled_at": now, "failures": 0}
    insert_once(session, CarrierState, ["name"], values)
    return session.exec(rows).one()


def allowance(state: CarrierState, now: datetime, pace: Pace, most: int) -> int:
    """How many texts may leave now, at most `most`."""
    most = min(most, pace.at_once)
    if pace.per_second is None:
        return most
    _fill(state, now, pace.per_second)
    return min(most, int(state.tokens))


def spend(state: CarrierState, pace: Pace, count: int) -> None:
    """Note that `count` texts leave."""
    if pace.per_second is not None:
        state.tokens -= count


def _fill(state: CarrierState, now: datetime, per_second: float) -> None:
    # A clock that was set back gives nothing; set forward, at most one full bucket.
    passed_s = max((now - state.filled_at).total_seconds(), 0.0)
    most = max(per_second * BURST_S, 1.0)
    state.tokens = min(state.tokens + passed_s * per_second, most)
    state.filled_at = now
