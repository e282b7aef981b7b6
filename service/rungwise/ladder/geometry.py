"""The little plane geometry that feet on the ground take: hulls, areas, middles and cuts.

Points are (x, y); a shape is its corners in order, without the first one again at the end.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import dist

Point = tuple[float, float]
Shape = tuple[Point, ...]


def convex_hull(points: Iterable[Point]) -> Shape:
    """The corners of the convex hull, counter-clockwise (Andrew 1979's monotone chain)."""
    ordered = sorted(points)
    return (*_chain(ordered)[:-1], *_chain(ordered[::-1])[:-1])


def hull_of_hulls(one: Shape, other: Shape) -> Shape:
    """The convex hull of two convex hulls, quicker than that of all their points."""
    below, above = zip(_halves(one), _halves(other), strict=True)
    return (
        *_chain(sorted((*below[0], *below[1])))[:-1],
        *_chain(sorted((*above[0], *above[1]), reverse=True))[:-1],
    )


def _halves(hull: Shape) -> tuple[Shape, Shape]:
    """The lower and the upper corners of a hull, the ends among both."""
    last = hull.index(max(hull))
    return hull[: last + 1], (*hull[last:], hull[0])


def _chain(ordered: Sequence[Point]) -> list[Point]:
    """The hull's corners on the right hand of who goes from the first point to the last."""
    kept: list[Point] = []
    for x, y in ordered:
        while len(kept) > 1:
            (x1, y1), (x2, y2) = kept[-2], kept[-1]
            if (x2 - x1) * (y - y1) > (y2 - y1) * (x - x1):
                break
            kept.pop()
        kept.append((x, y))
    return kept


def area(shape: Shape) -> float:
    """The area of a shape whose edges do not cross."""
    return abs(sum(_twice(edge) for edge in edges(shape))) / 2


def length(shape: Shape) -> float:
    """The length of a shape's edge all the way round."""
    return sum(dist(*edge) for edge in edges(shape))


def centroid(shape: Shape) -> Point:
    """The middle of a shape's area."""
    whole, x, y = 0.0, 0.0, 0.0
    for edge in edges(shape):
        (x1, y1), (x2, y2) = edge
        part = _twice(edge)
        whole, x, y = whole + part, x + (x1 + x2) * part, y + (y1 + y2) * part
    return x / (3 * whole), y / (3 * whole)


def bounds(shape: Shape) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y."""
    xs, ys = zip(*shape, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def chord(shape: Shape, point: Point, axis: int) -> tuple[float, float]:
    """Where the line through `point` along x (axis 0) or y (1) enters and leaves a convex shape."""
    across, at = 1 - axis, point[1 - axis]
    met = []
    for start, end in edges(shape):
        if (start[across] <= at) != (end[across] <= at):
            share = (at - start[across]) / (end[across] - start[across])
            met.append(start[axis] + (end[axis] - start[axis]) * share)
    return min(met), max(met)


def distance_to_edge(shape: Shape, point: Point) -> float:
    """From a point inside a shape to the nearest place on its edge."""
    return min(_distance(edge, point) for edge in edges(shape))


def between(shape: Shape, low: float, high: float) -> Shape:
    """What of a shape lies from y = low to y = high, closed by straight lines.

    The shape may be hollow at its sides, but not cross either line more than twice.
    """
    return _upside_down(_above(_upside_down(_above(shape, low)), -high))


def edges(shape: Shape) -> Iterable[tuple[Point, Point]]:
    return pairwise((*shape, shape[0]))


def _above(shape: Shape, low: float) -> Shape:
    """What lies above a line, by Sutherland and Hodgman 1974."""
    kept: list[Point] = []
    for (x1, y1), (x2, y2) in edges(shape):
        if y1 >= low:
            kept.append((x1, y1))
        if (y1 >= low) != (y2 >= low):
            kept.append((x1 + (x2 - x1) * (low - y1) / (y2 - y1), low))
    return tuple(kept)


def _upside_down(shape: Shape) -> Shape:
    return tuple((x, -y) for x, y in shape)


def _twice(edge: tuple[Point, Point]) -> float:
    """Twice the signed area between an edge and the origin."""
    (x1, y1), (x2, y2) = edge
    return x1 * y2 - x2 * y1


def _distance(edge: tuple[Point, Point], point: Point) -> float:
    (x1, y1), (x2, y2) = edge
    run, rise = x2 - x1, y2 - y1
    share = ((point[0] - x1) * run + (point[1] - y1) * rise) / (run * run + rise * rise)
    share = min(max(share, 0.0), 1.0)
    return dist(point, (x1 + share * run, y1 + share * rise))
