"""What happened to virtual clients, counted and summed up per setting."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

import numpy as np

MONTH_DAYS = 30
YEAR_DAYS = 365


@dataclass(slots=True)
class Tally:
    """Counts of one virtual client, or of several added together.

    `late_*` are the practised days after the settling ones: how many, how many truly steady, and
    the sum of the true chances of a steady hold. `days_to` has, for each landmark that a client
    began below, the calendar day it was reached, or None.
    """

    clients: int = 0
    days: int = 0
    practised: int = 0
    unsteady: int = 0
    late_days: int = 0
    late_steady: int = 0
    late_chance: float = 0.0
    ups: int = 0
    risky_ups: int = 0
    backs: int = 0
    away_backs: int = 0
    rests: int = 0
    stuck: int = 0
    held_by_opinion: int = 0
    days_to: dict[str, list[int | None]] = field(default_factory=dict)
    rung_days: list[int] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        for name in _COUNTS:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for label, days in other.days_to.items():
            self.days_to.setdefault(label, []).extend(days)
        if not self.rung_days:
            self.rung_days = [0] * len(other.rung_days)
        self.rung_days = [a + b for a, b in zip(self.rung_days, other.rung_days, strict=True)]


_COUNTS = tuple(name for name in Tally.__dataclass_fields__ if name not in ("days_to", "rung_days"))


@dataclass(frozen=True, slots=True)
class Reached:
    """How long a landmark took those who began below it: calendar days, over those who got there.

    The days are None when nobody did.
    """

    began_below: int
    reached: int
    days_median: float | None
    days_10th: float | None
    days_90th: float | None


@dataclass(frozen=True, slots=True)
class Summary:
    """One setting's figures. Shares from 0 to 1; a month is 30 practised days, a year 365 days.

    `steady_share` is where it settles: the share of steady days once settled; `chance_share` the
    same by the true chances, without the luck of the day. Risky moves went up to a rung whose
    true chance of a steady hold was under one half.
    """

    setting: str
    clients: int
    days: int
    steady_share: float
    chance_share: float
    wobbly_days_month: float
    ups_year: float
    risky_moves_year: float
    risky_share_of_ups: float
    backs_year: float
    away_backs_year: float
    rests_year: float
    stuck_alerts_year: float
    held_by_opinion_year: float
    landmarks: Mapping[str, Reached]
    exact_steady_share: float | None = None

    def to_json(self) -> dict[str, object]:
        return asdict(self)


def summarise(setting: str, tally: Tally, exact: float | None = None) -> Summary:
    """The tally as rates. `exact` is the long-run share that was calculated beside it, if any."""
    years = max(tally.days, 1) / YEAR_DAYS
    late = max(tally.late_days, 1)
    return Summary(
        setting=setting,
        clients=tally.clients,
        days=tally.days,
        steady_share=tally.late_steady / late,
        chance_share=tally.late_chance / late,
        wobbly_days_month=MONTH_DAYS * tally.unsteady / max(tally.practised, 1),
        ups_year=tally.ups / years,
        risky_moves_year=tally.risky_ups / years,
        risky_share_of_ups=tally.risky_ups / max(tally.ups, 1),
        backs_year=tally.backs / years,
        away_backs_year=tally.away_backs / years,
        rests_year=tally.rests / years,
        stuck_alerts_year=tally.stuck / years,
        held_by_opinion_year=tally.held_by_opinion / years,
        landmarks={label: _reached(days) for label, days in tally.days_to.items()},
        exact_steady_share=exact,
    )


def _reached(days: list[int | None]) -> Reached:
    got_there = [day for day in days if day is not None]
    if not got_there:
        return Reached(len(days), 0, None, None, None)
    low, middle, high = np.percentile(got_there, [10, 50, 90]).tolist()
    return Reached(len(days), len(got_there), middle, low, high)
