"""build_ladder: the laws that hold of every ladder, and the path on each surface."""

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from ladder_cases import (
    FULL_HOME,
    MEAN_MAN,
    MEAN_WOMAN,
    bodies,
    homes,
    limits,
    narrowings,
    random_body,
    random_home,
    random_narrowing,
)
from ladder_laws import broken_laws

from rungwise.errors import ImpossibleValue
from rungwise.ladder import (
    Body,
    Equipment,
    Limits,
    Narrowing,
    Side,
    Stance,
    Support,
    Surface,
    Under,
    build_ladder,
    keep_place,
    profile_from_stored,
)
from rungwise.ladder.body import renewed
from rungwise.ladder.build import left_out_of, rung_alone

FLOOR_ONLY = Equipment()


@settings(max_examples=150, deadline=None)
@given(bodies(), homes(), limits(), narrowings())
def test_every_law_holds_whoever_it_is_for(body, home, limit, narrowing):
    ladder = build_ladder(body, home, limit, narrowing)
    assert broken_laws(ladder, body, home, limit, narrowing) == []
    assert build_ladder(body, home, limit, narrowing) == ladder


@settings(max_examples=30, deadline=None)
@given(bodies(), homes(), limits(), narrowings())
def test_a_rung_alone_is_told_as_in_its_ladder(body, home, limit, narrowing):
    ladder = build_ladder(body, home, limit, narrowing)
    whole = build_ladder(body, home, replace(limit, ceiling_key=None), narrowing)
    for rung in whole.rungs:
        if rung.key in ladder:
            alone = rung_alone(rung.key, body, home, limit, narrowing)
            assert alone == replace(ladder[rung.key], gate=None, demand=0.0)
        else:
            with pytest.raises(KeyError):
                rung_alone(rung.key, body, home, limit, narrowing)


def test_a_rung_alone_is_told_up_to_the_ceiling_and_not_above_it():
    ladder = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    ceiling = ladder.rungs[40]
    for rung in ladder.rungs[38:41]:
        alone = rung_alone(rung.key, MEAN_WOMAN, FLOOR_ONLY, Limits(ceiling_key=ceiling.key))
        assert alone == replace(rung, gate=None, demand=0.0)
    with pytest.raises(KeyError):
        rung_alone(ladder.rungs[41].key, MEAN_WOMAN, FLOOR_ONLY, Limits(ceiling_key=ceiling.key))


def test_a_rung_alone_must_be_one_of_the_ladder():
    for key in ("firm/parallel/o999/hover", "mat8/tandem/hover", "firm", ""):
        with pytest.raises(KeyError):
            rung_alone(key, MEAN_WOMAN, FLOOR_ONLY, Limits())
    with pytest.raises(ImpossibleValue):
        rung_alone("firm/tandem/hover", MEAN_WOMAN, Equipment(firm_floor=False), Limits())


def test_every_law_holds_for_two_thousand_bodies():
    dice = random.Random(20)
    for _ in range(2000):
        body, home, narrowing = random_body(dice), random_home(dice), random_narrowing(dice)
        limit = Limits(no_soft_surface=dice.random() < 0.6)  # most on the floor alone, for speed
        ladder = build_ladder(body, home, limit, narrowing)
        broken = broken_laws(ladder, body, home, limit, narrowing)
        assert broken == [], (body, home, limit, narrowing)


def test_a_centimetre_at_a_time_from_hip_width_to_touching():
    # 17.7 cm between centres and a 10.2 cm foot: 7.5 cm of gap, so 8 steps, the last of 0.5 cm.
    ladder = build_ladder(MEAN_MAN, FLOOR_ONLY, Limits())
    offsets = [
        rung.offset_mm
        for rung in ladder.rungs
        if rung.stance is Stance.PARALLEL and rung.support is Support.HOVER
    ]
    assert offsets == [177, 167, 157, 147, 137, 127, 117, 107, 102]


