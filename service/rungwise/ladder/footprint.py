"""Feet on the ground, and the base of support: the convex hull of what touches.

Frame: x to the client's right, y forward, mm; the back heel at y = 0, and midway between the two
centre lines at x = 0. Feet point straight ahead, neither toed in nor out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from rungwise.ladder.body import Body
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


def _smooth(points: Sequence[tuple[float, float]], rounds: int = 3) -> NDArray[np.float64]:
    """Chaikin's corner cutting of a closed line, then scaled to the unit box."""
    line = np.array(points, dtype=float)
    for _ in range(rounds):
        after = np.roll(line, -1, axis=0)
        line = np.stack([0.75 * line + 0.25 * after, 0.25 * line + 0.75 * after], axis=1)
        line = line.reshape(-1, 2)
    low, high = line.min(axis=0), line.max(axis=0)
    unit: NDArray[np.float64] = (line - low) / (high - low) - np.array([0.5, 0.0])
    return unit


UNIT_RIGHT = _smooth(_SKETCH)
_UNIT_HULL = np.array(shapely.MultiPoint(UNIT_RIGHT).convex_hull.exterior.coords)[:-1]


def _part(share: tuple[float, float]) -> NDArray[np.float64]:
    """The outline between two shares of the length, closed by straight lines."""
    cut = shapely.Polygon(UNIT_RIGHT).intersection(shapely.box(-1, share[0], 1, share[1]))
    return np.array(cut.exterior.coords)[:-1]


UNIT_FOREFOOT, UNIT_BALL = _part(FOREFOOT), _part(BALL)
_TOUCHING = {"whole": _UNIT_HULL, "forefoot": UNIT_FOREFOOT, "ball": UNIT_BALL}


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


def outline(body: Body, foot: Foot) -> NDArray[np.float64]:
    """The foot's outline as seen from above, shape (n, 2), mm."""
    return _placed(UNIT_RIGHT, body, foot)


def resting_part(body: Body, foot: Foot) -> NDArray[np.float64]:
    """The outline of what touches of a foot that only rests, shape (n, 2), mm."""
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


def hull(placement: Placement, body: Body) -> shapely.Polygon:
    """The base of support as a polygon, mm."""
    parts = [_contact(body, foot) for foot in (placement.left, placement.right)]
    return shapely.Polygon(shapely.MultiPoint(np.concatenate(parts)).convex_hull)


def base_of_support(placement: Placement, body: Body) -> Base:
    """Area, size and margins of the base of support."""
    polygon = hull(placement, body)
    low_x, low_y, high_x, high_y = polygon.bounds
    middle = polygon.centroid
    across = _chord(polygon, (low_x - 1, middle.y), (high_x + 1, middle.y))
    along = _chord(polygon, (middle.x, low_y - 1), (middle.x, high_y + 1))
    return Base(
        area_mm2=polygon.area,
        width_mm=high_x - low_x,
        length_mm=high_y - low_y,
        left_mm=middle.x - across[0],
        right_mm=across[2] - middle.x,
        front_mm=along[3] - middle.y,
        back_mm=middle.y - along[1],
        nearest_edge_mm=polygon.exterior.distance(middle),
    )


def areas_mm2(
    body: Body, stances: Sequence[tuple[Stance, int, int]]
) -> dict[tuple[Stance, int, int], float]:
    """Area of the base of support of each (stance, offset_mm, step_mm), all at once for speed.

    In toe touch the forefoot is taken to touch, also where it rests on half foam.
    """
    unit = _scaled(_UNIT_HULL, body)
    mirrored = unit * np.array([-1.0, 1.0])
    forefoot = _scaled(UNIT_FOREFOOT, body) * np.array([-1.0, 1.0])
    answers: dict[tuple[Stance, int, int], float] = {}
    two_feet = [one for one in stances if one[0] not in (Stance.TOE_TOUCH, Stance.SINGLE_LEG)]
    if two_feet:
        moved = np.array([(offset, step) for _, offset, step in two_feet], dtype=float)
        front = unit[None, :, :] + moved[:, None, :]
        back = np.broadcast_to(mirrored, front.shape)
        lines = shapely.linestrings(np.concatenate([front, back], axis=1))
        sizes = shapely.area(shapely.convex_hull(lines))
        answers.update(zip(two_feet, (float(size) for size in sizes), strict=True))
    for one in stances:
        stance, offset, step = one
        if stance is Stance.SINGLE_LEG:
            answers[one] = float(shapely.area(shapely.Polygon(unit)))
        elif stance is Stance.TOE_TOUCH:
            points = np.concatenate([unit + np.array([offset, step]), forefoot])
            answers[one] = float(shapely.convex_hull(shapely.linestrings(points)).area)
    return answers


def _chord(
    polygon: shapely.Polygon, start: tuple[float, float], end: tuple[float, float]
) -> tuple[float, float, float, float]:
    low_x, low_y, high_x, high_y = polygon.intersection(shapely.LineString([start, end])).bounds
    return low_x, low_y, high_x, high_y


def _contact(body: Body, foot: Foot) -> NDArray[np.float64]:
    if foot.touch == "none":
        return np.empty((0, 2))
    return _placed(_TOUCHING[foot.touch], body, foot)


def _scaled(unit: NDArray[np.float64], body: Body) -> NDArray[np.float64]:
    sized: NDArray[np.float64] = unit * np.array([body.foot_breadth_mm, body.foot_length_mm])
    return sized


def _placed(unit: NDArray[np.float64], body: Body, foot: Foot) -> NDArray[np.float64]:
    points = _scaled(unit, body)
    if foot.side is Side.LEFT:
        points = points * np.array([-1.0, 1.0])
    placed: NDArray[np.float64] = points + np.array([foot.x_mm, foot.y_mm])
    return placed
