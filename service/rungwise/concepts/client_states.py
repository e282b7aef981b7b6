"""The states of a client, and the moves between them that there are.

A move that is not in the table raises. Nothing that a client texts, and no passing of time, leads
from `resting` to `active`: only a trainer's act does. `held` and `away` are no stored states: a
client is held while a safety question is open, and away between the dates of their plan.
"""

from collections.abc import Mapping
from enum import StrEnum

from rungwise.errors import ServiceError


class State(StrEnum):
    """`invited` has not agreed to texts yet; `paused` is the trainer's or the client's wish."""

    INVITED = "invited"
    ACTIVE = "active"
    RESTING = "resting"
    PAUSED = "paused"
    STOPPED = "stopped"


class By(StrEnum):
    """Who may make a move."""

    CLIENT = "client"
    TRAINER = "trainer"
    CLOCK = "clock"


# From, to: who may.
MOVES: Mapping[tuple[State, State], frozenset[By]] = {
    (State.INVITED, State.ACTIVE): frozenset({By.CLIENT, By.TRAINER}),
    (State.INVITED, State.STOPPED): frozenset({By.CLIENT, By.TRAINER}),
    (State.INVITED, State.PAUSED): frozenset({By.TRAINER}),
    (State.ACTIVE, State.RESTING): frozenset(By),
    (State.ACTIVE, State.PAUSED): frozenset({By.TRAINER}),
    (State.ACTIVE, State.STOPPED): frozenset({By.CLIENT, By.TRAINER}),
    (State.PAUSED, State.RESTING): frozenset(By),
    (State.PAUSED, State.ACTIVE): frozenset({By.TRAINER, By.CLOCK}),
    (State.PAUSED, State.STOPPED): frozenset({By.CLIENT, By.TRAINER}),
    (State.RESTING, State.ACTIVE): frozenset({By.TRAINER}),
    (State.RESTING, State.PAUSED): frozenset({By.TRAINER}),
    (State.RESTING, State.STOPPED): frozenset({By.CLIENT, By.TRAINER}),
    # Back to what was underneath, which STOP has kept.
    (State.STOPPED, State.INVITED): frozenset({By.CLIENT, By.TRAINER}),
    (State.STOPPED, State.ACTIVE): frozenset({By.CLIENT, By.TRAINER}),
    (State.STOPPED, State.RESTING): frozenset({By.CLIENT, By.TRAINER}),
    (State.STOPPED, State.PAUSED): frozenset({By.CLIENT, By.TRAINER}),
}


class NoSuchMove(ServiceError):
    """There is no such move between a client's states."""

    def __init__(self, before: str, after: str, by: str) -> None:
        super().__init__(f"A client who is {before} is not made {after} by the {by}.")


def moved(before: str, after: str, by: str) -> State:
    """`after`, if that move is in the table or changes nothing; else NoSuchMove."""
    here, there = State(before), State(after)
    if here is not there and By(by) not in MOVES.get((here, there), frozenset()):
        raise NoSuchMove(before, after, by)
    return there
