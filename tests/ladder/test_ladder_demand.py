"""Demand: narrower, softer, rounder and less support is never lower."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_WOMAN, bodies

from rungwise.ladder import FreeFoot, Limits, Stance, Support, Surface, Under, build_ladder
from rungwise.ladder.demand import Asked, demand

GROUNDS = [
    (Surface.FIRM, 0, None),
    *((Surface.MAT, layers, None) for layers in (1, 2, 4, 8)),
    *(
        (Surface.HALF_FOAM, 0, lies)
        for lies in ("flat_lengthways", "flat_crossways", "round_lengthways", "round_crossways")
    ),
]


def tasks(body):
    """A task with both feet down, its widths within what the body does."""
    length = body.foot_length_mm
    return st.one_of(
        st.tuples(
            st.just(Stance.PARALLEL),
            st.integers(body.foot_breadth_mm, body.hip_width_mm),
            st.just(0),
        ),
        st.tuples(
            st.just(Stance.STAGGERED),
            st.integers(body.foot_breadth_mm, body.hip_width_mm),
            st.integers(body.semi_tandem_step_mm + 1, body.comfortable_step_mm),
        ),
        st.tuples(
            st.just(Stance.SEMI_TANDEM),
            st.integers(body.touching_mm, body.foot_breadth_mm),
            st.just(body.semi_tandem_step_mm),
        ),
        st.tuples(st.just(Stance.SEMI_TANDEM), st.integers(1, body.in_front_mm), st.just(length)),
        st.just((Stance.TANDEM, 0, length)),
    )


def task(feet, ground=GROUNDS[0], under=None, support=Support.HOVER):
    stance, offset, step = feet
    surface, layers, lies = ground
    soft = None if surface is Surface.FIRM else under or Under.BOTH
    free = FreeFoot.BESIDE if stance is Stance.SINGLE_LEG else None
    return Asked(stance, offset, step, surface, layers, lies, soft, support, free)


@settings(max_examples=100, deadline=None)
@given(st.data(), bodies())
def test_softer_or_rounder_is_never_lower_for_the_same_feet(data, body):
    feet = data.draw(tasks(body))
    figures = [demand(body, task(feet, ground)) for ground in GROUNDS]
    assert figures == sorted(figures)
    assert len(set(figures)) == len(figures)


@settings(max_examples=100, deadline=None)
@given(st.data(), bodies(), st.sampled_from(GROUNDS))
def test_more_support_is_lower(data, body, ground):
    feet = data.draw(tasks(body))
    figures = [demand(body, task(feet, ground, support=support)) for support in Support]
    assert figures == sorted(figures)
    assert len(set(figures)) == len(figures)


@settings(max_examples=100, deadline=None)
@given(st.data(), bodies(), st.sampled_from(GROUNDS[1:]))
def test_one_foot_on_the_soft_surface_lies_between_none_and_both(data, body, ground):
    feet = data.draw(tasks(body))
    firm = demand(body, task(feet))
    front, back, both = (demand(body, task(feet, ground, under)) for under in Under)
    assert firm < front < back < both


@settings(max_examples=100, deadline=None)
@given(st.data(), bodies())
def test_narrower_is_never_lower_in_one_stance(data, body):
    stance, wide, step = data.draw(tasks(body))
    least = 0 if stance is Stance.SEMI_TANDEM else body.foot_breadth_mm
    if stance is Stance.TANDEM or wide <= least:
        return
    narrow = data.draw(st.integers(least, wide))
    assert demand(body, task((stance, narrow, step))) >= demand(body, task((stance, wide, step)))


def test_a_new_stance_outweighs_all_the_support_that_can_come_with_it():
    # The reason why demand does not fall where support comes back.
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    first = ladder["firm/single_leg/beside/two_hands"]
    assert first.demand > ladder["firm/toe_touch/hover"].demand


@pytest.mark.parametrize("scale", [0.9, 1.1])
def test_demand_is_about_shape_so_a_larger_body_of_the_same_shape_has_the_same(scale):
    body = replace(MEAN_WOMAN, foot_length_mm=240, foot_breadth_mm=90, hip_width_mm=180)
    other = replace(
        body,
        foot_length_mm=round(240 * scale),
        foot_breadth_mm=round(90 * scale),
        hip_width_mm=round(180 * scale),
        ahead_mm=round(100 * scale),
    )
    here = demand(body, task((Stance.PARALLEL, 120, 0)))
    there = demand(other, task((Stance.PARALLEL, round(120 * scale), 0)))
    assert here == pytest.approx(there, abs=0.01)
