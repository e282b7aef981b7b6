"""A plateau: no farther for eight weeks, and which of dose, step and visit may help. Pure.

All windows and limits are our choice, common practice, no source, but for the dose: balance on 3
or more days a week (WHO 2020).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from rungwise.evidence.rates import WHO_DAYS_A_WEEK

Act = Literal["dose", "step", "visit"]

WINDOW_DAYS = 56
LEAST_DAYS_PRACTISED = 12
EASY_SHARE = 0.9
_LATE_DAYS = WINDOW_DAYS // 2


@dataclass(frozen=True, slots=True)
class DayOnPath:
    """One practised day: how far along their path (0 the easiest rung), and whether steady."""

    day: date
    place: int
    steady: bool


@dataclass(frozen=True, slots=True)
class Plateau:
    """No new ground since `since`; `says` is a sentence with its figures, `act` what fits."""

    since: date
    act: Act
    says: str


def plateau(days: Sequence[DayOnPath], planned_days: int, today: date) -> Plateau | None:
    """Whether the last four weeks reached nothing beyond the four before; None if they did.

    `days` are in order; `planned_days` the dates of the last eight weeks on which practice was
    asked for. Somebody who went back is no plateau's business: the other rules look at them.
    """
    first, middle = today - timedelta(days=WINDOW_DAYS), today - timedelta(days=_LATE_DAYS)
    seen = [one for one in days if first <= one.day < today]
    before = [one.place for one in seen if one.day < middle]
    lately = [one.place for one in seen if one.day >= middle]
    if len(seen) < LEAST_DAYS_PRACTISED or not before or not lately:
        return None
    if max(lately) > max(before) or seen[0].day > first + timedelta(days=7):
        return None
    since = next(one.day for one in seen if one.place == max(before))
    a_week = len(seen) / (WINDOW_DAYS / 7)
    steady = sum(one.steady for one in seen) / len(seen)
    lead = f"No farther than on {since.day} {since:%b}"
    if a_week < WHO_DAYS_A_WEEK:
        says = (
            f"{lead}: practises on {len(seen)} of {planned_days} planned days, {a_week:.1f} a "
            f"week. Three days a week or more would do more than a harder step."
        )
        return Plateau(since, "dose", says)
    if steady >= EASY_SHARE:
        says = (
            f"{lead}, though steady on {steady:.0%} of {len(seen)} days: see what holds the next "
            f"step back (a gate, a limit, the caution)."
        )
        return Plateau(since, "step", says)
    says = (
        f"{lead}, steady on {steady:.0%} of {len(seen)} days. Look at it together at a visit, and "
        f"think of another stance or support."
    )
    return Plateau(since, "visit", says)