def test_the_firm_round_goes_through_every_stance_in_order():
    ladder = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    assert [rung.landmark for rung in ladder.rungs if rung.landmark] == [
        "feet_apart",
        "feet_together",
        "staggered",
        "semi_tandem",
        "tandem",
        "toe_touch",
        "single_leg",
    ]
    stances = [rung.stance for rung in ladder.rungs]
    assert stances == sorted(stances, key=list(Stance).index)
    free = [rung.free_foot for rung in ladder.rungs if rung.stance is Stance.SINGLE_LEG]
    assert list(dict.fromkeys(free)) == ["beside", "front", "behind"]


def test_the_front_foot_slides_back_until_its_heel_is_beside_the_big_toe():
    ladder = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    slid = [rung for rung in ladder.rungs if rung.stance is Stance.STAGGERED and rung.gap_mm == 0]
    assert [rung.ahead_mm for rung in slid] == [*range(100, -41, -10)]
    first = next(rung for rung in ladder.rungs if rung.stance is Stance.SEMI_TANDEM)
    # A fifth of 24.6 cm, the big toe: 4.9 cm of overlap.
    assert (first.ahead_mm, first.step_mm, first.offset_mm) == (-49, 197, 93)


def test_from_touching_in_front_of_the_toes_and_onto_the_line_in_whole_steps():
    ladder = build_ladder(MEAN_WOMAN, FLOOR_ONLY, Limits())
    semi = [
        (r.offset_mm, r.step_mm, r.landmark)
        for r in ladder.rungs
        if r.stance is Stance.SEMI_TANDEM and r.support is Support.HOVER
    ]
    beside = [(93, 197, None), (83, 197, None), (73, 197, "semi_tandem")]
    assert semi == [*beside, *((offset, 246, None) for offset in (50, 40, 30, 20, 10))]


def test_with_one_foot_on_a_mat_its_edge_lies_between_the_feet():
    ladder = build_ladder(MEAN_WOMAN, Equipment(mat_layers=1), Limits())
    landmarks = {
        rung.round: rung.offset_mm for rung in ladder.rungs if rung.landmark == "semi_tandem"
    }
    assert landmarks == {"firm": 73, "mat1/front": 93, "mat1/back": 93, "mat1": 73}


def test_a_plan_stored_before_the_feet_overlapped_keeps_its_ladder():
    # As profile_to_json wrote it then, and the keys that its ladder had then.
    stored = {
        "body": {
            "foot_length_mm": 246, "foot_breadth_mm": 93, "hip_width_mm": 177,
            "narrowest_offset_mm": None, "big_toe_pain": False, "no_full_weight": None,
            "weaker": None, "estimated": False, "ahead_mm": 100,
        },
        "equipment": {
            "mat_layers": 8, "half_foam_whole": False, "half_foam_cut": False,
            "firm_floor": True, "steady_counter": True, "half_foam_width_mm": 150,
        },
        "limits": {
            "ceiling_key": None, "closed_gates": [], "no_soft_surface": False,
            "longest_hold_s": 30,
        },
        "narrowing": {"narrow_mm": 10, "one_foot": False, "later_narrow_mm": None},
        "target_s": 20,
    }  # fmt: skip
    profile = profile_from_stored(stored)
    ladder = build_ladder(profile.body, profile.equipment, profile.limits, profile.narrowing)
    family = [
        rung.key.removeprefix("firm/").removesuffix("/hover")
        for rung in ladder.rungs
        if rung.round == "firm" and rung.support is Support.HOVER and rung.stance != "parallel"
    ]
    assert family[10:33] == [
        *(f"staggered/o93/a{ahead}" for ahead in range(90, 0, -10)),
        *(f"semi_tandem/o{offset}" for offset in (93, 90, 80, 70, 60, 50, 40, 30, 20, 10)),
        "tandem", "toe_touch", "single_leg/beside", "single_leg/front",
    ]  # fmt: skip
    assert ladder["firm/semi_tandem/o93/hover"].landmark == "semi_tandem"
    assert ladder["firm/semi_tandem/o93/hover"].step_mm == 246
    assert {rung.round for rung in ladder.rungs} >= {"mat8/front", "mat8/back"}
    again = renewed(profile)
    assert again.body.feet_overlap
    assert again.equipment.mat_layer_mm == 7
    new = build_ladder(again.body, again.equipment, again.limits, again.narrowing)
    # In front of the toes at 6 cm the base is larger than beside them at 7.3 cm.
    assert keep_place(ladder, "firm/semi_tandem/o60/hover", new).key == "firm/semi_tandem/o83/hover"


