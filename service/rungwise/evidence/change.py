"""Whether a change between two tests is more than measurement error.

The minimal detectable change (95%) is 1.96 x sqrt(2) x SEM, and SEM is SD x sqrt(1 - ICC) (both
from memory). A change no larger than it is "within measurement error"; where none is on file for
a test, that is said instead of a guess.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from rungwise.errors import ImpossibleValue
from rungwise.evidence.four_stage import FourStage
from rungwise.evidence.measures import said_s
from rungwise.evidence.one_leg import OneLeg
from rungwise.evidence.sources import GOLDBERG_2011, PERERA_2006, Source
from rungwise.evidence.sppb import Sppb
from rungwise.evidence.stands import ChairStand, FiveStands
from rungwise.evidence.tug import Tug

Scored = FourStage | OneLeg | Sppb | ChairStand | FiveStands | Tug
Verdict = Literal["within error", "beyond error", "not known", "not comparable"]

Z95 = 1.959964
ONE_LEG_SEM_S = 8.7  # Goldberg et al. 2011: 40.8% of their mean
ONE_LEG_MDC_S = 24.1  # Goldberg et al. 2011: 113.1% of their mean
SUBSTANTIAL_POINTS = 1.0  # Perera et al. 2006, from memory; 0.5 is thought small

NONE_ON_FILE = (
    "No minimal detectable change is on file for this test: whether this is more than measurement "
    "error is not known."
)


@dataclass(frozen=True, slots=True)
class Change:
    """One measure then and now; `difference` is now less then. `says` is a sentence."""

    measure: str
    earlier: float
    later: float
    unit: str
    verdict: Verdict
    says: str
    source: Source | None = None

    @property
    def difference(self) -> float:
        return round(self.later - self.earlier, 2)


def sem_of(sd: float, icc: float) -> float:
    """The standard error of measurement, in the unit of `sd`; `icc` from 0 to 1."""
    if not 0 <= icc <= 1:
        raise ImpossibleValue("icc", icc, "from 0 to 1")
    return sd * sqrt(1 - icc)


def mdc95_of(sem: float) -> float:
    """The smallest change that is more than measurement error at 95%, in the unit of `sem`."""
    return Z95 * sqrt(2) * sem


def one_leg_verdict(difference_s: float) -> Verdict:
    """Whether a change of one-leg seconds is beyond Goldberg's 24.1 s."""
    return "beyond error" if abs(difference_s) > ONE_LEG_MDC_S else "within error"


def changes(earlier: Scored, later: Scored) -> tuple[Change, ...]:
    """What changed between two results of the same test, measure by measure.

    ImpossibleValue for results of different tests.
    """
    match earlier, later:
        case OneLeg(), OneLeg():
            found = _one_leg(earlier, later)
        case Sppb(), Sppb():
            found = (_sppb(earlier, later),)
        case ChairStand(), ChairStand():
            comparable = earlier.arms_used == later.arms_used
            found = (_plain("Stands in 30 s", earlier.score, later.score, "stands", comparable),)
        case FiveStands(), FiveStands():
            found = ()
            if earlier.time_s is not None and later.time_s is not None:
                found = (_plain("Five stands", earlier.time_s, later.time_s, "s"),)
        case Tug(), Tug():
            same_aid = earlier.aid == later.aid
            found = (_plain("Timed Up and Go", earlier.time_s, later.time_s, "s", same_aid),)
        case FourStage(), FourStage():
            found = (_plain("Stages held", earlier.stages_held, later.stages_held, "stages"),)
        case _:
            raise ImpossibleValue("tests", type(later).__name__, f"both {type(earlier).__name__}")
    return found


def _one_leg(earlier: OneLeg, later: OneLeg) -> tuple[Change, ...]:
    """Best try with best try, leg by leg; a leg that was not tested both times has no change."""
    found = []
    for leg, then in earlier.best_s.items():
        now = later.best_s.get(leg)
        if now is None:
            continue
        verdict = one_leg_verdict(round(now - then, 2))
        within = "within" if verdict == "within error" else "beyond"
        says = (
            f"{leg.capitalize()} leg, best try: {_then_now(then, now, 's')}, {within} measurement "
            f"error, which is up to {ONE_LEG_MDC_S} s. Its authors thought the test unlikely to "
            f"show change."
        )
        measure = f"{leg} leg, best try"
        found.append(Change(measure, then, now, "s", verdict, says, GOLDBERG_2011))
    return tuple(found)


def _sppb(earlier: Sppb, later: Sppb) -> Change:
    then, now = earlier.total, later.total
    if earlier.course_m != later.course_m:
        says = (
            f"{_then_now(then, now, 'points')}, but over {earlier.course_m} m and {later.course_m} "
            f"m: walk the same course to compare."
        )
        return Change("points", then, now, "points", "not comparable", says)
    # Points are whole, so any change is at least the substantial one.
    about = "" if now == then else f" {SUBSTANTIAL_POINTS:g} point and more is thought substantial."
    says = f"{_then_now(then, now, 'points')}.{about} {NONE_ON_FILE}"
    return Change("points", then, now, "points", "not known", says, PERERA_2006)


def _plain(measure: str, then: float, now: float, unit: str, comparable: bool = True) -> Change:
    if not comparable:
        says = f"{measure}: {_then_now(then, now, unit)}, but not done the same way both times "
        says += "(arms or walking aid), so the two can't be compared."
        return Change(measure, then, now, unit, "not comparable", says)
    says = f"{measure}: {_then_now(then, now, unit)}. {NONE_ON_FILE}"
    return Change(measure, then, now, unit, "not known", says)


def _then_now(then: float, now: float, unit: str) -> str:
    difference = round(now - then, 2)
    if unit == "s":
        shown = (said_s(then), said_s(now), said_s(abs(difference)))
    else:
        shown = (f"{then:g}", f"{now:g}", f"{abs(difference):g} {unit}")
    if difference == 0:
        return f"{shown[0]} then and now"
    return f"{shown[0]} then, {shown[1]} now, {shown[2]} {'more' if difference > 0 else 'less'}"
