"""Feet, hulls and margins: against another library, and against what can be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.ops
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_MAN, MEAN_WOMAN, bodies
from scipy.spatial import ConvexHull

from rungwise.ladder import Body, Equipment, Limits, Side, Stance, build_ladder, geometry
from rungwise.ladder.footprint import (
    Foot,
    areas_mm2,
    base_of_support,
    hull,
    outline,
    place,
    resting_part,
)

TWO_FEET = (Stance.PARALLEL, Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM)
LADDER = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())


def _touching(rung, body, lead=None):
    placement = place(rung, body, lead)
    points = []
    for foot in (placement.left, placement.right):
        resting = foot.touch in ("forefoot", "ball")
        shape = resting_part(body, foot) if resting else outline(body, foot)
        if foot.touch != "none":
            points.append(shape)
    return placement, np.concatenate(points)


@settings(max_examples=100, deadline=None)
@given(st.data(), bodies())
def test_hulls_agree_with_another_library(data, body):
    rungs = build_ladder(body, FULL_HOME, Limits()).rungs
    rung = data.draw(st.sampled_from(rungs))
    placement, points = _touching(rung, body, data.draw(st.sampled_from(list(Side))))
    theirs = ConvexHull(points)
    ours = base_of_support(placement, body)
    assert ours.area_mm2 == pytest.approx(theirs.volume)
    assert geometry.length(hull(placement, body)) == pytest.approx(theirs.area)


@settings(max_examples=25, deadline=None)
@given(bodies())
def test_the_quick_areas_are_the_same_as_one_by_one(body):
    rungs = [rung for rung in build_ladder(body, FULL_HOME, Limits()).rungs if not rung.on_foam]
    rungs = rungs[::9]
    feet = [(rung.stance, rung.offset_mm, rung.step_mm) for rung in rungs]
    quick = areas_mm2(body, feet)
    for rung, one in zip(rungs, feet, strict=True):
        for lead in Side:
            slow = base_of_support(place(rung, body, lead), body)
            assert quick[one] == pytest.approx(slow.area_mm2)


def test_margins_lead_from_the_middle_to_the_edge():
    for rung in LADDER.rungs[::3]:
        base = base_of_support(place(rung, MEAN_WOMAN), MEAN_WOMAN)
        sides = (base.left_mm, base.right_mm, base.front_mm, base.back_mm)
        assert 0 < base.nearest_edge_mm <= min(sides) + 1e-9
        assert base.left_mm + base.right_mm <= base.width_mm + 1e-9
        assert base.front_mm + base.back_mm <= base.length_mm + 1e-9


def test_the_nearest_edge_is_the_least_over_all_directions():
    placement = place(LADDER["firm/tandem/hover"], MEAN_WOMAN)
    polygon = shapely.Polygon(hull(placement, MEAN_WOMAN))
    middle = np.array(polygon.centroid.coords[0])
    edge = np.array(polygon.exterior.coords)
    along = np.linspace(0, 1, 200)[:, None, None]
    between = edge[:-1] * (1 - along) + edge[1:] * along
    by_hand = np.min(np.linalg.norm(between - middle, axis=-1))
    base = base_of_support(placement, MEAN_WOMAN)
    assert base.nearest_edge_mm == pytest.approx(by_hand, abs=0.1)


@pytest.mark.parametrize(
    ("body", "apart", "together", "line", "long", "gap"),
    [(MEAN_MAN, 279, 204, 102, 542, 75), (MEAN_WOMAN, 270, 186, 93, 492, 84)],
)
def test_widths_and_lengths_of_the_mean_foot(body, apart, together, line, long, gap):
    # By arithmetic from the mean feet of ANSUR II (from memory) and 17.7 cm between the centres.
    ladder = build_ladder(body, FULL_HOME, Limits())

    def base(key):
        return base_of_support(place(ladder[key], body), body)

    wide = ladder["firm/parallel/o177/hover"]
    breadth, length = body.foot_breadth_mm, body.foot_length_mm
    assert base(wide.key).width_mm == pytest.approx(apart)
    assert wide.gap_mm == gap
    assert base(f"firm/parallel/o{breadth}/hover").width_mm == pytest.approx(together)
    assert base(f"firm/parallel/o{breadth}/hover").length_mm == pytest.approx(length)
    assert base("firm/tandem/hover").width_mm == pytest.approx(line)
    assert base("firm/tandem/hover").length_mm == pytest.approx(long)
    assert base("firm/single_leg/beside/hover").width_mm == pytest.approx(line)


@given(st.integers(170, 340), st.integers(60, 85), st.sampled_from(list(Side)))
def test_an_outline_is_exactly_one_foot_long_and_broad(length, breadth, side):
    body = Body(foot_length_mm=length, foot_breadth_mm=breadth, hip_width_mm=177)
    shape = np.array(outline(body, Foot(side, 30.0, 12.0)))
    low, high = shape.min(axis=0), shape.max(axis=0)
    assert high - low == pytest.approx(np.array([breadth, length]))
    assert (low + high)[0] / 2 == pytest.approx(30.0)
    assert low[1] == pytest.approx(12.0)


def test_the_big_toe_is_on_the_inner_side_of_each_foot():
    for side, inward in ((Side.LEFT, 1), (Side.RIGHT, -1)):
        shape = np.array(outline(MEAN_WOMAN, Foot(side, 0.0, 0.0)))
        toe = shape[np.argmax(shape[:, 1])]
        assert toe[0] * inward > 0


def test_only_the_forefoot_of_the_resting_foot_touches_in_toe_touch():
    rung = LADDER["firm/toe_touch/hover"]
    touching = base_of_support(place(rung, MEAN_WOMAN), MEAN_WOMAN).area_mm2
    alone = base_of_support(
        place(LADDER["firm/single_leg/beside/hover"], MEAN_WOMAN), MEAN_WOMAN
    ).area_mm2
    both = base_of_support(
        place(LADDER["firm/parallel/o93/hover"], MEAN_WOMAN), MEAN_WOMAN
    ).area_mm2
    assert alone < touching < both


def _shapes(rung, body):
    placement = place(rung, body)
    return [shapely.Polygon(outline(body, foot)) for foot in (placement.left, placement.right)]


@settings(max_examples=40, deadline=None)
@given(bodies())
def test_no_foot_stands_on_the_other(body):
    two_feet = [r for r in build_ladder(body, Equipment(), Limits()).rungs if r.stance in TWO_FEET]
    for rung in two_feet:
        left, right = _shapes(rung, body)
        assert left.intersection(right).area < 1, rung.key


@settings(max_examples=40, deadline=None)
@given(bodies())
def test_in_semi_tandem_the_heel_touches_the_big_toe(body):
    # SPPB, Guralnik et al. 1994: the side of the heel against the side of the big toe.
    body = replace(body, feet_overlap=True)
    ladder = build_ladder(body, Equipment(), Limits())
    semi = next(rung for rung in ladder.rungs if rung.landmark == "semi_tandem")
    left, right = _shapes(semi, body)
    assert left.distance(right) < 3
    near = shapely.ops.nearest_points(left, right)[0 if semi.sides[0] is Side.RIGHT else 1]
    # On the other foot the nearest point lies at the big toe; overlap and heel say the rest.
    assert near.y > 0.75 * body.foot_length_mm
    assert body.foot_length_mm - semi.step_mm == round(0.2 * body.foot_length_mm)
    tandem = ladder["firm/tandem/hover"]
    here, there = (base_of_support(place(one, body), body) for one in (semi, tandem))
    assert here.length_mm < there.length_mm
    assert here.width_mm > there.width_mm
