"""Demand: one figure that orders the rungs of a round and explains why.

It is the sum of six terms, and no clinical measure:

- stance: 3 for each stance further along the trade's order;
- base: 10 for each halving of the base of support's area. Stances side by side are measured
  against the client's own hip-width stance. Those with a foot in front have larger bases yet are
  practised later, so they are measured against the client's widest staggered stance, starting
  from where feet together ended;
- surface: 2 to 8 for a mat of 1 to 8 layers, 10 to 16 for half foam; half of it with only the
  front foot on, three quarters with only the back foot (which carries more of the weight:
  Jonsson 2005, Clin Biomech 20:202-208), all of it with both;
- free foot on one leg: 0 beside, 1.5 in front, 3 behind; half a point less for toes rested on foam;
- what is done beside standing: weight from foot to foot 0.5, head turning or arms folded 1,
  counting backwards 1.5;
- support: less 1 for fingertips, 2 for one hand, 3 for two.

The weights are our choice: a new stance (3) outweighs all the support that can come with it (3),
which is why demand never falls when a new stance starts with more support.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import log2

from rungwise.ladder.body import Body
from rungwise.ladder.footprint import areas_mm2
from rungwise.ladder.stance import FreeFoot, Stance, Support, Surface, Task, Under

PER_STANCE = 3.0
PER_HALVING = 10.0
STANCE_ORDER = {stance: place for place, stance in enumerate(Stance)}
SUPPORT_RELIEF = {
    Support.TWO_HANDS: 3.0,
    Support.ONE_HAND: 2.0,
    Support.FINGERTIPS: 1.0,
    Support.HOVER: 0.0,
}
MAT_TERM = {1: 2.0, 2: 4.0, 4: 6.0, 8: 8.0}
FOAM_TERM = {
    "flat_lengthways": 10.0,
    "flat_crossways": 12.0,
    "round_lengthways": 14.0,
    "round_crossways": 16.0,
}
UNDER_SHARE = {Under.FRONT: 0.5, Under.BACK: 0.75, Under.BOTH: 1.0}
FREE_FOOT_TERM = {FreeFoot.BESIDE: 0.0, FreeFoot.FRONT: 1.5, FreeFoot.BEHIND: 3.0}
TASK_TERM = {Task.SHIFT: 0.5, Task.HEAD: 1.0, Task.ARMS: 1.0, Task.COUNT: 1.5}
ON_FOAM_RELIEF = 0.5
_LOWEST = PER_STANCE  # so that the easiest rung, with both hands on the counter, is not negative

Feet = tuple[Stance, int, int]


def feet_demands(body: Body, feet: Iterable[Feet]) -> Mapping[Feet, float]:
    """Stance and base terms of each (stance, offset_mm, step_mm)."""
    apart = (Stance.PARALLEL, body.hip_width_mm, 0)
    together = (Stance.PARALLEL, body.foot_breadth_mm, 0)
    widest_staggered = (Stance.STAGGERED, body.hip_width_mm, body.comfortable_step_mm)
    wanted = set(feet)
    area = areas_mm2(body, sorted(wanted | {apart, together, widest_staggered}))
    parallel_span = log2(area[apart] / area[together])
    demands = {}
    for one in wanted:
        if one[0] is Stance.PARALLEL:
            halvings = log2(area[apart] / area[one])
        else:
            halvings = parallel_span + log2(area[widest_staggered] / area[one])
        demands[one] = _LOWEST + PER_STANCE * STANCE_ORDER[one[0]] + PER_HALVING * halvings
    return demands


def surface_term(
    surface: Surface, layers: int, orientation: str | None, under: Under | None
) -> float:
    """What the surface adds, for the foot or feet on it."""
    if surface is Surface.FIRM:
        return 0.0
    whole = MAT_TERM[layers] if surface is Surface.MAT else FOAM_TERM[str(orientation)]
    return whole * UNDER_SHARE[under or Under.BOTH]


@dataclass(frozen=True, slots=True)
class Asked:
    """What demand is computed from, apart from the body."""

    stance: Stance
    offset_mm: int
    step_mm: int
    surface: Surface
    layers: int
    orientation: str | None
    under: Under | None
    support: Support
    free_foot: FreeFoot | None = None
    on_foam: bool = False
    task: Task | None = None


def demand(body: Body, asked: Asked) -> float:
    """The demand of what is asked of one body, to two decimals."""
    feet = (asked.stance, asked.offset_mm, asked.step_mm)
    return total(
        feet_demands(body, [feet])[feet],
        surface_term(asked.surface, asked.layers, asked.orientation, asked.under),
        asked.support,
        asked.free_foot,
        asked.on_foam,
        asked.task,
    )


def total(
    feet: float,
    surface: float,
    support: Support,
    free_foot: FreeFoot | None,
    on_foam: bool,
    task: Task | None = None,
) -> float:
    """The sum of the terms, to two decimals."""
    free = FREE_FOOT_TERM[free_foot] if free_foot else 0.0
    free += TASK_TERM[task] if task else 0.0
    relief = SUPPORT_RELIEF[support] + (ON_FOAM_RELIEF if on_foam else 0.0)
    return round(feet + surface + free - relief, 2)
