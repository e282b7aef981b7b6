"""Random bodies, homes, limits and steps for the ladder's tests."""

import random
from dataclasses import replace

from hypothesis import strategies as st

from rungwise.ladder import GATES, Body, Equipment, Limits, Narrowing, Side
from rungwise.ladder.body import MAT_LAYERS

SIDES = [None, Side.LEFT, Side.RIGHT]
FULL_HOME = Equipment(mat_layers=8, half_foam_whole=True, half_foam_cut=True)
MEAN_MAN = Body(foot_length_mm=271, foot_breadth_mm=102, hip_width_mm=177)
MEAN_WOMAN = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)


@st.composite
def bodies(draw: st.DrawFn) -> Body:
    length = draw(st.integers(170, 340))
    breadth = draw(st.integers(60, min(150, length // 2)))
    hips = draw(st.integers(max(100, breadth), 280))
    return Body(
        foot_length_mm=length,
        foot_breadth_mm=breadth,
        hip_width_mm=hips,
        narrowest_offset_mm=draw(st.none() | st.integers(breadth, hips)),
        big_toe_pain=draw(st.booleans()),
        no_full_weight=draw(st.sampled_from(SIDES)),
        weaker=draw(st.sampled_from(SIDES)),
        ahead_mm=draw(st.integers(30, 200)),
        feet_overlap=draw(st.sampled_from([True, True, True, False])),
    )


def homes() -> st.SearchStrategy[Equipment]:
    return st.tuples(
        st.none() | st.tuples(st.integers(200, 3000), st.integers(200, 3000)),
        st.builds(
            Equipment,
            mat_layers=st.sampled_from(MAT_LAYERS),
            half_foam_whole=st.booleans(),
            half_foam_cut=st.booleans(),
            half_foam_width_mm=st.integers(80, 200),
            half_foam_length_mm=st.integers(300, 1200),
            mat_layer_mm=st.none() | st.integers(2, 30),
            tape=st.booleans(),
        ),
    ).map(lambda both: _with_mat(both[1], both[0]))


def _with_mat(home: Equipment, sides: tuple[int, int] | None) -> Equipment:
    length_mm, width_mm = sides or (None, None)
    return replace(home, mat_length_mm=length_mm, mat_width_mm=width_mm)


def limits() -> st.SearchStrategy[Limits]:
    return st.builds(
        Limits,
        closed_gates=st.frozensets(st.sampled_from(GATES)),
        no_soft_surface=st.booleans(),
        two_hands=st.sampled_from([False, False, True]),
    )


def narrowings() -> st.SearchStrategy[Narrowing]:
    return st.builds(
        Narrowing,
        narrow_mm=st.integers(5, 30),
        one_foot=st.booleans(),
        later_narrow_mm=st.none() | st.integers(5, 30),
    )


def random_body(dice: random.Random) -> Body:
    """As `bodies`, but quick to draw by the thousand."""
    length = dice.randint(170, 340)
    breadth = dice.randint(60, min(150, length // 2))
    hips = dice.randint(max(100, breadth), 280)
    return Body(
        foot_length_mm=length,
        foot_breadth_mm=breadth,
        hip_width_mm=hips,
        narrowest_offset_mm=dice.choice([None, dice.randint(breadth, hips)]),
        big_toe_pain=dice.random() < 0.3,
        no_full_weight=dice.choice(SIDES),
        weaker=dice.choice(SIDES),
        ahead_mm=dice.randint(30, 200),
        feet_overlap=dice.random() < 0.9,
    )


def random_home(dice: random.Random) -> Equipment:
    home = Equipment(
        mat_layers=dice.choice(MAT_LAYERS),
        half_foam_whole=dice.random() < 0.5,
        half_foam_cut=dice.random() < 0.5,
        half_foam_width_mm=dice.randint(80, 200),
        half_foam_length_mm=dice.randint(300, 1200),
        mat_layer_mm=dice.choice([None, dice.randint(2, 30)]),
    )
    sides = (dice.randint(200, 3000), dice.randint(200, 3000))
    return _with_mat(home, dice.choice([None, sides]))


def random_limits(dice: random.Random) -> Limits:
    return Limits(
        closed_gates=frozenset(gate for gate in GATES if dice.random() < 0.7),
        no_soft_surface=dice.random() < 0.3,
        two_hands=dice.random() < 0.2,
    )


def random_narrowing(dice: random.Random) -> Narrowing:
    return Narrowing(
        narrow_mm=dice.randint(5, 30),
        one_foot=dice.random() < 0.3,
        later_narrow_mm=dice.choice([None, dice.randint(5, 30)]),
    )
