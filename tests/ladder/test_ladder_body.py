"""Bodies, equipment, limits and steps: impossible values, estimates, and profiles as JSON."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ladder_cases import bodies, homes, limits, narrowings

from rungwise.errors import ImpossibleValue
from rungwise.ladder import (
    GATES,
    Body,
    Equipment,
    Limits,
    Narrowing,
    Profile,
    Side,
    profile_from_json,
    profile_to_json,
)

MAN = {"foot_length_mm": 271, "foot_breadth_mm": 102, "hip_width_mm": 177}


@pytest.mark.parametrize(
    ("change", "allowed"),
    [
        ({"foot_length_mm": 169}, "170 to 340"),
        ({"foot_length_mm": 341}, "170 to 340"),
        ({"foot_length_mm": 271.0}, "whole number"),
        ({"foot_length_mm": "271"}, "whole number"),
        ({"foot_length_mm": True}, "whole number"),
        ({"foot_breadth_mm": 59}, "60 to 150"),
        ({"foot_breadth_mm": 140}, "half the foot length, 135"),
        ({"hip_width_mm": 99}, "102 to 280: between the hip joints"),
        ({"hip_width_mm": 350}, "not the outside of the hips"),
        ({"narrowest_offset_mm": 101}, "102 to 177"),
        ({"narrowest_offset_mm": 178}, "102 to 177"),
        ({"narrowest_offset_mm": 0}, "102 to 177"),
        ({"big_toe_pain": 1}, "true or false"),
        ({"estimated": None}, "true or false"),
        ({"no_full_weight": "both"}, "'left', 'right' or nothing"),
        ({"weaker": "left"}, "'left', 'right' or nothing"),
        ({"ahead_mm": 29}, "30 to 200"),
    ],
)
def test_an_impossible_body_is_refused_by_field_value_and_range(change, allowed):
    (field, value), *_ = change.items()
    with pytest.raises(ImpossibleValue) as refused:
        Body(**(MAN | change))
    assert (refused.value.field, refused.value.value) == (field, value)
    assert allowed in str(refused.value)
    assert str(refused.value).startswith(f"{field} is {value!r}; it must be ")


@pytest.mark.parametrize(
    ("kind", "change", "allowed"),
    [
        (Equipment, {"mat_layers": 3}, "0, 1, 2, 4 or 8"),
        (Equipment, {"mat_layers": True}, "0, 1, 2, 4 or 8"),
        (Equipment, {"half_foam_cut": "yes"}, "true or false"),
        (Equipment, {"half_foam_width_mm": 79}, "80 to 200"),
        (Limits, {"ceiling_key": "the top"}, "a rung's key"),
        (Limits, {"ceiling_key": 5}, "a rung's key"),
        (Limits, {"no_soft_surface": 0}, "true or false"),
        (Limits, {"longest_hold_s": 9}, "10 to 30"),
        (Limits, {"longest_hold_s": 31}, "10 to 30"),
        (Narrowing, {"narrow_mm": 4}, "5 to 30"),
        (Narrowing, {"narrow_mm": 31}, "5 to 30"),
        (Narrowing, {"one_foot": None}, "true or false"),
        (Narrowing, {"later_narrow_mm": 31}, "5 to 30"),
    ],
)
def test_impossible_equipment_limits_and_steps_are_refused(kind, change, allowed):
    (field, value), *_ = change.items()
    with pytest.raises(ImpossibleValue) as refused:
        kind(**change)
    assert (refused.value.field, refused.value.value) == (field, value)
    assert allowed in str(refused.value)


def test_an_unknown_gate_is_refused():
    with pytest.raises(ImpossibleValue, match="closed_gates is 'first_step'"):
        Limits(closed_gates=frozenset({"first_step", "single_leg"}))
    assert Limits().closed_gates == frozenset(GATES)


def test_a_body_can_be_guessed_from_height_and_sex_and_says_so():
    # 15% of 1.60 m is a foot of 24.0 cm; the mean woman's breadth is 93/246 of her foot.
    body = Body.estimate(1600, "female", weaker=Side.LEFT)
    assert (body.foot_length_mm, body.foot_breadth_mm, body.hip_width_mm) == (240, 91, 177)
    assert body.estimated
    assert body.weaker is Side.LEFT
    assert not Body(**MAN).estimated


def test_without_a_height_the_mean_foot_is_taken():
    man, woman = Body.estimate(None, "male"), Body.estimate(None, "female")
    assert (man.foot_length_mm, man.foot_breadth_mm) == (271, 102)
    assert (woman.foot_length_mm, woman.foot_breadth_mm) == (246, 93)


@given(st.integers(1200, 2200), st.sampled_from(["female", "male"]))
def test_every_height_gives_a_possible_body(height, sex):
    assert Body.estimate(height, sex).foot_length_mm == round(0.15 * height)


@pytest.mark.parametrize("height", [1199, 2201, 160, "1600", True, float("nan")])
def test_an_impossible_height_is_refused(height):
    with pytest.raises(ImpossibleValue, match="height_mm"):
        Body.estimate(height, "female")


def test_the_weaker_side_is_practised_first():
    assert Body(**MAN, weaker=Side.RIGHT).both_sides == (Side.RIGHT, Side.LEFT)
    assert Body(**MAN).both_sides == (Side.LEFT, Side.RIGHT)
    assert Body(**MAN, no_full_weight=Side.LEFT).standing_sides == (Side.RIGHT,)


@given(bodies(), homes(), limits(), narrowings(), st.integers(10, 30))
def test_a_profile_goes_through_json_and_back(body, home, limit, narrowing, target):
    profile = Profile(body, home, limit, narrowing, target)
    assert profile_from_json(json.loads(json.dumps(profile_to_json(profile)))) == profile


def test_the_least_profile():
    profile = profile_from_json({"body": {"sex": "male", "height_mm": 1800}})
    assert profile == Profile(Body.estimate(1800, "male"))
    assert (profile.target_s, profile.equipment.mat_layers) == (20, 0)


@pytest.mark.parametrize(
    ("given_json", "says"),
    [
        ({}, "body is None; it must be given"),
        ({"body": MAN, "shoes": 1}, "a field of profile is 'shoes'"),
        ({"body": MAN | {"height": 1600}}, "a field of body is 'height'"),
        ({"body": {"sex": "male", "foot_length_mm": 270}}, "a field of body is 'foot_length_mm'"),
        ({"body": {"height_mm": 1600}}, "body.sex is None"),
        ({"body": {"foot_length_mm": 270}}, "body.foot_breadth_mm is None"),
        ({"body": MAN | {"weaker": "middle"}}, "weaker is 'middle'"),
        ({"body": MAN | {"weaker": ["left"]}}, "weaker is ['left']"),
        ({"body": [1]}, "an object of named fields"),
        ({"body": MAN, "equipment": {"mat": 2}}, "a field of equipment is 'mat'"),
        ({"body": MAN, "equipment": None}, "an object of named fields"),
        ({"body": MAN, "limits": {"closed_gates": "single_leg"}}, "a list of names"),
        ({"body": MAN, "narrowing": {"narrow_mm": 50}}, "narrow_mm is 50"),
        ({"body": MAN, "target_s": 31}, "target_s is 31; it must be a whole number from 10 to 30"),
        ({"body": MAN, "limits": {"longest_hold_s": 15}}, "from 10 to 15"),
    ],
)
def test_a_wrong_profile_says_what_is_wrong(given_json, says):
    with pytest.raises(ImpossibleValue) as refused:
        profile_from_json(given_json)
    assert says in str(refused.value)
