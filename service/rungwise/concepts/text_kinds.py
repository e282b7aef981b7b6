"""The kinds of text: which leaves first, what a crash may cost, how long each is good for."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

DAY = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class TextKind:
    """`rank`: lower leaves first. `at_least_once`: sent again when nobody knows whether it left;
    the others are sent at most once. `good_for`: given up after this. `unasked`: we write it of our
    own accord, so it keeps out of quiet hours. `after_stop`: may go to somebody who said STOP.
    `at_rest`: may go to a client who rests, is paused or whose answer is awaited. `fits_for`: after
    waiting for so long another text is said in its place.
    """

    rank: int = 2
    at_least_once: bool = False
    good_for: timedelta = DAY
    unasked: bool = False
    after_stop: bool = False
    at_rest: bool = True
    fits_for: timedelta | None = None


_HELP = TextKind(rank=0, at_least_once=True, after_stop=True, fits_for=timedelta(minutes=30))
_STOP_DONE = TextKind(rank=0, at_least_once=True, after_stop=True)
_ASKS = TextKind(good_for=timedelta(hours=2), unasked=True, at_rest=False)
_ANSWERS = TextKind(rank=1, good_for=timedelta(hours=6))

TEXT_KINDS: Mapping[str, TextKind] = {
    "safety": _HELP,
    "page": TextKind(rank=0, at_least_once=True),
    "help": _HELP,
    "opt_out": _STOP_DONE,
    "answer": _ANSWERS,
    "question": _ANSWERS,
    "prompt": _ASKS,
    "reminder": _ASKS,
    "weekly": _ASKS,
    "falls": _ASKS,
    "notice": TextKind(unasked=True),
    "welcome": TextKind(unasked=True),
    "own": TextKind(),
    "test": TextKind(),
}
