"""Rates and shares with their intervals, and what the falls literature leads one to expect."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from math import comb, exp, lgamma, log, sqrt
from statistics import NormalDist

from rungwise.errors import ImpossibleValue

Z95 = 1.959963984540054
YEAR_DAYS = 365
WEEK_DAYS = 7

# Cochrane 2019 (Sherrington et al.): falls per 1,000 people a year, in the control arms and with
# exercise, as the review rounds it.
FALLS_PER_1000 = 850
FALLS_WITH_EXERCISE_PER_1000 = 655
LEAST_CELL = 5
WHO_DAYS_A_WEEK = 3  # WHO 2020, 65 and over: balance on 3 or more days a week


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 95% interval."""

    value: float
    low: float
    high: float


def poisson_interval(events: int, confidence: float = 0.95) -> tuple[float, float]:
    """The exact interval of a Poisson mean (Garwood 1936, from memory).

    The lower end is the mean under which so many events or more, the upper the one under which so
    many or fewer, have half of what `confidence` leaves over as their chance.
    """
    _count("events", events)
    tail = (1 - confidence) / 2
    low = 0.0 if events == 0 else root(lambda mean: _at_least(events, mean) - tail, 0.0, events)
    # Far above any upper end: its distance grows with the root of the events.
    far = events + 10 * sqrt(events + 1) + 40
    return low, root(lambda mean: tail - _at_most(events, mean), float(events), far)


def _at_least(events: int, mean: float) -> float:
    """The chance of `events` or more where fewer are expected: terms that only get smaller."""
    term = exp(events * log(mean) - mean - lgamma(events + 1))
    found = 0.0
    for more in count(events + 1):
        found += term
        if term <= found * 1e-17:
            return found
        term *= mean / more
    raise AssertionError("counting does not end")


def _at_most(events: int, mean: float) -> float:
    """The chance of `events` or fewer."""
    term = exp(events * log(mean) - mean - lgamma(events + 1)) if mean else float(events == 0)
    found = term
    for fewer in range(events, 0, -1):
        term *= fewer / mean
        found += term
        if term <= found * 1e-17:
            break
    return found


def root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is 0, by halving until the ends are neighbours."""
    while low < (middle := (low + high) / 2) < high:
        if rising(middle) < 0:
            low = middle
        else:
            high = middle
    return high


def rate_per(events: int, exposure: float, per: float) -> Estimate | None:
    """Events per `per` units of exposure, with the exact Poisson interval; None without any."""
    if exposure < 0:
        raise ImpossibleValue("exposure", exposure, "at least 0")
    if exposure == 0:
        return None
    low, high = poisson_interval(events)
    scale = per / exposure
    return Estimate(events * scale, low * scale, high * scale)


def share_interval(hits: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's interval of a share (1927)."""
    _count("hits", hits)
    if of < max(hits, 1):
        raise ImpossibleValue("of", of, f"at least {max(hits, 1)}")
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share, z2 = hits / of, z * z
    middle = share + z2 / (2 * of)
    reach = z * sqrt(share * (1 - share) / of + z2 / (4 * of * of))
    return max((middle - reach) / (1 + z2 / of), 0.0), min((middle + reach) / (1 + z2 / of), 1.0)


def drawn_by_chance(of: int, marked: int, drawn: int) -> tuple[int, int]:
    """Among `drawn` of `of`, taken at random, the fewest and most of the `marked` ones that 95% of
    such draws have: the hypergeometric distribution's quantiles at 2.5% and 97.5%.
    """
    if not 0 <= marked <= of or not 0 <= drawn <= of:
        raise ImpossibleValue("drawn", (marked, drawn), f"neither more than {of}")
    every, found, low = comb(of, drawn), 0, None
    for hits in range(max(drawn - (of - marked), 0), min(marked, drawn) + 1):
        found += comb(marked, hits) * comb(of - marked, drawn - hits)
        if low is None and 40 * found >= every:
            low = hits
        if low is not None and 40 * found >= 39 * every:
            return low, hits
    raise AssertionError("the chances do not sum to one")


def share(hits: int, of: int) -> Estimate | None:
    """A share with Wilson's interval; None of nothing."""
    if of == 0:
        return None
    low, high = share_interval(hits, of)
    return Estimate(hits / of, low, high)


def expected_falls(person_days: float, falls_a_year: float = FALLS_PER_1000 / 1000) -> float:
    """Falls that people like the trials' control arms would report in so many days together."""
    return falls_a_year * person_days / YEAR_DAYS


def small_cell(count: int, least: int = LEAST_CELL) -> str:
    """A count of people for a report of groups; one to `least` - 1 is only said to be under it.

    Five is common practice, no source: few people in a cell may be known by it.
    """
    _count("count", count)
    return f"<{least}" if 0 < count < least else str(count)


def _count(name: str, value: int) -> None:
    if value < 0:
        raise ImpossibleValue(name, value, "at least 0")
