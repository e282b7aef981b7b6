"""Gates stand where they must; an unsafe or half equipped home gets no more than it may."""

import pytest
from ladder_cases import FULL_HOME, MEAN_WOMAN

from rungwise.errors import ImpossibleValue
from rungwise.ladder import Equipment, Limits, Stance, Surface, build_ladder
from rungwise.ladder.build import grounds

FIRST = {
    "single_leg": lambda rung: rung.stance is Stance.SINGLE_LEG,
    "first_soft": lambda rung: rung.surface is Surface.MAT,
    "first_half_foam": lambda rung: rung.surface is Surface.HALF_FOAM,
}


@pytest.mark.parametrize("gate", FIRST)
def test_a_gate_stands_once_on_the_first_rung_past_it(gate: str) -> None:
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    marked = [rung.key for rung in ladder.rungs if rung.gate == gate]
    past = [rung.key for rung in ladder.rungs if FIRST[gate](rung)]
    assert marked == past[:1]
    assert len(past) > 1


def test_a_gate_that_is_left_out_stands_nowhere_and_the_others_stay() -> None:
    limits = Limits(closed_gates=frozenset({"first_soft"}))
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, limits)
    assert {rung.gate for rung in ladder.rungs} == {None, "first_soft"}


def test_a_whole_half_foam_is_stood_on_lengthways_only_and_without_one_not_at_all() -> None:
    def rounds(home: Equipment) -> list[str | None]:
        found = grounds(home, Limits())
        return [ground.orientation for ground in found if ground.surface is Surface.HALF_FOAM]

    assert rounds(Equipment(half_foam_whole=True)) == ["flat_lengthways", "round_lengthways"]
    assert len(rounds(Equipment(half_foam_cut=True))) == 4
    assert rounds(Equipment(mat_layers=8)) == []


@pytest.mark.parametrize("lacking", ["firm_floor", "steady_counter"])
def test_a_home_that_lacks_something_steady_is_refused_by_name_and_value(lacking: str) -> None:
    with pytest.raises(ImpossibleValue) as refused:
        build_ladder(MEAN_WOMAN, Equipment(**{lacking: False}), Limits())
    assert (refused.value.field, refused.value.value) == (lacking, False)
