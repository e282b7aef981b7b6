"""Feet on the ground, and the base of support: the convex hull of what touches.

Frame: x to the client's right, y forward, mm; the back heel at y = 0, and midway between the two
centre lines at x = 0. Feet point straight ahead, neither toed in nor out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rungwise.ladder import geometry
from rungwise.ladder.body import Body
from rungwise.ladder.geometry import Shape
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import FreeFoot, Side, Stance

Touch = Literal["whole", "forefoot", "ball", "none"]

# A right foot's outline, drawn by hand: x from the inner (-) to the outer side, y from heel to
# toes. Smoothed, then stretched to exactly one breadth by one length.
_SKETCH = (
    (0.00, 0.00), (-0.22, 0.02), (-0.33, 0.12), (-0.31, 0.28), (-0.24, 0.46), (-0.36, 0.62),
    (-0.50, 0.74), (-0.47, 0.90), (-0.30, 1.01), (-0.10, 0.97), (0.06, 0.975), (0.24, 0.92),
    (0.40, 0.83), (0.50, 0.70), (0.46, 0.48), (0.38, 0.26), (0.33, 0.10), (0.22, 0.02),
)  # fmt: skip
# Shares of the foot's length, from the heel: what touches in toe touch, and what rests on half
# foam with the big toe free of its edge.
FOREFOOT = (0.72, 1.0)
BALL = (0.45, 0.80)
FREE_FOOT_SHIFT = {FreeFoot.BESIDE: 0.0, FreeFoot.FRONT: 0.6, FreeFoot.BEHIND: -0.6}


def _smooth(points: Shape, rounds: int = 3) -> Shape:
    """Chaikin's corner cutting of a closed line, then scaled to the unit box."""
    line = points
    for _ in range(rounds):
        line = tuple(
            (near * x1 + (1 - near) * x2, near * y1 + (1 - near) * y2)
            for (x1, y1), (x2, y2) in geometry.edges(line)
            for near in (0.75, 0.25)
        )
    low_x, low_y, high_x, high_y = geometry.bounds(line)
    width, height = high_x - low_x, high_y - low_y
    return tuple(((x - low_x) / width - 0.5, (y - low_y) / height) for x, y in line)


UNIT_RIGHT = _smooth(_SKETCH)
_UNIT_HULL = geometry.convex_hull(UNIT_RIGHT)
UNIT_FOREFOOT, UNIT_BALL = (geometry.between(UNIT_RIGHT, *part) for part in (FOREFOOT, BALL))
_TOUCHING: dict[Touch, Shape] = {
    "whole": _UNIT_HULL,
    "forefoot": UNIT_FOREFOOT,
    "ball": UNIT_BALL,
    "none": (),
}


@dataclass(frozen=True, slots=True)
class Foot:
    """One foot of a placement: its heel's middle at (x_mm, y_mm), and how much of it touches."""

    side: Side
    x_mm: float
    y_mm: float
    touch: Touch = "whole"


@dataclass(frozen=True, slots=True)
class Placement:
    """Where both feet are. `front` is the lead side: in front, or standing on one leg."""

    left: Foot
    right: Foot
    front: Side

    def foot(self, side: Side) -> Foot:
        return self.left if side is Side.LEFT else self.right


@dataclass(frozen=True, slots=True)
class Base:
    """The base of support, mm, with the distance from its middle to its edge in each direction.

    The middle is the hull's centroid; `nearest_edge_mm` is the least distance in any direction.
    """

    area_mm2: float
    width_mm: float
    length_mm: float
    left_mm: float
    right_mm: float
    front_mm: float
    back_mm: float
    nearest_edge_mm: float


def outline(body: Body, foot: Foot) -> Shape:
    """The foot's outline as seen from above, mm."""
    return _placed(UNIT_RIGHT, body, foot)


def resting_part(body: Body, foot: Foot) -> Shape:
    """The outline of what touches of a foot that only rests, mm."""
    return _placed(UNIT_BALL if foot.touch == "ball" else UNIT_FOREFOOT, body, foot)


