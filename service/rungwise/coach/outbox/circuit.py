"""Whether a carrier may be used now: a circuit that opens when it fails.

The circuit is kept by practice, because what fails for one practice's numbers may work for
another's. It opens after failures in a row to several receivers, or when the carrier itself cannot
be reached: one phone that always fails says nothing about the others. A carrier with an open
circuit is left alone for a while, then tried with a page and another text; what either answers
closes the circuit or leaves it open for longer. Waiting texts use up no attempts, and a prompt
whose answer would be lost is not risked on a carrier that is known to be down.
"""

import logging
from collections.abc import Mapping
from datetime import datetime, timedelta

import tenacity
from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.carriers.base import Outcome, TryLater, Unknown
from rungwise.store.salvage import undecodable
from rungwise.store.tables import Circuit

log = logging.getLogger(__name__)

FAILURES_TO_OPEN = 5
# Common practice, no source: two phones may be off or badly written at once, three seldom are.
RECEIVERS_TO_OPEN = 3
# Long enough for a gateway to restart, short enough that a safety text does not wait for long.
LONGEST_OPEN = timedelta(seconds=60)
OPEN_S = tenacity.wait_exponential_jitter(multiplier=5, max=LONGEST_OPEN.total_seconds(), jitter=2)


def open_circuits(session: Session, carrier: str) -> dict[int, Circuit]:
    """The circuits of this carrier that are open, by practice. Hold the carrier's row first."""
    rows = select(Circuit).where(Circuit.carrier == carrier, col(Circuit.down_since).is_not(None))
    try:
        return {circuit.practice_id: circuit for circuit in session.exec(rows).all()}
    except Exception as problem:
        if not undecodable(problem):
            raise
        log.exception("a circuit of %s cannot be read; all of its circuits close", carrier)
        session.execute(delete(Circuit).where(col(Circuit.carrier) == carrier))
        return {}


def circuit_of(session: Session, carrier: str, practice_id: int) -> Circuit:
    """The practice's circuit for this carrier, made if there is none. Hold the carrier's row."""
    found = session.get(Circuit, (carrier, practice_id))
    if found is None:
        found = Circuit(carrier=carrier, practice_id=practice_id)
        session.add(found)
    return found


def may_try(circuit: Circuit, now: datetime) -> bool:
    """Whether it is time for a trial."""
    # Longer than any wait means that the clock was set back.
    waits = circuit.retry_at is not None and timedelta(0) < circuit.retry_at - now <= LONGEST_OPEN
    return not waits


def note_trial(circuit: Circuit, now: datetime) -> None:
    """A trial leaves: the next waits longer, until one succeeds."""
    circuit.failures += 1
    circuit.retry_at = now + _open_for(circuit.failures)


def note_outcome(
    circuit: Circuit,
    now: datetime,
    message_id: int,
    outcome: Outcome,
    receiver_of: Mapping[int, str],
) -> None:
    """Count failures in a row, opening or closing the circuit. `receiver_of` knows this text's
    number, and those of the texts in `failing`.

    What is refused was refused by a carrier that works. Once the circuit is open only trials are
    counted, for texts that were on their way together with the last straw say nothing new.
    """
    if not isinstance(outcome, TryLater | Unknown):
        circuit.failures, circuit.failing = 0, []
        circuit.retry_at = circuit.down_since = None
        return
    if circuit.down_since is not None:
        return
    circuit.failures += 1
    failing = {receiver_of[each]: each for each in circuit.failing if each in receiver_of}
    failing.setdefault(receiver_of[message_id], message_id)
    circuit.failing = list(failing.values())[-RECEIVERS_TO_OPEN:]
    unreachable = isinstance(outcome, TryLater) and outcome.unreachable
    if circuit.failures >= FAILURES_TO_OPEN and (unreachable or len(failing) >= RECEIVERS_TO_OPEN):
        circuit.down_since = now
        circuit.failures = FAILURES_TO_OPEN
        circuit.retry_at = now + _open_for(circuit.failures)


def _open_for(failures: int) -> timedelta:
    return timedelta(seconds=wait_s(OPEN_S, failures - FAILURES_TO_OPEN + 1))


def wait_s(rule: tenacity.wait.wait_base, attempts: int) -> float:
    """How long to wait after that many attempts, by one of tenacity's rules."""
    state = tenacity.RetryCallState(tenacity.Retrying(), None, (), {})
    state.attempt_number = attempts
    return rule(state)
