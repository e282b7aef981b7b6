"""The ladder's plane geometry beside Shapely's, on points that anybody may have drawn."""

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ladder import furniture, geometry
from rungwise.ladder.footprint import BALL, FOREFOOT, UNIT_RIGHT

numbers = st.integers(-400, 400).map(lambda tenth: tenth / 10)
points = st.tuples(numbers, numbers)
crowds = st.lists(points, min_size=3, max_size=40).filter(
    lambda drawn: shapely.MultiPoint(drawn).convex_hull.area > 1
)


@given(crowds)
def test_a_hull_its_area_edge_and_middle(crowd):
    theirs = shapely.MultiPoint(crowd).convex_hull
    ours = geometry.convex_hull(crowd)
    assert shapely.Polygon(ours).equals(theirs)
    assert geometry.area(ours) == pytest.approx(theirs.area)
    assert geometry.length(ours) == pytest.approx(theirs.length)
    assert geometry.centroid(ours) == pytest.approx(theirs.centroid.coords[0], abs=1e-9)
    assert geometry.bounds(ours) == theirs.bounds


@given(crowds)
def test_chords_and_the_nearest_edge_from_the_middle(crowd):
    theirs = shapely.MultiPoint(crowd).convex_hull
    ours, (x, y) = geometry.convex_hull(crowd), theirs.centroid.coords[0]
    low_x, _, high_x, _ = theirs.intersection(shapely.LineString([(-99, y), (99, y)])).bounds
    _, low_y, _, high_y = theirs.intersection(shapely.LineString([(x, -99), (x, 99)])).bounds
    assert geometry.chord(ours, (x, y), 0) == pytest.approx((low_x, high_x), abs=1e-9)
    assert geometry.chord(ours, (x, y), 1) == pytest.approx((low_y, high_y), abs=1e-9)
    near = theirs.exterior.distance(shapely.Point(x, y))
    assert geometry.distance_to_edge(ours, (x, y)) == pytest.approx(near, abs=1e-9)


@given(crowds, crowds)
def test_the_hull_of_two_hulls(one, other):
    both = geometry.hull_of_hulls(geometry.convex_hull(one), geometry.convex_hull(other))
    assert shapely.Polygon(both).equals(shapely.MultiPoint([*one, *other]).convex_hull)


@pytest.mark.parametrize(("low", "high"), [FOREFOOT, BALL, (0.0, 1.0), (0.1, 0.3)])
def test_what_lies_between_two_lines(low, high):
    theirs = shapely.Polygon(UNIT_RIGHT).intersection(shapely.box(-1, low, 1, high))
    ours = shapely.Polygon(geometry.between(UNIT_RIGHT, low, high))
    assert ours.symmetric_difference(theirs).area == pytest.approx(0, abs=1e-12)


def test_the_hand_is_drawn_round_its_fingers():
    """Its corners were reckoned once, from these: 9 mm round each finger and the palm."""
    fingers = (*furniture._FINGERS, furniture._THUMB)
    parts = [shapely.LineString(finger).buffer(9) for finger in fingers]
    whole = shapely.union_all([*parts, shapely.box(-26, 6, 26, 48).buffer(9)])
    assert shapely.Polygon(furniture._HAND).hausdorff_distance(whole) < 1
