"""Whether results are told steadier than this client can be: a sequential likelihood test. Pure.

Each practised day is weighed two ways: as this client's own chance of a steady day, from what
their earlier days say of their ability, and as told steady whatever happened. The sum of the
log ratios, never under 0 (Page 1954, from memory), is the evidence; a flag stands where it passes
FLAG_EVIDENCE. By Lorden 1971 (from memory) an honest client then passes it no oftener than once
in exp(FLAG_EVIDENCE) days, however long they practise, as far as the chances are right. The
estimate is this test's own: it gains no faster than GAIN_DAY, so that a fib cannot talk it up.
Figures without a source are our choice; docs/evidence.md shows by simulation what they cost.

At most one flag a client: somebody placed far too low tells steady days as well. The flag moves
and holds nobody.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, log, sqrt

from numpy.polynomial.hermite_e import hermegauss

from rungwise.evidence.decline import BAD_DAY_CHANCE, BAD_DAY_DROP, TOLD_BETTER, TOLD_WORSE
from rungwise.ladder.estimate import START_CHANCE_LOGIT

FLAG_EVIDENCE = 4.2
FIBS_STEADY = 0.99
START_VARIANCE = 3.0  # wide, for somebody may be placed far too low
DRIFT_VARIANCE_DAY = 0.01
GAIN_DAY = 0.06  # as fast as anybody learns, so that no learner is taken for a fib
_NODES, _WEIGHTS = (each.tolist() for each in hermegauss(9))
_TOTAL = sum(_WEIGHTS)


@dataclass(frozen=True, slots=True)
class DayHeard:
    """One practised day: the rung's difficulty in logits, and whether all of it was told steady."""

    day: date
    hard: float
    steady: bool


@dataclass(frozen=True, slots=True)
class Doubt:
    """The evidence after a day, and the run of steady days it rests on: how many, how many of
    them this client was expected to hold, and since when.
    """

    day: date
    evidence: float
    run_days: int
    expected_days: float
    since: date


def doubts(days: Sequence[DayHeard]) -> tuple[Doubt, ...]:
    """The evidence after each practised day, oldest first; `days` are in order."""
    if not days:
        return ()
    mean, variance, last = days[0].hard + START_CHANCE_LOGIT, START_VARIANCE, days[0].day
    evidence, run, expected, since = 0.0, 0, 0.0, days[0].day
    found = []
    for one in days:
        gap = max((one.day - last).days, 0)
        last = one.day
        variance = min(variance + gap * DRIFT_VARIANCE_DAY, START_VARIANCE)
        chance, steady_mean, steady_variance = _steady(mean + GAIN_DAY, variance, one.hard)
        if evidence == 0.0:
            run, expected, since = 0, 0.0, one.day
        if one.steady:
            evidence += log(FIBS_STEADY / chance)
            run, expected = run + 1, expected + chance
            mean, variance = steady_mean, steady_variance
        else:
            evidence = max(evidence + log((1 - FIBS_STEADY) / (1 - chance)), 0.0)
            mixed = mean + GAIN_DAY
            mean = (mixed - chance * steady_mean) / (1 - chance)
            second = variance + mixed**2 - chance * (steady_variance + steady_mean**2)
            variance = max(second / (1 - chance) - mean**2, 1e-3)
        evidence = max(evidence, 0.0)
        found.append(Doubt(one.day, evidence, run, expected, since))
    return tuple(found)


def first_flag(after: Sequence[Doubt], threshold: float = FLAG_EVIDENCE) -> Doubt | None:
    """The first day on which the evidence passes the threshold; a client is flagged once."""
    return next((one for one in after if one.evidence > threshold), None)


def told_of(flag: Doubt) -> str:
    """Why the flag was raised, in plain words with its figures, and which act fits."""
    return (
        f"Told steadier than anybody stands: steady on all of {flag.run_days} days since "
        f"{flag.since.day} {flag.since:%b}, where about {flag.expected_days:.0f} were to be "
        f"expected. See them stand before the next step up; they may have been placed too low."
    )


def _steady(mean: float, variance: float, hard: float) -> tuple[float, float, float]:
    """The chance that a day is told steady; the ability's mean and variance if it is."""
    spread = sqrt(variance)
    total = first = second = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        ability = mean + spread * node
        held = (1 - BAD_DAY_CHANCE) * _curve(ability - hard)
        held += BAD_DAY_CHANCE * _curve(ability - BAD_DAY_DROP - hard)
        told = (TOLD_BETTER + (1 - TOLD_BETTER - TOLD_WORSE) * held) * weight / _TOTAL
        total += told
        first += told * ability
        second += told * ability**2
    after = first / total
    return total, after, max(second / total - after**2, 1e-3)


def _curve(gap: float) -> float:
    return 1 / (1 + exp(-max(min(gap, 500.0), -500.0)))
