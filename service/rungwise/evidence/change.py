"""What changed between two results of one test: one conclusion, with its reasons.

A published line that was crossed is always said. A change is relative: so many per cent of the mean
of the two results, which is what a detectable change in per cent of a group's mean can be set
against. Where none was published that is said instead of a guess.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from rungwise.errors import ImpossibleValue
from rungwise.evidence.fear import Fear
from rungwise.evidence.four_stage import FourStage
from rungwise.evidence.measures import said_s
from rungwise.evidence.one_leg import ARAUJO_AGES, SHORT_S, TEN_S, OneLeg
from rungwise.evidence.sources import (
    ARAUJO_2022,
    BUATOIS_2008,
    GOLDBERG_2011,
    GOLDBERG_2012,
    GURALNIK_1995,
    LUSARDI_2017,
    PERERA_2006,
    STEADI_CHAIR,
    STEADI_FOUR_STAGE,
    STEADI_TUG,
    VELLAS_1997,
    Source,
)
from rungwise.evidence.sppb import CATEGORIES, Sppb, category_of
from rungwise.evidence.stands import (
    FALLS_FIVE_S,
    RECURRENT_FALLS_FIVE_S,
    ChairStand,
    FiveStands,
    chair_stand_limit,
)
from rungwise.evidence.tug import STEADI_S, Tug
from rungwise.ladder.anthropometry import Sex

Scored = FourStage | OneLeg | Sppb | ChairStand | FiveStands | Tug | Fear
Conclusion = Literal["worse", "better", "no sure change", "not comparable"]

Z95 = 1.959964
ONE_LEG_SEM_S = 8.7  # Goldberg et al. 2011: 40.8% of their mean
ONE_LEG_DETECTABLE = 1.131  # the same: MDC95 of 24.1 s, 113.1% of their mean
FIVE_STANDS_SEM_S = 0.9  # Goldberg et al. 2012: 6.3% of their mean
FIVE_STANDS_DETECTABLE_S = 2.5  # the same, at 95%: 17.5% of their mean
SUBSTANTIAL_POINTS = 1  # Perera et al. 2006; 0.5 is thought small


@dataclass(frozen=True, slots=True)
class Crossing:
    """A published line between two results: `says` which, `worse` whether to its wrong side."""

    says: str
    worse: bool
    source: Source


@dataclass(frozen=True, slots=True)
class Change:
    """The one conclusion of a retest; `says` is all of it, `sources` whose the figures are."""

    conclusion: Conclusion
    says: str
    crossed: tuple[Crossing, ...] = ()
    sources: tuple[Source, ...] = ()


@dataclass(frozen=True, slots=True)
class _Measure:
    """One measure then and now. `sure`: whether it is more than error, None where not known."""

    name: str
    then: float
    now: float
    unit: str
    more_is_better: bool
    sure: bool | None
    crossed: tuple[Crossing, ...]
    source: Source | None = None

    @property
    def worse(self) -> bool:
        return (self.now < self.then) is self.more_is_better and self.now != self.then


def sem_of(sd: float, icc: float) -> float:
    """The standard error of measurement, in the unit of `sd`; `icc` from 0 to 1."""
    if not 0 <= icc <= 1:
        raise ImpossibleValue("icc", icc, "from 0 to 1")
    return sd * sqrt(1 - icc)


def mdc95_of(sem: float) -> float:
    """The smallest change that is more than measurement error at 95%, in the unit of `sem`."""
    return Z95 * sqrt(2) * sem


def relative_change(then: float, now: float) -> float:
    """The change as a share of the mean of both, from -2 to 2; 0 when both are 0."""
    mean = (then + now) / 2
    return (now - then) / mean if mean else 0.0


def change(earlier: Scored, later: Scored, age: int, sex: Sex | None = None) -> Change | None:
    """What changed, in one conclusion; None where nothing was measured both times.

    ImpossibleValue for results of different tests.
    """
    if type(earlier) is not type(later):
        raise ImpossibleValue("tests", type(later).__name__, f"both {type(earlier).__name__}")
    apart = _not_comparable(earlier, later)
    if apart is not None:
        return Change("not comparable", apart)
    measures = list(_measures(earlier, later, age, sex))
    return _concluded(measures) if measures else None


def _not_comparable(earlier: Scored, later: Scored) -> str | None:
    match earlier, later:
        case Sppb(), Sppb() if earlier.course_m != later.course_m:
            return (
                f"Not comparable: walked over {earlier.course_m} m then and {later.course_m} m now."
            )
        case ChairStand(), ChairStand() if earlier.arms_used != later.arms_used:
            return "Not comparable: arms were used once and not the other time."
        case Tug(), Tug() if earlier.aid != later.aid:
            return "Not comparable: not the same walking aid both times."
        case Fear(), Fear() if earlier.form != later.form:
            return "Not comparable: not the same form both times."
    return None


def _measures(earlier: Scored, later: Scored, age: int, sex: Sex | None) -> Iterator[_Measure]:
    match earlier, later:
        case OneLeg(), OneLeg():
            for leg in earlier.best_s:
                if leg in later.best_s:
                    yield _one_leg(f"{leg} leg", earlier.best_s[leg], later.best_s[leg], age)
        case FourStage(), FourStage():
            then, now = earlier.tandem_held, later.tandem_held
            line = _crossing(then, now, "10 s in tandem", STEADI_FOUR_STAGE)
            yield _Measure(
                "stages held", earlier.stages_held, later.stages_held, "stages", True, None, line
            )
            if earlier.one_leg_s is not None and later.one_leg_s is not None:
                yield _one_leg("one foot", earlier.one_leg_s, later.one_leg_s, age)
        case FiveStands(), FiveStands():
            if earlier.time_s is not None and later.time_s is not None:
                yield _five_stands(earlier.time_s, later.time_s)
        case Sppb(), Sppb():
            yield _sppb(earlier.total, later.total)
        case ChairStand(), ChairStand():
            limit = chair_stand_limit(age, sex)
            line = ()
            if limit is not None:
                words = f"{limit}, the limit for this age and sex"
                line = _crossing(earlier.score >= limit, later.score >= limit, words, STEADI_CHAIR)
            yield _Measure("stands", earlier.score, later.score, "stands", True, None, line)
        case Tug(), Tug():
            good = (earlier.time_s < STEADI_S, later.time_s < STEADI_S)
            line = _crossing(*good, f"under {STEADI_S:g} s", STEADI_TUG)
            yield _Measure("time", earlier.time_s, later.time_s, "s", False, None, line)
        case Fear(), Fear():
            yield _Measure("total", earlier.total, later.total, "of the scale", False, None, ())


def _one_leg(name: str, then: float, now: float, age: int) -> _Measure:
    lines = _crossing(then >= SHORT_S, now >= SHORT_S, f"{SHORT_S:g} s", VELLAS_1997)
    if age <= ARAUJO_AGES[1]:
        lines += _crossing(then >= TEN_S, now >= TEN_S, f"{TEN_S:g} s", ARAUJO_2022)
    sure = abs(relative_change(then, now)) > ONE_LEG_DETECTABLE
    return _Measure(name, then, now, "s", True, sure, lines, GOLDBERG_2011)


def _five_stands(then: float, now: float) -> _Measure:
    lines = _crossing(
        then <= RECURRENT_FALLS_FIVE_S,
        now <= RECURRENT_FALLS_FIVE_S,
        f"{RECURRENT_FALLS_FIVE_S:g} s",
        BUATOIS_2008,
    )
    lines += _crossing(
        then < FALLS_FIVE_S, now < FALLS_FIVE_S, f"under {FALLS_FIVE_S:g} s", LUSARDI_2017
    )
    sure = abs(round(now - then, 2)) > FIVE_STANDS_DETECTABLE_S
    return _Measure("five stands", then, now, "s", False, sure, lines, GOLDBERG_2012)


def _sppb(then: int, now: int) -> _Measure:
    lines: tuple[Crossing, ...] = ()
    if category_of(then) != category_of(now):
        words = CATEGORIES[category_of(now)]
        says = f"in the band of {words} limitations now, {CATEGORIES[category_of(then)]} before"
        lines = (Crossing(says, now < then, GURALNIK_1995),)
    return _Measure("points", then, now, "points", True, None, lines, PERERA_2006)


def _crossing(then: bool, now: bool, words: str, source: Source) -> tuple[Crossing, ...]:
    """The line `words`, if it was held on one side of the change and not on the other."""
    if then == now:
        return ()
    says = f"no longer {words}" if then else f"now {words}"
    return (Crossing(says, then, source),)


def _concluded(measures: list[_Measure]) -> Change:
    """The gravest of what the measures say: worse before better before no sure change."""
    crossed = tuple(line for one in measures for line in one.crossed)
    worse = any(line.worse for line in crossed) or any(m.sure and m.worse for m in measures)
    better = bool(crossed) or any(m.sure for m in measures)
    conclusion: Conclusion = "worse" if worse else "better" if better else "no sure change"
    parts = [_said(one) for one in measures]
    says = f"{conclusion.capitalize()}: {'; '.join(parts)}."
    if any(one.sure is None and one.then != one.now for one in measures):
        says += " What measurement error this test has is not on file."
    sources = [line.source for line in crossed]
    sources += [one.source for one in measures if one.source is not None]
    return Change(conclusion, says, crossed, tuple(dict.fromkeys(sources)))


def _said(one: _Measure) -> str:
    seconds = one.unit == "s"
    then, now = (said_s(x) if seconds else f"{x:g}" for x in (one.then, one.now))
    if one.then == one.now:
        return f"{one.name} {now} then and now"
    share = abs(one.now - one.then) / one.then if one.then else None
    how_much = "" if share is None else f" ({share:.0%} {'more' if one.now > one.then else 'less'})"
    said = f"{one.name} {now} now, {then} before{how_much}"
    said += "".join(f", {line.says}" for line in one.crossed)
    if one.sure is not None:
        said += ", more than measurement error" if one.sure else ", within measurement error"
    if one.unit == "points" and abs(one.now - one.then) >= SUBSTANTIAL_POINTS:
        said += ", which is thought substantial"
    return said
