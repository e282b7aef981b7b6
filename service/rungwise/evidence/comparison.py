"""Two settings of the rule compared fairly: who gets which by lot, and what came of it. Pure.

The lot is drawn in permuted blocks of 4 or 6, each block's size by lot too, so that nobody can tell
the next from those before. It is drawn from a kept seed by SHA-256, so it can be drawn again
anywhere. The outcome is one figure a client; arms are compared by Welch's t test (1947, from
memory), everybody in the arm they were drawn for.
Loads numpy, so it is imported by itself.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import count, islice
from math import atan, exp, lgamma, pi, sqrt

import numpy as np

from rungwise.errors import ImpossibleValue
from rungwise.evidence.rates import Estimate, root
from rungwise.ladder.day import BAD

COUNTED = BAD | {"steady"}
BLOCKS = (4, 6)
ARMS = 2
# What may be the outcome: its name and how it is measured, over the days followed.
OUTCOMES: Mapping[str, str] = {
    "gain": "difficulty of the last rung practised less that of the first, in logits",
    "practised": "share of the planned days practised",
    "steady": "share of the practised days that counted as steady",
}
DAYS_BOUNDS = (28, 182)
CLIENTS_BOUNDS = (8, 400)
APART_BOUNDS = (2, 20)
_MANY = 30
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)


@dataclass(frozen=True, slots=True)
class Protocol:
    """What is written down before the first lot is drawn, and never changed.

    Each client is followed for `days` days after the day of their lot. No lot is drawn once
    `clients` have one, or once the clients who told a fall are `falls_apart` more in one arm than
    in the other. The outcome is looked at once, when everybody's days are over.
    """

    first: str
    second: str
    outcome: str
    days: int
    clients: int
    falls_apart: int

    def __post_init__(self) -> None:
        if self.first == self.second:
            raise ImpossibleValue("second setting", self.second, "another than the first")
        if self.outcome not in OUTCOMES:
            raise ImpossibleValue("outcome", self.outcome, f"one of {', '.join(OUTCOMES)}")
        for name, value, (low, high) in (
            ("days", self.days, DAYS_BOUNDS),
            ("clients", self.clients, CLIENTS_BOUNDS),
            ("falls apart", self.falls_apart, APART_BOUNDS),
        ):
            if not low <= value <= high:
                raise ImpossibleValue(name, value, f"from {low} to {high}")

    @property
    def arms(self) -> tuple[str, str]:
        return self.first, self.second

    @property
    def mark(self) -> str:
        """A hash of all of it: the same in the trail, on the page and in the export."""
        told = (self.first, self.second, self.outcome, self.days, self.clients, self.falls_apart)
        return sha256(repr(told).encode()).hexdigest()[:16]


# --- the lot --------------------------------------------------------------------------------------


def lot(seed: str, place: int) -> int:
    """The arm, 0 or 1, of the `place`th client to be drawn, from 0. Always the same for a seed."""
    if place < 0:
        raise ImpossibleValue("place", place, "at least 0")
    return next(islice(_lots(seed), place, None))


def _lots(seed: str) -> Iterator[int]:
    for block in count():
        size = BLOCKS[_drawn(seed, block, 0, len(BLOCKS))]
        arms = [place % ARMS for place in range(size)]
        for left in range(size - 1, 0, -1):  # Fisher and Yates
            other = _drawn(seed, block, left, left + 1)
            arms[left], arms[other] = arms[other], arms[left]
        yield from arms


def _drawn(seed: str, block: int, step: int, below: int) -> int:
    """One of 0 to `below` - 1; 256 bits for at most 6 leave no bias that anybody could see."""
    return int.from_bytes(sha256(f"{seed} {block} {step}".encode()).digest()) % below


# --- what came of it ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DayFollowed:
    """What one day after the lot counts for; None where nothing of that kind was told."""

    planned: bool = False
    practised: bool = False
    difficulty: float | None = None
    steady: bool | None = None


@dataclass(frozen=True, slots=True)
class Compared:
    """One client: the arm drawn, the days followed in order, and whether they told a fall."""

    arm: str
    days: Sequence[DayFollowed]
    fell: bool = False


def days_followed(
    sessions: Iterable[tuple[int, bool, bool]],
    told: Iterable[tuple[int, float | None, str | None]],
    first: int,
    last: int,
) -> tuple[DayFollowed, ...]:
    """The days numbered `first` to `last`, from (day, planned, done) of sessions and (day,
    difficulty of the rung, verdict) of what was told; only days that count for the rule are judged.
    """
    found: dict[int, DayFollowed] = {}
    for day, planned, done in sessions:
        found[day] = DayFollowed(planned, done)
    for day, difficulty, verdict in told:
        if verdict in COUNTED:
            known = found.get(day, DayFollowed())
            found[day] = replace(known, difficulty=difficulty, steady=verdict == "steady")
    return tuple(found[day] for day in sorted(found) if first <= day <= last)


def outcome_of(days: Sequence[DayFollowed], outcome: str) -> float | None:
    """One client's figure; None where nothing told makes one."""
    if outcome == "practised":
        planned = [one for one in days if one.planned]
        return sum(one.practised for one in planned) / len(planned) if planned else None
    if outcome == "steady":
        counted = [one.steady for one in days if one.steady is not None]
        return sum(counted) / len(counted) if counted else None
    hard = [one.difficulty for one in days if one.difficulty is not None]
    return hard[-1] - hard[0] if hard else None


