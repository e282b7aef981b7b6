"""Rates and shares with their intervals, and what the falls literature leads one to expect.

Loads SciPy, so it is imported by itself, where outcomes are worked out.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from scipy.stats import beta, chi2

from rungwise.errors import ImpossibleValue

Z95 = 1.959963984540054
YEAR_DAYS = 365
WEEK_DAYS = 7

# Cochrane 2019 (Sherrington et al.): falls per 1,000 people a year, in the control arms and with
# exercise, as the review rounds it.
FALLS_PER_1000 = 850
FALLS_WITH_EXERCISE_PER_1000 = 655
WHO_DAYS_A_WEEK = 3  # WHO 2020, 65 and over: balance on 3 or more days a week


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 95% interval."""

    value: float
    low: float
    high: float


def poisson_interval(events: int, confidence: float = 0.95) -> tuple[float, float]:
    """The exact interval of a Poisson mean (Garwood 1936, from memory), by chi-square quantiles."""
    _count("events", events)
    tail = (1 - confidence) / 2
    low = 0.0 if events == 0 else float(chi2.ppf(tail, 2 * events)) / 2
    return low, float(chi2.ppf(1 - tail, 2 * (events + 1))) / 2


def rate_per(events: int, exposure: float, per: float) -> Estimate | None:
    """Events per `per` units of exposure, with the exact Poisson interval; None without any."""
    if exposure < 0:
        raise ImpossibleValue("exposure", exposure, "at least 0")
    if exposure == 0:
        return None
    low, high = poisson_interval(events)
    scale = per / exposure
    return Estimate(events * scale, low * scale, high * scale)


def share_interval(
    hits: int, of: int, method: Literal["wilson", "exact"] = "wilson", confidence: float = 0.95
) -> tuple[float, float]:
    """The interval of a share: Wilson 1927, or Clopper-Pearson 1934 ("exact")."""
    _count("hits", hits)
    if of < max(hits, 1):
        raise ImpossibleValue("of", of, f"at least {max(hits, 1)}")
    tail = (1 - confidence) / 2
    if method == "exact":
        low = 0.0 if hits == 0 else float(beta.ppf(tail, hits, of - hits + 1))
        high = 1.0 if hits == of else float(beta.ppf(1 - tail, hits + 1, of - hits))
        return low, high
    z = sqrt(float(chi2.ppf(confidence, 1)))
    share, z2 = hits / of, z * z
    middle = share + z2 / (2 * of)
    reach = z * sqrt(share * (1 - share) / of + z2 / (4 * of * of))
    return max((middle - reach) / (1 + z2 / of), 0.0), min((middle + reach) / (1 + z2 / of), 1.0)


def share(hits: int, of: int) -> Estimate | None:
    """A share with Wilson's interval; None of nothing."""
    if of == 0:
        return None
    low, high = share_interval(hits, of)
    return Estimate(hits / of, low, high)


def expected_falls(person_days: float, falls_a_year: float = FALLS_PER_1000 / 1000) -> float:
    """Falls that people like the trials' control arms would report in so many days together."""
    return falls_a_year * person_days / YEAR_DAYS


def _count(name: str, value: int) -> None:
    if value < 0:
        raise ImpossibleValue(name, value, "at least 0")
