"""The Short Physical Performance Battery: balance, walk, five chair stands, 0 to 12 points.

Guralnik et al. 1994 walked 8 feet; the 3 m and 4 m tables came later, so the course is always
said. Printed to one decimal, the chair's cut points leave holes (11.15 s); times are kept to a
hundredth of a second, and one in a hole counts as the quicker (our choice). Each part's points
are the source's, none of them a diagnosis.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import said_s, seconds
from rungwise.evidence.sources import (
    GURALNIK_1994,
    GURALNIK_1995,
    SPPB_3M,
    SPPB_4M,
    SPPB_CHAIR,
    Finding,
    Norm,
    Source,
)

HOLD_S = 10.0
TANDEM_SOME_S = 3.0
STANDS = ("side by side", "semi-tandem", "tandem")
MOST_WALK_S = 120.0
MOST_CHAIR_S = 300.0
CHAIR_LIMIT_S = 60.0
MOST_POINTS = 12
# Total points up to which each band of limitations reaches (Guralnik et al. 1995).
LIMITED_POINTS = 6
CATEGORIES = {3: "severe", 6: "moderate", 9: "mild", 12: "minimal"}

# Course in metres: under the first 4 points, up to the second 3, up to the third 2, slower 1.
WALK_CUTS: dict[int, tuple[float, float, float]] = {4: (4.82, 6.20, 8.70), 3: (3.62, 4.65, 6.52)}
COURSE_SOURCE: dict[int, Source] = {4: SPPB_4M, 3: SPPB_3M}
CHAIR_CUTS = (11.20, 13.70, 16.70)


@dataclass(frozen=True, slots=True)
class Sppb:
    """Points by part. `walk_s` is the faster of the walks; None: unable. `chair_s` likewise."""

    stands_s: tuple[float, ...]
    course_m: int
    walks_s: tuple[float, ...]
    chair_s: float | None

    @property
    def walk_s(self) -> float | None:
        return min(self.walks_s, default=None)

    @property
    def balance(self) -> int:
        return balance_points(self.stands_s)

    @property
    def gait(self) -> int:
        return walk_points(self.walk_s, self.course_m)

    @property
    def chair(self) -> int:
        return chair_points(self.chair_s)

    @property
    def total(self) -> int:
        return self.balance + self.gait + self.chair

    @property
    def headline(self) -> tuple[float, str]:
        return self.total, f"points of {MOST_POINTS}, {self.course_m} m course"

    def findings(self, _age: int, _sex: str | None) -> tuple[Finding, ...]:
        walk = "unable" if self.walk_s is None else said_s(self.walk_s)
        chair = "unable" if self.chair_s is None else said_s(self.chair_s)
        return (
            Finding(f"Balance: {self.balance} of 4 points.", GURALNIK_1994),
            Finding(
                f"Walk over {self.course_m} m: {walk}, {self.gait} of 4 points.",
                COURSE_SOURCE[self.course_m],
            ),
            Finding(f"Five chair stands: {chair}, {self.chair} of 4 points.", SPPB_CHAIR),
            Finding(
                f"{self.total} of {MOST_POINTS} points: the band of "
                f"{CATEGORIES[category_of(self.total)]} limitations.",
                GURALNIK_1995,
                flag=self.total <= LIMITED_POINTS,
            ),
        )

    def norms(self, _age: int, _sex: str | None) -> tuple[Norm, ...]:
        return (Norm("Most points there are", MOST_POINTS, "points", GURALNIK_1994),)


def category_of(total: int) -> int:
    """The most points of the band that a total lies in: a key of CATEGORIES."""
    return next(most for most in CATEGORIES if total <= most)


def balance_points(stands_s: Sequence[float]) -> int:
    """0 to 4 from the seconds of side by side, semi-tandem and tandem, as far as they were tried.

    Tandem counts 1 from 3 s and 2 from 10 s; side by side and semi-tandem 1 each from 10 s.
    """
    if stands_s[0] < HOLD_S:
        return 0
    if stands_s[1] < HOLD_S:
        return 1
    tandem = stands_s[2]
    return 2 + (tandem >= TANDEM_SOME_S) + (tandem >= HOLD_S)


def walk_points(walk_s: float | None, course_m: int) -> int:
    """0 to 4 from the walk's seconds over a course of 3 or 4 m; unable (None) is 0."""
    if walk_s is None:
        return 0
    fast, fair, slow = WALK_CUTS[course_m]
    if walk_s < fast:
        return 4
    if walk_s <= fair:
        return 3
    return 2 if walk_s <= slow else 1


def chair_points(chair_s: float | None) -> int:
    """0 to 4 from the seconds of five chair stands; unable (None) or over 60 s is 0."""
    if chair_s is None or chair_s > CHAIR_LIMIT_S:
        return 0
    return 4 - sum(chair_s >= cut for cut in CHAIR_CUTS)


def sppb(
    stands_s: Sequence[object], course_m: object, walks_s: Sequence[object], chair_s: object
) -> Sppb:
    """Score the battery. No walk, or None for the chair stands, means unable.

    ImpossibleValue for a stand after one that was not held 10 s, a course other than 3 or 4 m,
    more than two walks, or a time that cannot be.
    """
    if not 1 <= len(stands_s) <= len(STANDS):
        raise ImpossibleValue("stands", len(stands_s), "1 to 3 times, one for each stand tried")
    held = tuple(
        seconds(name, value, HOLD_S) for name, value in zip(STANDS, stands_s, strict=False)
    )
    for place, time_s in enumerate(held[:-1]):
        if time_s < HOLD_S:
            allowed = f"left out: {STANDS[place]} was not held 10 s"
            raise ImpossibleValue(STANDS[place + 1], held[place + 1], allowed)
    if held[-1] >= HOLD_S and len(held) < len(STANDS):
        raise ImpossibleValue(STANDS[len(held)], None, "given: the stand before was held 10 s")
    if isinstance(course_m, bool) or course_m not in WALK_CUTS or not isinstance(course_m, int):
        raise ImpossibleValue("course", course_m, "3 or 4 metres")
    if len(walks_s) > 2:
        raise ImpossibleValue("walks", len(walks_s), "at most 2: the faster counts")
    walks = tuple(seconds("walk", value, MOST_WALK_S, least_s=0.5) for value in walks_s)
    chair = None if chair_s is None else seconds("chair stands", chair_s, MOST_CHAIR_S, least_s=1.0)
    return Sppb(held, course_m, walks, chair)