@dataclass(frozen=True, slots=True)
class Arm:
    """One setting: clients drawn for it, those without a figure, who fell, mean and deviation."""

    name: str
    clients: int
    missing: int
    fell: int
    mean: float | None
    deviation: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Both arms; the second's mean less the first's with its interval, and the p value. None
    where an arm has fewer than two figures, or no two of all differ.
    """

    arms: tuple[Arm, Arm]
    difference: Estimate | None
    p_value: float | None


def compare(arms: tuple[str, str], clients: Sequence[Compared], outcome: str) -> Comparison:
    figures: list[list[float]] = []
    found = []
    for name in arms:
        here = [one for one in clients if one.arm == name]
        told = [outcome_of(one.days, outcome) for one in here]
        # In order, so that the same figures give the same sums in whatever order clients come.
        known = sorted(each for each in told if each is not None)
        figures.append(known)
        mean = float(np.mean(known)) if known else None
        deviation = float(np.std(known, ddof=1)) if len(known) > 1 else None
        fell = sum(one.fell for one in here)
        found.append(Arm(name, len(here), len(here) - len(known), fell, mean, deviation))
    difference, p_value = welch(*figures)
    return Comparison((found[0], found[1]), difference, p_value)


def falls_apart(arms: tuple[str, str], clients: Sequence[Compared]) -> int:
    """By how many the clients who told a fall are more in one arm than in the other."""
    first, second = (sum(one.fell for one in clients if one.arm == name) for name in arms)
    return abs(first - second)


def welch(
    first: Sequence[float], second: Sequence[float]
) -> tuple[Estimate, float] | tuple[None, None]:
    """The second mean less the first with its 95% interval, and the two-sided p value."""
    if min(len(first), len(second)) < 2:
        return None, None
    parts = [float(np.var(one, ddof=1)) / len(one) for one in (first, second)]
    error = sqrt(sum(parts))
    if error == 0:
        return None, None
    free = sum(parts) ** 2 / sum(
        part**2 / (len(one) - 1) for part, one in zip(parts, (first, second), strict=True)
    )
    difference = float(np.mean(second) - np.mean(first))
    reach = error * root(lambda t: 0.025 - tail(t, free), 0.0, 1000.0)
    p_value = 2 * tail(abs(difference) / error, free)
    return Estimate(difference, difference - reach, difference + reach), p_value


def tail(t: float, free: float) -> float:
    """The chance that Student's t with `free` degrees of freedom is over `t`, at least 0.

    By Gauss and Legendre on t = sqrt(free) tan(pi/2 - u^2), where the density is a power of a sine
    and smooth down to one degree of freedom.
    """
    most = sqrt(pi / 2 - atan(t / sqrt(free)))
    least = 0.0
    if free > _MANY:  # so narrow that the nodes are kept to where it is not nothing
        least = sqrt(pi / 2 - atan((t + 12 * sqrt(1 + t * t / free)) / sqrt(free)))
    roots = least + (most - least) * (_NODES + 1) / 2
    powers = 2 * roots * np.sin(roots**2) ** (free - 1)
    scale = exp(lgamma((free + 1) / 2) - lgamma(free / 2)) / sqrt(pi)
    return float(scale * (most - least) / 2 * (_WEIGHTS @ powers))
