"""Two settings compared: the lot, and Welch's test against SciPy."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, t, ttest_ind

from rungwise.errors import ImpossibleValue
from rungwise.evidence.comparison import (
    BLOCKS,
    Compared,
    DayFollowed,
    Protocol,
    compare,
    days_followed,
    falls_apart,
    lot,
    outcome_of,
    tail,
    welch,
)

# --- the lot --------------------------------------------------------------------------------------


@given(st.text(max_size=20), st.integers(0, 60))
def test_a_lot_is_the_same_for_ever_and_the_arms_never_drift_apart(seed: str, count: int) -> None:
    lots = [lot(seed, place) for place in range(count)]
    assert lots == [lot(seed, place) for place in range(count)]
    for upto in range(count + 1):
        assert abs(2 * sum(lots[:upto]) - upto) <= max(BLOCKS) / 2


def test_the_lots_of_a_seed_stay_what_they_were() -> None:
    # Kept from the first version: a comparison under way must be drawn on from its seed.
    assert "".join(str(lot("seed", place)) for place in range(24)) == "100110100101011010011010"


def test_lots_are_fair_and_hard_to_tell_beforehand() -> None:
    first = Counter(lot(f"seed {n}", 0) for n in range(2000))
    assert binomtest(first[0], 2000).pvalue > 0.001
    # Whoever guesses the arm that has had fewer is right more often than by a coin, but not surely.
    right = drawn = 0
    for n in range(200):
        lots = [lot(f"guess {n}", place) for place in range(20)]
        for place in range(20):
            ahead = 2 * sum(lots[:place]) - place
            drawn += ahead != 0
            right += ahead != 0 and lots[place] == (ahead < 0)
    assert right / drawn < 0.85


def test_a_place_before_the_first_cannot_be() -> None:
    with pytest.raises(ImpossibleValue):
        lot("seed", -1)


# --- Welch ----------------------------------------------------------------------------------------

COUNTS, SPREADS = st.integers(2, 40), st.sampled_from((0.1, 1.0, 10.0))


@given(st.integers(0, 10**6), COUNTS, COUNTS, SPREADS, SPREADS)
def test_the_difference_is_what_scipy_has(
    seed: int, count: int, more: int, spread: float, other: float
) -> None:
    luck = np.random.default_rng(seed)
    first = luck.normal(0, spread, count).tolist()
    second = luck.normal(1, other, more).tolist()
    found, p_value = welch(first, second)
    known = ttest_ind(second, first, equal_var=False)
    low, high = known.confidence_interval(0.95)
    assert found is not None
    assert found.value == pytest.approx(np.mean(second) - np.mean(first), abs=1e-9)
    assert (found.low, found.high) == pytest.approx((low, high), abs=1e-5 * (high - low))
    assert p_value == pytest.approx(known.pvalue, abs=1e-6)


@pytest.mark.parametrize("free", [1, 1.05, 1.5, 2, 3.7, 10, 30, 31, 120, 398])
@pytest.mark.parametrize("over", [0, 0.3, 1, 2, 4, 12])
def test_the_tail_of_students_t_is_what_scipy_has(free: float, over: float) -> None:
    assert tail(over, free) == pytest.approx(t.sf(over, free), rel=1e-8, abs=1e-15)


@pytest.mark.parametrize(
    ("first", "second"), [([], [1.0, 2.0]), ([1.0], [1.0, 2.0]), ([1.0] * 3, [2.0] * 3)]
)
def test_too_little_for_an_interval(first: list[float], second: list[float]) -> None:
    assert welch(first, second) == (None, None)


# --- outcomes -------------------------------------------------------------------------------------


def test_the_days_that_count_and_what_each_outcome_makes_of_them() -> None:
    sessions = [
        (1, True, True),
        (2, True, False),
        (3, True, True),
        (4, False, True),
        (9, True, True),
    ]
    told = [
        (1, 1.0, "steady"),
        (3, 1.5, "wobbly"),
        (4, 2.25, "steady"),
        (2, 1.0, "skipped"),
        (9, 9.0, "steady"),
    ]
    days = days_followed(sessions, told, 1, 5)
    assert len(days) == 4
    assert outcome_of(days, "practised") == pytest.approx(2 / 3)
    assert outcome_of(days, "steady") == pytest.approx(2 / 3)
    assert outcome_of(days, "gain") == pytest.approx(1.25)


@pytest.mark.parametrize("outcome", ["gain", "practised", "steady"])
def test_nothing_told_is_no_figure(outcome: str) -> None:
    assert outcome_of([], outcome) is None
    assert outcome_of([DayFollowed()], outcome) is None


def test_everybody_counts_in_the_arm_drawn_and_without_a_figure_is_counted() -> None:
    def one(arm: str, gain: float | None, fell: bool = False) -> Compared:
        days = [] if gain is None else [DayFollowed(difficulty=0.0), DayFollowed(difficulty=gain)]
        return Compared(arm, days, fell)

    clients = [one("gentle", 1.0), one("gentle", 2.0), one("gentle", None, fell=True)]
    clients += [one("usual", 2.0), one("usual", 4.0)]
    found = compare(("gentle", "usual"), clients, "gain")
    assert [(a.clients, a.missing, a.fell, a.mean) for a in found.arms] == [
        (3, 1, 1, 1.5),
        (2, 0, 0, 3.0),
    ]
    assert found.difference is not None
    assert found.difference.value == pytest.approx(1.5)
    assert falls_apart(("gentle", "usual"), clients) == 1


@pytest.mark.parametrize(
    "wrong",
    [{"second": "gentle"}, {"outcome": "mood"}, {"days": 7}, {"clients": 4}, {"falls_apart": 1}],
)
def test_what_cannot_be_written_down(wrong: dict[str, object]) -> None:
    given_words = {"first": "gentle", "second": "usual", "outcome": "gain"}
    with pytest.raises(ImpossibleValue):
        Protocol(**{**given_words, "days": 84, "clients": 40, "falls_apart": 4, **wrong})


def test_any_change_of_what_is_locked_changes_its_mark() -> None:
    marks = {
        Protocol("gentle", "usual", outcome, days, 40, 4).mark
        for outcome in ("gain", "steady")
        for days in (28, 84)
    }
    assert len(marks) == 4