@pytest.mark.parametrize(
    ("layer_mm", "hips_mm", "layers"),
    [
        # By arithmetic: tan 10 degrees is 0.1763, so over 177 mm the foot may stand 31 mm higher.
        (7, 177, {1, 2, 4}),
        (8, 177, {1, 2}),
        (16, 177, {1}),
        (7, 150, {1, 2}),
    ],
)
def test_one_foot_on_the_mat_ends_where_the_pelvis_would_tilt(layer_mm, hips_mm, layers):
    body = replace(MEAN_WOMAN, hip_width_mm=hips_mm)
    home = Equipment(mat_layers=8, mat_layer_mm=layer_mm)
    ladder = build_ladder(body, home, Limits())
    one_foot = {r.layers for r in ladder.rungs if r.under in (Under.FRONT, Under.BACK)}
    assert one_foot == layers
    assert {r.layers for r in ladder.rungs if r.under is Under.BOTH} == {1, 2, 4, 8}


def test_no_stance_that_is_longer_than_the_folded_mat():
    # 180 x 60 cm: in 4 layers 60 x 45, in 8 layers 45 x 30. Tandem of two 24.6 cm feet is 49.2.
    home = Equipment(mat_layers=8, mat_length_mm=1800, mat_width_mm=600)
    ladder = build_ladder(MEAN_WOMAN, home, Limits())
    on_both = {(r.layers, r.stance) for r in ladder.rungs if r.layers and r.under is Under.BOTH}
    assert (4, Stance.TANDEM) in on_both
    assert {stance for layers, stance in on_both if layers == 8} == {
        Stance.PARALLEL,
        Stance.TOE_TOUCH,
        Stance.SINGLE_LEG,
    }
    why = [one for one in left_out_of(MEAN_WOMAN, home, Limits()) if one.ground.layers == 8]
    assert {one.stance for one in why} == {Stance.STAGGERED, Stance.SEMI_TANDEM, Stance.TANDEM}
    tandem = next(w for w in why if w.stance is Stance.TANDEM and w.under is Under.BOTH)
    assert tandem.because == (
        "Folded to this, the mat is 45 by 30 cm, and the stance takes 49.2 by 9.3 cm."
    )
    tilted = next(w for w in why if w.under is Under.FRONT)
    assert "tilt the pelvis by 18" in tilted.because


def test_half_foam_shorter_than_two_feet_is_not_for_tandem():
    home = Equipment(half_foam_whole=True, half_foam_cut=True, half_foam_length_mm=490)
    ladder = build_ladder(MEAN_WOMAN, home, Limits())
    foam = {rung.stance for rung in ladder.rungs if rung.surface is Surface.HALF_FOAM}
    assert foam == set()
    why = list(left_out_of(MEAN_WOMAN, home, Limits()))
    assert any("The half foam is 49 cm long" in one.because for one in why)
    longer = replace(home, half_foam_length_mm=500)
    stances = {
        rung.stance
        for rung in build_ladder(MEAN_WOMAN, longer, Limits()).rungs
        if rung.surface is Surface.HALF_FOAM
    }
    assert Stance.TANDEM in stances


def test_a_sore_toe_without_half_foam_is_told_too():
    sore = replace(MEAN_WOMAN, big_toe_pain=True)
    (why,) = left_out_of(sore, FLOOR_ONLY, Limits())
    assert why.stance is Stance.TOE_TOUCH
    assert list(left_out_of(sore, Equipment(half_foam_whole=True), Limits())) == []


