"""Falls counted as research counts them: events, rates, fallers, time to the first. Pure.

A fall: an unexpected event in which the person comes to rest on the ground, the floor or a lower
level; falls are reported as their number, fallers, repeat fallers, the rate per person-year and
the time to the first (Lamb et al. 2005, J Am Geriatr Soc 53:1618-1622). Exposure is the days for
which a client answered whether they fell; a day without an answer is missing and counts as
neither. The rate's interval is that of a negative binomial model, because a few people fall often
and a Poisson interval is too narrow then. Loads numpy, so it is imported by itself.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray

from rungwise.errors import ImpossibleValue
from rungwise.evidence.rates import Z95, Estimate, rate_per, root
from rungwise.evidence.survival import Curve, curve

DAYS_A_YEAR = 365.25
BACK_DAYS = 7  # how far back "from when I fell" reaches
_LEAST_SPREAD, _MOST_SPREAD = 1e-6, 1e3


@dataclass(frozen=True, slots=True)
class FallTold:
    """One telling of a fall: the dates on which it may have been, `first` to `last`.

    A day's report means its day, "yesterday" the day before, a week's answer the week, a text at
    night the days on both sides too. `back`: told as the fall that was told before ("from when I
    fell"); `again`: told as another one.
    """

    first: date
    last: date
    back: bool = False
    again: bool = False
    injured: bool | None = None
    practising: bool | None = None
    record: int | None = None


@dataclass(frozen=True, slots=True)
class FallEvent:
    """One fall, however often it was told; the dates are the narrowest that were told. `record` is
    the number of what a trainer recorded of it.
    """

    first: date
    last: date
    tellings: int = 1
    injured: bool | None = None
    practising: bool | None = None
    record: int | None = None

    @property
    def day(self) -> date:
        """The date it most likely was: the middle of those told."""
        return self.first + (self.last - self.first) // 2


def events_of(told: Iterable[FallTold]) -> tuple[FallEvent, ...]:
    """The falls behind what one client told, in the order told, oldest event first.

    A telling joins the latest event whose dates meet its own, and one that refers back joins the
    latest of the week before, unless it says "again". So a fall on Sunday and "bruised from when I
    fell" on Monday are one, and "fell" on both days are two.
    """
    events: list[FallEvent] = []
    for one in told:
        same = None if one.again else _same(events, one)
        if same is None:
            new = FallEvent(one.first, one.last, 1, one.injured, one.practising, one.record)
            events.append(new)
        else:
            events[same] = _joined(events[same], one)
    return tuple(sorted(events, key=lambda event: (event.first, event.last)))


def _same(events: Sequence[FallEvent], one: FallTold) -> int | None:
    reach = timedelta(days=BACK_DAYS if one.back else 0)
    for place in range(len(events) - 1, -1, -1):
        event = events[place]
        if one.first - reach <= event.last and event.first <= one.last:
            return place
    return None


def _joined(event: FallEvent, one: FallTold) -> FallEvent:
    narrower = one.last - one.first < event.last - event.first
    first, last = (one.first, one.last) if narrower else (event.first, event.last)
    injured = True if one.injured or event.injured else _known(event.injured, one.injured)
    practising = _known(event.practising, one.practising)
    return replace(
        event,
        first=first,
        last=last,
        tellings=event.tellings + 1,
        injured=injured,
        practising=practising,
    )


def _known(then: bool | None, now: bool | None) -> bool | None:
    return then if now is None else now


@dataclass(frozen=True, slots=True)
class Followed:
    """One client: falls on the days answered for, falls told of other days, how many days were
    answered for and how many not, and days until the first fall, or until last seen without one.
    """

    falls: tuple[FallEvent, ...]
    days_answered: int
    days_missing: int
    days_to_first: float
    elsewhere: tuple[FallEvent, ...] = ()


@dataclass(frozen=True, slots=True)
class FallsFound:
    """The figures that trials give, over the days that were answered for; `elsewhere` counts the
    falls told of other days. `per_person_year` is None without exposure.

    `spread` is the negative binomial's (its variance is m + spread x m^2); None where the falls
    are no more clustered than Poisson's, and the interval is the exact one then.
    """

    people: int
    falls: int
    fallers: int
    repeat_fallers: int
    injurious: int
    while_practising: int
    place_unknown: int
    injury_unknown: int
    elsewhere: int
    days_answered: int
    days_missing: int
    per_person_year: Estimate | None
    spread: float | None
    first_fall: Curve

    @property
    def person_years(self) -> float:
        return self.days_answered / DAYS_A_YEAR


def falls_found(clients: Sequence[Followed]) -> FallsFound:
    """The figures over clients; those who never answered count only as missing days."""
    followed = [one for one in clients if one.days_answered > 0]
    counts = [len(one.falls) for one in followed]
    years = [one.days_answered / DAYS_A_YEAR for one in followed]
    fell = [bool(one.falls or one.elsewhere) for one in followed]
    events = [event for one in followed for event in one.falls]
    rate, spread = rate_of(counts, years)
    return FallsFound(
        people=len(followed),
        falls=sum(counts),
        fallers=sum(count > 0 for count in counts),
        repeat_fallers=sum(count > 1 for count in counts),
        injurious=sum(event.injured is True for event in events),
        while_practising=sum(event.practising is True for event in events),
        place_unknown=sum(event.practising is None for event in events),
        injury_unknown=sum(event.injured is None for event in events),
        elsewhere=sum(len(one.elsewhere) for one in clients),
        days_answered=sum(one.days_answered for one in followed),
        days_missing=sum(one.days_missing for one in clients),
        per_person_year=rate,
        spread=spread,
        first_fall=curve([one.days_to_first for one in followed], fell),
    )


def rate_of(counts: Sequence[int], years: Sequence[float]) -> tuple[Estimate | None, float | None]:
    """Falls per person-year with a 95% interval that respects repeat fallers, and the spread.

    Negative binomial maximum likelihood with each client's exposure, Wald interval on the log
    scale from the observed information. Where the falls are not more clustered than Poisson's, the
    exact Poisson interval and no spread. ImpossibleValue for unequal lengths or no positive years.
    """
    if len(counts) != len(years):
        raise ImpossibleValue("years", len(years), f"as many as counts ({len(counts)})")
    if any(count < 0 for count in counts) or any(year <= 0 for year in years):
        raise ImpossibleValue("counts and years", min([*counts, *years]), "above 0")
    y, t = np.asarray(counts, dtype=float), np.asarray(years, dtype=float)
    poisson = rate_per(int(y.sum()), float(t.sum()), 1.0)
    if poisson is None or not _clustered(y, t):
        return poisson, None
    spread = exp(
        # The likelihood's top: where its slope, at the likeliest rate for each spread, ends rising.
        root(
            lambda x: -_slope(y, t * _rate_for(y, t, exp(x)), exp(x)),
            log(_LEAST_SPREAD),
            log(_MOST_SPREAD),
        )
    )
    rate = _rate_for(y, t, spread)
    reach = Z95 * sqrt(_log_rate_variance(y, t, rate, spread))
    return Estimate(rate, rate * exp(-reach), rate * exp(reach)), spread


def _clustered(y: NDArray[np.float64], t: NDArray[np.float64]) -> bool:
    """Whether the likelihood rises from Poisson's with a little spread (its slope at 0)."""
    mean = t * y.sum() / t.sum()
    return float(((y - mean) ** 2 - y).sum()) > 0


def _rate_for(y: NDArray[np.float64], t: NDArray[np.float64], spread: float) -> float:
    """The likeliest rate for a spread: where the slope by the log rate is 0."""

    def slope(log_rate: float) -> float:
        mean = t * exp(log_rate)
        return float(((y - mean) / (1 + spread * mean)).sum())

    middle = log(y.sum() / t.sum())
    return exp(root(lambda log_rate: -slope(log_rate), middle - 10, middle + 10))


def _slope(y: NDArray[np.float64], mean: NDArray[np.float64], spread: float) -> float:
    """The log-likelihood's slope by the spread, at these means.

    A difference of digamma functions is, for whole counts, a sum of as many fractions.
    """
    size = 1 / spread
    fractions = [sum(1 / (size + k) for k in range(int(count))) for count in y]
    terms = (np.log1p(spread * mean) - np.asarray(fractions)) * size**2
    terms += (y - mean) / (spread * (1 + spread * mean))
    return float(terms.sum())


def _log_rate_variance(
    y: NDArray[np.float64], t: NDArray[np.float64], rate: float, spread: float
) -> float:
    """The log rate's variance from the inverse of the observed information, spread unknown."""
    mean = t * rate

    step = spread * 1e-4
    by_spread = (_slope(y, mean, spread - step) - _slope(y, mean, spread + step)) / (2 * step)
    by_rate = float((mean * (1 + spread * y) / (1 + spread * mean) ** 2).sum())
    cross = float(((y - mean) * mean / (1 + spread * mean) ** 2).sum())
    return by_spread / (by_rate * by_spread - cross**2)
