"""Whether a carrier may be used now, and for how many texts: its rate, and a circuit that opens.

Every process that sends shares one row a carrier. Tokens come back at the carrier's rate, one a
text. After some failures in a row the circuit opens: the carrier is left alone for a while, then
tried with a single text, the most urgent one that waits; what it answers closes the circuit or
leaves it open for longer. Waiting texts use up no attempts, and a prompt whose answer would be
lost is not risked on a carrier that is known to be down.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import tenacity
from sqlmodel import Session, select

from rungwise.carriers.base import Outcome, TryLater, Unknown
from rungwise.store.idempotent_inserts import insert_once
from rungwise.store.tables import CarrierState

FAILURES_TO_OPEN = 5
# Long enough for a gateway to restart, short enough that a safety text does not wait for long.
LONGEST_OPEN = timedelta(seconds=60)
OPEN_S = tenacity.wait_exponential_jitter(multiplier=5, max=LONGEST_OPEN.total_seconds(), jitter=2)
# This many seconds' worth of texts may leave at once after a quiet time.
BURST_S = 2.0


@dataclass(frozen=True, slots=True)
class Pace:
    """How a carrier may be used: `per_second` texts (None: as fast as it takes them)."""

    per_second: float | None = None
    at_once: int = 16


def state_of(session: Session, now: datetime, carrier: str) -> CarrierState:
    """The carrier's row, locked until the transaction ends."""
    rows = select(CarrierState).where(CarrierState.name == carrier).with_for_update()
    found = session.exec(rows).first()
    if found is not None:
        return found
    values = {"name": carrier, "tokens": 1.0, "filled_at": now, "failures": 0}
    insert_once(session, CarrierState, ["name"], values)
    return session.exec(rows).one()


def allowance(state: CarrierState, now: datetime, pace: Pace, most: int) -> int:
    """How many texts may leave now, at most `most`."""
    most = min(most, pace.at_once)
    if is_down(state):
        most = 0 if _waits(state, now) else min(most, 1)
    if pace.per_second is None:
        return most
    _fill(state, now, pace.per_second)
    return min(most, int(state.tokens))


def is_down(state: CarrierState) -> bool:
    """Whether the circuit is open."""
    return state.failures >= FAILURES_TO_OPEN


def _waits(state: CarrierState, now: datetime) -> bool:
    # Longer than any wait means that the clock was set back.
    return state.retry_at is not None and timedelta(0) < state.retry_at - now <= LONGEST_OPEN


def spend(state: CarrierState, now: datetime, pace: Pace, count: int) -> None:
    """Note that `count` texts leave. A trial makes the next one wait longer, until it succeeds."""
    if pace.per_second is not None:
        state.tokens -= count
    if count and is_down(state):
        state.failures += 1
        state.retry_at = now + _open_for(state.failures)


def _fill(state: CarrierState, now: datetime, per_second: float) -> None:
    # A clock that was set back gives nothing; set forward, at most one full bucket.
    passed_s = max((now - state.filled_at).total_seconds(), 0.0)
    most = max(per_second * BURST_S, 1.0)
    state.tokens = min(state.tokens + passed_s * per_second, most)
    state.filled_at = now


def note_outcomes(state: CarrierState, now: datetime, outcomes: Sequence[Outcome]) -> None:
    """Count failures in a row, opening or closing the circuit.

    What is refused was refused by a carrier that works. Once the circuit is open only trials are
    counted, for texts that were on their way together with the last straw say nothing new.
    """
    for outcome in outcomes:
        if not isinstance(outcome, TryLater | Unknown):
            state.failures = 0
            state.retry_at = state.down_since = None
        elif not is_down(state):
            state.failures += 1
            if is_down(state):
                state.down_since = now
                state.retry_at = now + _open_for(state.failures)


def _open_for(failures: int) -> timedelta:
    return timedelta(seconds=wait_s(OPEN_S, failures - FAILURES_TO_OPEN + 1))


def wait_s(rule: tenacity.wait.wait_base, attempts: int) -> float:
    """How long to wait after that many attempts, by one of tenacity's rules."""
    state = tenacity.RetryCallState(tenacity.Retrying(), None, (), {})
    state.attempt_number = attempts
    return rule(state)
