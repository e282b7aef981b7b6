"""Time until something is reached, by Kaplan and Meier, with those still under way counted.

Kaplan & Meier 1958 (J Am Stat Assoc 53:457-481, from memory), as SciPy computes it; intervals on
the log-log scale with Greenwood's variance. Loads SciPy, so it is imported by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from warnings import catch_warnings, simplefilter

import numpy as np
from scipy.stats import CensoredData, ecdf

from rungwise.errors import ImpossibleValue


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
    times, events = np.asarray(days, dtype=float), np.asarray(reached, dtype=bool)
    if not events.any():
        return Curve(len(days), 0, (), float(times.max()))
    found = ecdf(CensoredData(times[events], right=times[~events])).sf
    with catch_warnings():
        # Where everybody has reached it the interval is undefined; those steps get None below.
        simplefilter("ignore", RuntimeWarning)
        between = found.confidence_interval(method="log-log")
    steps = []
    for place, day in enumerate(found.quantiles):
        here = int((events & (times == day)).sum())
        if not here:
            continue
        low, high = between.low.probabilities[place], between.high.probabilities[place]
        steps.append(
            Step(
                day=float(day),
                under_way=int((times >= day).sum()),
                reached=here,
                share_left=float(found.probabilities[place]),
                low=float(low) if isfinite(low) else None,
                high=float(high) if isfinite(high) else None,
            )
        )
    return Curve(len(days), int(events.sum()), tuple(steps), float(times.max()))
