"""Landmarks by a rung's key alone, against the ladders themselves."""

from dataclasses import replace

import pytest

from rungwise.evidence.landmarks import LANDMARKS, Path
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.stance import Side

WOMAN = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)
BODIES = [
    WOMAN,
    Body(foot_length_mm=271, foot_breadth_mm=102, hip_width_mm=185, weaker=Side.RIGHT),
    replace(WOMAN, narrowest_offset_mm=130),
    replace(WOMAN, big_toe_pain=True, no_full_weight=Side.LEFT),
]
HOME = Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True)


@pytest.mark.parametrize("body", BODIES, ids=("woman", "man", "wide", "sore toe"))
@pytest.mark.parametrize("name", ["feet_together", "semi_tandem", "tandem", "single_leg"])
def test_a_landmark_is_reached_from_the_ladders_own_rung_on(body: Body, name: str) -> None:
    ladder, path = build_ladder(body, HOME, Limits()), Path(body)
    names = {name, "feet_narrowest"} if name == "feet_together" else {name}
    firm = [rung for rung in ladder.rungs if rung.round == "firm" and rung.landmark in names]
    assert firm
    place = ladder.index(firm[0].key)
    reached = [path.has_reached(name, rung.key) for rung in ladder.rungs]
    assert reached == [number >= place for number in range(len(ladder))]


@pytest.mark.parametrize("body", BODIES, ids=("woman", "man", "wide", "sore toe"))
def test_the_last_landmark_never_falls_along_a_ladder(body: Body) -> None:
    ladder, path = build_ladder(body, HOME, Limits()), Path(body)
    order = [None, *LANDMARKS]
    places = [order.index(path.landmark_of(rung.key)) for rung in ladder.rungs]
    assert places == sorted(places)
    assert set(places) == set(range(len(order)))
    soft = [rung.round != "firm" for rung in ladder.rungs]
    assert soft == [path.landmark_of(rung.key) == "soft_surface" for rung in ladder.rungs]


def test_a_key_that_names_no_rung_has_reached_nothing() -> None:
    path = Path(WOMAN)
    assert path.landmark_of("even/3") is None
    assert path.order("even/3") is None
    assert not path.has_reached("feet_together", "")
