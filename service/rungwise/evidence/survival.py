"""Time until something is reached, by Kaplan and Meier, with those still under way counted.

Kaplan & Meier 1958 (J Am Stat Assoc 53:457-481, from memory); intervals on the log-log scale with
Greenwood's variance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite, log, sqrt

from rungwise.errors import ImpossibleValue
from rungwise.evidence.rates import Z95


@dataclass(frozen=True, slots=True)
class Step:
    """After `day` days: how many had been under way just before, how many reached it on that day,
    and the share that has not reached it yet, with its 95% interval (None where it has none).
    """

    day: float
    under_way: int
    reached: int
    share_left: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Curve:
    """The whole of it. `longest_day`: the longest anyone was followed."""

    people: int
    reached: int
    steps: tuple[Step, ...]
    longest_day: float

    @property
    def median_day(self) -> float | None:
        """The first day by which half had reached it; None when fewer than half ever did."""
        return next((step.day for step in self.steps if step.share_left <= 0.5), None)

    @property
    def median_interval(self) -> tuple[float | None, float | None]:
        """The 95% interval of the median day: where the curve's own interval passes one half.

        Brookmeyer & Crowley 1982 (from memory). None for an end that was not reached.
        """
        ends = []
        for end in ("low", "high"):
            shares = ((step.day, getattr(step, end)) for step in self.steps)
            # Where everybody has reached it there is no interval, and nobody is left.
            ends.append(next((day for day, share in shares if share is None or share <= 0.5), None))
        return ends[0], ends[1]

    def share_reached_by(self, day: float) -> float:
        """The share that had reached it after `day` days."""
        left = 1.0
        for step in self.steps:
            if step.day > day:
                break
            left = step.share_left
        return 1 - left


def curve(days: Sequence[float], reached: Sequence[bool]) -> Curve:
    """Each person's days until they reached it, or until they were last seen short of it.

    `reached` says which. ImpossibleValue for unequal lengths or a day below 0.
    """
    if len(days) != len(reached):
        raise ImpossibleValue("reached", len(reached), f"as many as days ({len(days)})")
    if any(not isfinite(day) or day < 0 for day in days):
        raise ImpossibleValue("days", min(days), "numbers from 0")
    if not days:
        return Curve(0, 0, (), 0)
    steps: list[Step] = []
    left, greenwood = 1.0, 0.0
    for day in sorted({day for day, there in zip(days, reached, strict=True) if there}):
        under_way = sum(other >= day for other in days)
        here = sum(there and other == day for other, there in zip(days, reached, strict=True))
        left *= 1 - here / under_way
        if here < under_way:
            greenwood += here / (under_way * (under_way - here))
        low, high = _log_log(left, greenwood)
        steps.append(Step(float(day), under_way, here, left, low, high))
    return Curve(len(days), sum(reached), tuple(steps), float(max(days)))


def _log_log(left: float, greenwood: float) -> tuple[float, float] | tuple[None, None]:
    """The interval of a share that is left; none where nobody is."""
    if left == 0:
        return None, None
    reach = Z95 * sqrt(greenwood) / log(left)
    return left ** exp(-reach), left ** exp(reach)
