"""Rule version 2's second opinion, held against a general library of adaptive testing."""

from datetime import date, timedelta

import numpy as np
import pytest
from catsim import irt
from hypothesis import given, settings
from hypothesis import strategies as st
from rule_trial import OWN

from rungwise.ladder.belief import (
    CELL,
    FAILED_TOLD_STEADY,
    GRID,
    STEADY_TOLD_FAILED,
    Belief,
    belief_from,
    footing,
    placement_prior,
    planned_gap,
)
from rungwise.ladder.moves import Plan
from rungwise.ladder.stance import Support

HOVER = [rung for rung in OWN.rungs if rung.support is Support.HOVER and rung.round == "firm"]
HELD = next(rung for rung in OWN.rungs if rung.support is Support.TWO_HANDS)


def items(rungs: list) -> np.ndarray:
    """The rungs as items of the library: the four-parameter logistic curve is our curve."""
    hard = [round(footing(rung) / CELL) * CELL for rung in rungs]
    count = len(rungs)
    guess, slip = FAILED_TOLD_STEADY, 1 - STEADY_TOLD_FAILED
    return np.column_stack([np.ones(count), hard, np.full(count, guess), np.full(count, slip)])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(HOVER) - 1), st.booleans()), min_size=1, max_size=60))
def test_the_posterior_is_the_librarys_likelihood_times_the_prior(answers: list) -> None:
    """catsim 0.21: irt.log_likelihood of the four-parameter model, on the same answers."""
    known = Belief(HOVER[20])
    for place, steady in answers:
        known.told(HOVER[place], steady)
    ours = known.weights.sum(axis=0)
    bank = items([HOVER[place] for place, _ in answers])
    told = [steady for _, steady in answers]
    theirs = np.array([irt.log_likelihood(float(ability), told, bank) for ability in GRID])
    expected = placement_prior(HOVER[20]).sum(axis=0) * np.exp(theirs - theirs.max())
    assert ours / ours.sum() == pytest.approx(expected / expected.sum(), abs=1e-6)


def test_the_chance_is_the_librarys_curve_at_the_quantile() -> None:
    known = Belief(HOVER[10])
    for steady in (True, True, False, True):
        known.told(HOVER[12], steady)
    for quantile in (0.13, 0.25, 0.5):
        chances = known.chances(quantile)
        ability = chances.ability[0.0]
        below = known.weights.sum(axis=0)[ability + CELL / 2 > GRID].sum()
        assert below / known.weights.sum() == pytest.approx(quantile, abs=0.05)
        for rung in HOVER[::7]:
            theirs = irt.icc(ability, 1.0, footing(rung))
            assert chances.on(rung) == pytest.approx(theirs, abs=1e-9)


def test_the_furthest_likely_rung_is_the_one_the_library_would_allow() -> None:
    """The adaptive step: the hardest item whose curve is at least 0.6 at the lower quantile."""
    known = Belief(HOVER[5])
    for _ in range(3):
        known.told(HOVER[5], True)
    chances = known.chances(0.25)
    ours = max(place for place, rung in enumerate(HOVER) if chances.on(rung) >= 0.6)
    theirs = max(
        place
        for place, rung in enumerate(HOVER)
        if irt.icc(chances.ability[0.0], 1.0, footing(rung)) >= 0.6
    )
    assert ours == theirs


def test_the_prior_is_wide_about_what_hands_are_worth_and_days_narrow_it() -> None:
    known = Belief(HELD)
    before = known.weights.sum(axis=1) / known.weights.sum()
    bare = next(rung for rung in HOVER if footing(rung) >= footing(HELD) - 1)
    for _ in range(8):
        known.told(HELD, True)
        known.told(bare, False)
    after = known.weights.sum(axis=1) / known.weights.sum()
    assert min(before) >= 0.04
    assert after[-2:].sum() > before[-2:].sum()  # hands are worth more than was thought


def test_drift_spreads_and_keeps_the_mean() -> None:
    known = Belief(HOVER[20])
    weights = known.weights.sum(axis=0)
    mean, variance = _moments(weights)
    known.pass_days(100, 0)
    known.settle()
    later_mean, later_variance = _moments(known.weights.sum(axis=0))
    assert later_mean == pytest.approx(mean, abs=0.02)
    assert later_variance - variance == pytest.approx(100 * 0.005, rel=0.1)


def _moments(weights: np.ndarray) -> tuple[float, float]:
    share = weights / weights.sum()
    mean = float(share @ GRID)
    return mean, float(share @ (GRID - mean) ** 2)


def test_days_past_the_plans_own_gap_cost_a_little() -> None:
    once, late = Belief(HOVER[20]), Belief(HOVER[20])
    once.pass_days(7, 0)
    late.pass_days(28, 21)
    assert late.chances(0.5).on(HOVER[20]) < once.chances(0.5).on(HOVER[20])
    assert planned_gap(frozenset({0})) == 7
    assert planned_gap(frozenset({0, 2, 4})) == 3
    assert planned_gap(frozenset(range(7))) == 1


def test_before_any_report_the_placement_speaks() -> None:
    day = date(2026, 1, 5)
    known = belief_from(OWN, Plan(rule_version=2), [], 20, day + timedelta(days=3))
    assert 0.7 < known.chances(0.5).on(OWN.rungs[20]) < 0.9