def test_what_the_trainer_opened_comes_right_after_its_landmark_with_the_same_feet():
    opened = frozenset({"tandem/head", "tandem/count", "feet_together/shift"})
    ladder = build_ladder(MEAN_WOMAN, Equipment(mat_layers=2), Limits(opened_tasks=opened))
    plain = build_ladder(MEAN_WOMAN, Equipment(mat_layers=2), Limits())
    tasks = [rung for rung in ladder.rungs if rung.task]
    assert [rung.key for rung in tasks] == [
        "firm/parallel/o93/hover/shift", "firm/tandem/hover/head", "firm/tandem/hover/count",
    ]  # fmt: skip
    assert [r for r in ladder.rungs if not r.task] == list(plain.rungs)
    landmark = ladder["firm/tandem/hover"]
    assert [ladder.index(r.key) - ladder.index(landmark.key) for r in tasks[1:]] == [1, 2]
    for rung in tasks[1:]:
        assert rung.support is Support.HOVER
        assert (rung.offset_mm, rung.step_mm) == (landmark.offset_mm, landmark.step_mm)
        assert rung.demand > landmark.demand
        # Closed again, the client is back on the landmark itself.
        assert keep_place(ladder, rung.key, plain).key == landmark.key
        limits = Limits(opened_tasks=opened)
        alone = rung_alone(rung.key, MEAN_WOMAN, Equipment(mat_layers=2), limits)
        assert alone == replace(rung, gate=None, demand=0.0)


def test_only_what_there_is_can_be_opened():
    for wrong in ("single_leg/shift", "tandem/eyes_closed", "tandem", "firm/tandem/hover"):
        with pytest.raises(ImpossibleValue, match="opened_tasks"):
            Limits(opened_tasks=frozenset({wrong}))


def test_a_mat_has_both_sides_or_neither():
    with pytest.raises(ImpossibleValue, match="mat_width_mm"):
        Equipment(mat_layers=4, mat_length_mm=1800)


def test_surfaces_come_in_the_trade_s_order():
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    assert list(dict.fromkeys(rung.round for rung in ladder.rungs)) == [
        "firm",
        *(f"mat{n}{foot}" for n in (1, 2, 4) for foot in ("", "/front", "/back")),
        "mat8",
        *(
            f"foam_{lies}{foot}"
            for lies in ("flat_lengthways", "flat_crossways", "round_lengthways", "round_crossways")
            for foot in ("", "/front", "/back")
        ),
    ]


@pytest.mark.parametrize("layers", [1, 2, 4])
def test_on_a_mat_one_foot_before_both(layers):
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    round_ = [rung for rung in ladder.rungs if rung.layers == layers]
    family = [rung.under for rung in round_ if rung.stance is Stance.STAGGERED]
    assert list(dict.fromkeys(family)) == [Under.FRONT, Under.BACK, Under.BOTH]
    assert round_[0].stance is Stance.PARALLEL
    assert round_[-1].stance is Stance.SINGLE_LEG


def test_half_foam_whole_is_for_tandem_only_and_cut_for_the_rest():
    for home, stances in (
        (Equipment(half_foam_whole=True), {Stance.TANDEM}),
        (Equipment(half_foam_cut=True), {Stance.PARALLEL, Stance.STAGGERED}),
    ):
        ladder = build_ladder(MEAN_WOMAN, home, Limits())
        on_foam = {rung.stance for rung in ladder.rungs if rung.surface is Surface.HALF_FOAM}
        assert on_foam == stances


def test_two_pieces_lengthways_can_only_come_as_near_as_they_are_wide():
    ladder = build_ladder(MEAN_WOMAN, Equipment(half_foam_cut=True), Limits())
    narrowest = {
        round_: min(
            rung.offset_mm
            for rung in ladder.rungs
            if rung.round == round_ and rung.stance is Stance.PARALLEL
        )
        for round_ in ("foam_flat_lengthways", "foam_flat_crossways")
    }
    assert narrowest == {"foam_flat_lengthways": 150, "foam_flat_crossways": 93}


def test_a_sore_big_toe_rests_on_half_foam_or_the_stance_is_left_out():
    sore = replace(MEAN_WOMAN, big_toe_pain=True)
    with_foam = build_ladder(sore, Equipment(half_foam_whole=True), Limits())
    touches = [rung.key for rung in with_foam.rungs if rung.stance is Stance.TOE_TOUCH]
    assert touches == ["firm/toe_touch/on_foam/fingertips", "firm/toe_touch/on_foam/hover"]
    without = build_ladder(sore, FLOOR_ONLY, Limits())
    assert all(rung.stance is not Stance.TOE_TOUCH for rung in without.rungs)


