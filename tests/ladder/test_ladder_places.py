"""keep_place: the same rung after any change, or an easier one with a reason, never a harder."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_WOMAN, bodies, homes, limits, narrowings

from rungwise.errors import ImpossibleValue
from rungwise.ladder import (
    Equipment,
    Kept,
    Limits,
    Narrowing,
    Support,
    build_ladder,
    keep_place,
    parse_key,
)
from rungwise.ladder.keys import is_key
from rungwise.ladder.places import demand_of, order_of

FLOOR_ONLY = Equipment()


def _ladder(draw):
    return build_ladder(draw(bodies()), draw(homes()), draw(limits()), draw(narrowings()))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_never_a_harder_rung_whatever_changed(data):
    old, new = _ladder(data.draw), _ladder(data.draw)
    key = data.draw(st.sampled_from([rung.key for rung in old.rungs]))
    kept = keep_place(old, key, new)
    assert kept == keep_place(None, key, new), "the key alone must be enough"
    assert kept.key in new
    assert (kept.because is None) == (kept.key == key)
    if kept.key != key:
        body = new.body
        easier = new[kept.key].demand <= demand_of(key, body)
        earlier = order_of(kept.key, body) <= order_of(key, body)
        assert (easier and earlier) or "lowest" in kept.because
        assert (easier and earlier) or kept.key == new.rungs[0].key
        here, there = new[kept.key], old[key]
        if (here.stance, here.surface) == (there.stance, there.surface):
            hands = list(Support)
            if hands.index(here.support) > hands.index(there.support):
                # Only where both hands are no longer asked for on this surface: other ladders
                # begin with fingertips, and the trainer is told to look at the client. (Foam
                # begins with both hands for everybody; it is later on the path, so no way back.)
                alike = [
                    rung
                    for rung in new.rungs
                    if (rung.stance, rung.surface) == (there.stance, there.surface)
                ]
                assert there.support not in {rung.support for rung in alike}
                assert kept.key == new.rungs[0].key
                assert "look at the client" in kept.because


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_the_nearest_one_no_rung_between_would_do(data):
    old, new = _ladder(data.draw), _ladder(data.draw)
    key = data.draw(st.sampled_from([rung.key for rung in old.rungs]))
    kept = keep_place(old, key, new)
    if kept.because is None or "lowest" in kept.because:
        return
    most, place = demand_of(key, new.body), order_of(key, new.body)
    hands = list(Support)
    for rung in new.rungs[new.index(kept.key) + 1 :]:
        bare = rung.stance is old[key].stance and hands.index(rung.support) > hands.index(
            old[key].support
        )
        assert bare or rung.demand > most or order_of(rung.key, new.body) > place


@settings(max_examples=60, deadline=None)
@given(bodies(), homes(), limits(), narrowings())
def test_order_and_demand_can_be_read_from_the_keys(body, home, limit, narrowing):
    ladder = build_ladder(body, home, limit, narrowing)
    orders = [order_of(rung.key, body) for rung in ladder.rungs]
    assert orders == sorted(orders)
    for rung in ladder.rungs[::7]:
        assert demand_of(rung.key, body) == rung.demand
        parts = parse_key(rung.key)
        assert (parts.stance, parts.surface, parts.support, parts.under) == (
            rung.stance,
            rung.surface,
            rung.support,
            rung.under,
        )


def test_buying_a_mat_and_half_foam_keeps_every_place():
    small = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    large = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    for rung in small.rungs:
        assert keep_place(small, rung.key, large) == Kept(rung.key)


@pytest.mark.parametrize(
    ("key", "expected", "reason"),
    [
        # The mat is gone: on the floor, and no harder than the mat was.
        ("mat1/parallel/o177/hover", "firm/parallel/o147/hover", "surface"),
        ("mat1/single_leg/behind/hover", "firm/single_leg/behind/hover", "surface"),
        # The step is now 10 mm from 177: 160 lies between 157 and 167.
        ("firm/parallel/o160/hover", "firm/parallel/o167/hover", "measures"),
        # Hover at 16.7 cm would be harder than fingertips at 16.0 cm.
        ("firm/parallel/o160/fingertips", "firm/parallel/o177/fingertips", "measures"),
        # Toes rested on foam until the toe healed: back to where it is surely easier.
        ("firm/toe_touch/on_foam/hover", "firm/tandem/hover", "measures"),
    ],
)
def test_what_went_and_where_it_leads(key, expected, reason):
    kept = keep_place(None, key, build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits()))
    assert kept.key == expected
    assert reason in kept.because
    assert kept.because.endswith(".")


def test_a_stance_that_is_ruled_out_gives_way_to_the_one_before():
    sore = build_ladder(replace(MEAN_WOMAN, big_toe_pain=True), FLOOR_ONLY, Limits())
    kept = keep_place(None, "firm/toe_touch/hover", sore)
    assert kept.key == "firm/tandem/hover"
    assert "stance" in kept.because


def test_a_lower_ceiling_brings_down_to_it():
    capped = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits(ceiling_key="firm/semi_tandem/o73/hover"))
    kept = keep_place(None, "firm/tandem/hover", capped)
    assert kept.key == "firm/semi_tandem/o73/hover"
    assert "above the top" in kept.because


def test_a_new_measure_below_the_lowest_rung_says_so():
    narrow = replace(MEAN_WOMAN, hip_width_mm=160)
    new = build_ladder(narrow, FLOOR_ONLY, Limits())
    kept = keep_place(None, "firm/parallel/o177/fingertips", new)
    assert kept.key == "firm/parallel/o160/fingertips"
    assert "lowest" in kept.because


def test_a_finer_step_never_moves_a_client_inward():
    coarse = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits(), Narrowing(20))
    fine = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits(), Narrowing(15))
    for rung in coarse.rungs:
        kept = fine[keep_place(coarse, rung.key, fine).key]
        if kept.stance is rung.stance:
            assert kept.offset_mm >= rung.offset_mm


@pytest.mark.parametrize(
    "wrong",
    [
        "",
        "firm",
        "firm/parallel/hover",
        "firm/parallel/o100/a10/hover",
        "firm/tandem/o0/hover",
        "firm/front/tandem/hover",
        "mat3/tandem/hover",
        "foam_flat_sideways/tandem/hover",
        "firm/single_leg/hover",
        "firm/tandem/on_foam/hover",
        "firm/tandem/eyes_closed",
        "firm/parallel/o100/hover\n",
        "firm/parallel/o١٠٠/hover",
    ],
)
def test_what_is_no_key_is_refused(wrong):
    assert not is_key(wrong)
    with pytest.raises(ImpossibleValue, match="key"):
        keep_place(None, wrong, build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits()))


def test_who_no_longer_needs_both_hands_begins_at_the_bottom_and_is_looked_at():
    held = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits(two_hands=True))
    free = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    kept = keep_place(held, held.rungs[0].key, free)
    assert kept.key == free.rungs[0].key
    assert "look at the client" in kept.because
    for rung in held.rungs:
        place = keep_place(held, rung.key, free)
        assert free[place.key].demand <= rung.demand or place.key == free.rungs[0].key