def place(rung: Rung, body: Body, lead: Side | None = None) -> Placement:
    """Where the feet are on `rung`. `lead` defaults to the first side practised."""
    front = lead or (rung.sides[0] if rung.sides else Side.RIGHT)
    half = rung.offset_mm / 2
    if rung.stance is Stance.SINGLE_LEG:
        return _on_one_leg(rung, body, front)
    other_touch: Touch = "whole"
    if rung.stance is Stance.TOE_TOUCH:
        other_touch = "ball" if rung.on_foam else "forefoot"
    feet = {}
    for side, x_mm in ((Side.LEFT, -half), (Side.RIGHT, half)):
        is_front = side is front
        y_mm = float(rung.step_mm) if is_front else 0.0
        feet[side] = Foot(side, x_mm, y_mm, "whole" if is_front else other_touch)
    return Placement(feet[Side.LEFT], feet[Side.RIGHT], front)


def _on_one_leg(rung: Rung, body: Body, standing: Side) -> Placement:
    sign = 1 if standing is Side.RIGHT else -1
    away = -sign * (body.foot_breadth_mm + 20.0)
    shift = FREE_FOOT_SHIFT[rung.free_foot or FreeFoot.BESIDE] * body.foot_length_mm
    feet = {
        standing: Foot(standing, 0.0, 0.0),
        standing.other: Foot(standing.other, away, shift, "none"),
    }
    return Placement(feet[Side.LEFT], feet[Side.RIGHT], standing)


def hull(placement: Placement, body: Body) -> Shape:
    """The base of support: the corners of the hull of what touches, mm."""
    feet = (placement.left, placement.right)
    points = (point for foot in feet for point in _placed(_TOUCHING[foot.touch], body, foot))
    return geometry.convex_hull(points)


def base_of_support(placement: Placement, body: Body) -> Base:
    """Area, size and margins of the base of support."""
    shape = hull(placement, body)
    low_x, low_y, high_x, high_y = geometry.bounds(shape)
    middle = geometry.centroid(shape)
    left, right = geometry.chord(shape, middle, 0)
    back, front = geometry.chord(shape, middle, 1)
    return Base(
        area_mm2=geometry.area(shape),
        width_mm=high_x - low_x,
        length_mm=high_y - low_y,
        left_mm=middle[0] - left,
        right_mm=right - middle[0],
        front_mm=front - middle[1],
        back_mm=middle[1] - back,
        nearest_edge_mm=geometry.distance_to_edge(shape, middle),
    )


def areas_mm2(
    body: Body, stances: Sequence[tuple[Stance, int, int]]
) -> dict[tuple[Stance, int, int], float]:
    """Area of the base of support of each (stance, offset_mm, step_mm).

    In toe touch the forefoot is taken to touch, also where it rests on half foam.
    """
    unit = _scaled(_UNIT_HULL, body)
    mirrored = geometry.convex_hull((-x, y) for x, y in unit)
    forefoot = geometry.convex_hull((-x, y) for x, y in _scaled(UNIT_FOREFOOT, body))
    answers: dict[tuple[Stance, int, int], float] = {}
    for one in stances:
        stance, offset_mm, step_mm = one
        if stance is Stance.SINGLE_LEG:
            answers[one] = geometry.area(unit)
            continue
        back = forefoot if stance is Stance.TOE_TOUCH else mirrored
        front = tuple((x + offset_mm, y + step_mm) for x, y in unit)
        answers[one] = geometry.area(geometry.hull_of_hulls(front, back))
    return answers


def _scaled(unit: Shape, body: Body) -> Shape:
    return tuple((x * body.foot_breadth_mm, y * body.foot_length_mm) for x, y in unit)


def _placed(unit: Shape, body: Body, foot: Foot) -> Shape:
    side = -1 if foot.side is Side.LEFT else 1
    return tuple((side * x + foot.x_mm, y + foot.y_mm) for x, y in _scaled(unit, body))