@pytest.mark.parametrize("side", list(Side))
def test_a_leg_that_must_not_take_full_weight_never_does(side):
    ladder = build_ladder(replace(MEAN_WOMAN, no_full_weight=side), FLOOR_ONLY, Limits())
    standing = [r for r in ladder.rungs if r.stance in (Stance.TOE_TOUCH, Stance.SINGLE_LEG)]
    assert standing
    assert {rung.sides for rung in standing} == {(side.other,)}
    assert ladder["firm/tandem/hover"].sides == (Side.LEFT, Side.RIGHT)


def test_later_rounds_take_larger_steps_unless_told_otherwise():
    home = Equipment(mat_layers=1)

    def widths(narrowing):
        ladder = build_ladder(MEAN_MAN, home, Limits(), narrowing)
        return [
            rung.offset_mm
            for rung in ladder.rungs
            if rung.round == "mat1"
            and rung.stance is Stance.PARALLEL
            and rung.support is Support.HOVER
        ]

    assert widths(Narrowing(10)) == [177, 157, 137, 117, 102]
    assert widths(Narrowing(10, later_narrow_mm=30)) == [177, 147, 117, 102]
    assert widths(Narrowing(20)) == [177, 147, 117, 102]


def test_one_foot_at_a_time_alternates_and_halves_the_step():
    ladder = build_ladder(MEAN_MAN, FLOOR_ONLY, Limits(), Narrowing(10, one_foot=True))
    moved = [
        (rung.offset_mm, rung.moved_foot)
        for rung in ladder.rungs
        if rung.stance is Stance.PARALLEL and rung.moved_foot
    ]
    left, right = Side.LEFT, Side.RIGHT
    assert moved[:3] == [(172, left), (167, right), (162, left)]
    assert [offset for offset, _ in moved] == list(range(172, 101, -5))


def test_a_wide_foot_starts_with_feet_together():
    body = Body(foot_length_mm=300, foot_breadth_mm=120, hip_width_mm=120)
    ladder = build_ladder(body, FLOOR_ONLY, Limits())
    parallel = [rung for rung in ladder.rungs if rung.stance is Stance.PARALLEL]
    assert [rung.landmark for rung in parallel] == [None, "feet_together"]


def test_the_ceiling_drops_what_lies_above_it():
    full = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    capped = build_ladder(MEAN_WOMAN, FULL_HOME, Limits(ceiling_key="firm/tandem/hover"))
    assert capped.rungs == full.rungs[: full.index("firm/tandem/hover") + 1]


def test_a_ceiling_that_is_no_longer_a_rung_falls_to_the_next_easier_one():
    capped = build_ladder(
        MEAN_WOMAN, FLOOR_ONLY, Limits(ceiling_key="firm/staggered/o150/a100/hover")
    )
    assert capped.rungs[-1].key == "firm/staggered/o157/a100/hover"


@pytest.mark.parametrize(
    ("home", "field"),
    [
        (Equipment(firm_floor=False), "firm_floor"),
        (Equipment(steady_counter=False), "steady_counter"),
    ],
)
def test_without_a_firm_floor_and_a_steady_counter_there_is_no_ladder(home, field):
    with pytest.raises(ImpossibleValue, match=field):
        build_ladder(MEAN_WOMAN, home, Limits())


def test_with_both_hands_on_the_counter_there_is_every_stance_once_and_nothing_beside_it():
    opened = frozenset({"tandem/arms", "feet_together/count"})
    usual = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    both = build_ladder(MEAN_WOMAN, FULL_HOME, Limits(two_hands=True, opened_tasks=opened))
    assert {rung.support for rung in both.rungs} == {Support.TWO_HANDS}
    assert not any(rung.task for rung in both.rungs)
    landmarks = [(rung.round, rung.landmark) for rung in both.rungs if rung.landmark]
    assert landmarks == [(rung.round, rung.landmark) for rung in usual.rungs if rung.landmark]
    assert [rung.gate for rung in both.rungs if rung.gate] == [
        rung.gate for rung in usual.rungs if rung.gate
    ]
