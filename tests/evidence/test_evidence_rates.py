"""Rates, intervals and times to landmarks, against statsmodels and published values."""

from math import isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import hypergeom
from statsmodels.duration.survfunc import SurvfuncRight
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from rungwise.errors import ImpossibleValue
from rungwise.evidence.rates import (
    FALLS_PER_1000,
    FALLS_WITH_EXERCISE_PER_1000,
    drawn_by_chance,
    expected_falls,
    poisson_interval,
    rate_per,
    share,
    share_interval,
)
from rungwise.evidence.survival import Curve, curve

# --- falls: Poisson ---------------------------------------------------------------------------


def test_ten_events_as_tables_have_it() -> None:
    # Garwood's exact interval, as widely tabulated: 4.80 to 18.39 (computed with SciPy).
    assert poisson_interval(10) == pytest.approx((4.7954, 18.3904), abs=0.0001)


@pytest.mark.parametrize("events", [0, 1, 2, 3, 10, 57, 400, 20_000])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_exact_poisson_as_statsmodels_has_it(events: int, confidence: float) -> None:
    low, high = confint_poisson(events, 1, method="exact-c", alpha=1 - confidence)
    assert poisson_interval(events, confidence) == pytest.approx((low, high), rel=1e-9)


def test_a_rate_per_100_client_weeks() -> None:
    rate = rate_per(3, 240, 100)
    assert rate is not None
    low, high = confint_poisson(3, 240, method="exact-c")
    assert (rate.value, rate.low, rate.high) == pytest.approx((1.25, 100 * low, 100 * high))
    assert rate_per(0, 0, 100) is None
    none = rate_per(0, 50, 100)
    assert none is not None
    assert none.value == none.low == 0
    assert none.high == pytest.approx(2 * 3.688879, rel=1e-5)
    with pytest.raises(ImpossibleValue):
        poisson_interval(-1)
    with pytest.raises(ImpossibleValue):
        rate_per(1, -1, 100)


# --- shares: Wilson ------------------------------------------------------------------------------

# The first four rows are Newcombe 1998, Stat Med 17:857-872, Table I (as remembered, and computed).
SHARES = [
    (81, 263, (0.2553, 0.3662)),
    (15, 148, (0.0624, 0.1605)),
    (0, 20, (0.0000, 0.1611)),
    (1, 29, (0.0061, 0.1718)),
    (7, 50, (0.0695, 0.2619)),
    (8, 10, (0.4902, 0.9433)),
    (7, 10, (0.3968, 0.8922)),
    (9, 10, (0.5958, 0.9821)),
    (10, 10, (0.7225, 1.0000)),
    (0, 10, (0.0000, 0.2775)),
    (5, 5, (0.5655, 1.0000)),
    (3, 3, (0.4385, 1.0000)),
    (19, 20, (0.7639, 0.9911)),
]


@pytest.mark.parametrize(("hits", "of", "wilson"), SHARES)
def test_shares(hits: int, of: int, wilson: tuple[float, float]) -> None:
    assert share_interval(hits, of) == pytest.approx(wilson, abs=0.00005)


def test_wilson_one_sided() -> None:
    # 8 of 10, one-sided 90% lower limit: the lower end of the two-sided 80% interval (computed).
    assert share_interval(8, 10, confidence=0.8)[0] == pytest.approx(0.6016, abs=0.00005)


@settings(max_examples=60)
@given(st.integers(1, 300).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_shares_as_statsmodels_has_them(case: tuple[int, int]) -> None:
    hits, of = case
    found = share(hits, of)
    assert found is not None
    wilson = proportion_confint(hits, of, method="wilson")
    assert (found.low, found.high) == pytest.approx(wilson, abs=1e-9)


def test_a_share_of_nothing() -> None:
    assert share(0, 0) is None
    for hits, of in ((1, 0), (3, 2), (-1, 5)):
        with pytest.raises(ImpossibleValue):
            share_interval(hits, of)


# --- dose and rates ---------------------------------------------------------------------------


def test_what_exercise_takes_off() -> None:
    # Cochrane 2019 (Sherrington et al., CD012424.pub2), abstract: from 850 to about 655 falls per
    # 1,000 people a year, rate ratio 0.77.
    assert FALLS_WITH_EXERCISE_PER_1000 == 655
    assert pytest.approx(0.77, abs=0.005) == FALLS_WITH_EXERCISE_PER_1000 / FALLS_PER_1000


def test_how_many_falls_to_expect() -> None:
    assert expected_falls(100 * 30) == pytest.approx(6.99, abs=0.005)


# Shares as published: near-falls by text, Singapore 2020; automated calls, Albert 2014.
@pytest.mark.parametrize(
    ("hits", "of", "percent"),
    [(36, 630, 5.71), (1, 630, 0.16), (16, 30, 53.3), (26, 30, 86.7), (10_511, 15_430, 68.1)],
)
def test_published_shares(hits: int, of: int, percent: float) -> None:
    found = share(hits, of)
    assert found is not None
    assert 100 * found.value == pytest.approx(percent, abs=0.05)


# --- time to landmarks: Kaplan-Meier --------------------------------------------------------------

# Remission of 21 children on 6-mercaptopurine (Freireich et al. 1963, Blood 21:699-716), the
# textbooks' example for this estimator; weeks, and whether it ended. From memory.
WEEKS = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
ENDED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
# Left and its log-log interval after each step, as textbooks print them (from memory).
TEXTBOOK = {
    6: (0.857, 0.620, 0.952),
    7: (0.807, 0.563, 0.923),
    10: (0.753, 0.503, 0.889),
    13: (0.690, 0.432, 0.849),
    16: (0.627, 0.368, 0.805),
    22: (0.538, 0.268, 0.747),
    23: (0.448, 0.188, 0.680),
}


def test_the_textbooks_example() -> None:
    found = curve(WEEKS, [bool(one) for one in ENDED])
    shown = {step.day: (step.share_left, step.low, step.high) for step in found.steps}
    assert shown.keys() == TEXTBOOK.keys()
    for day, expected in TEXTBOOK.items():
        assert shown[day] == pytest.approx(expected, abs=0.0005), day
    assert [step.under_way for step in found.steps] == [21, 17, 15, 12, 11, 7, 6]
    assert (found.people, found.reached, found.longest_day) == (21, 9, 35)
    assert found.median_day == 23
    assert found.share_reached_by(15) == pytest.approx(1 - 0.6902, abs=0.0001)
    assert found.share_reached_by(1) == 0


def by_statsmodels(days: list[int], reached: list[bool]) -> list[tuple[float, float, float, float]]:
    """Day, share left and its log-log limits from statsmodels' estimate and Greenwood error."""
    found = SurvfuncRight(np.array(days, float), np.array(reached, float))
    rows = []
    steps = zip(found.surv_times, found.n_events, found.surv_prob, found.surv_prob_se, strict=True)
    for day, events, left, error in steps:
        if not events:
            continue
        low = high = float("nan")
        if 0 < left < 1:
            reach = 1.959963984540054 * error / (left * np.log(left))
            low, high = sorted((left ** np.exp(reach), left ** np.exp(-reach)))
        rows.append((day, left, low, high))
    return rows


PEOPLE = st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=40)


@settings(max_examples=120)
@given(PEOPLE)
def test_kaplan_meier_as_statsmodels_has_it(people: list[tuple[int, bool]]) -> None:
    days, reached = [day for day, _ in people], [event for _, event in people]
    mine = curve(days, reached).steps
    with np.errstate(all="ignore"):
        theirs = by_statsmodels(days, reached) if any(reached) else []
    assert [step.day for step in mine] == [row[0] for row in theirs]
    for step, (_, left, low, high) in zip(mine, theirs, strict=True):
        assert step.share_left == pytest.approx(left, abs=1e-12)
        if isnan(low):
            assert step.low is None or step.share_left in (0, 1)
        else:
            assert (step.low, step.high) == pytest.approx((low, high), abs=1e-9)


@given(PEOPLE, st.integers(0, 60))
def test_someone_still_under_way_after_the_last_never_changes_when_it_was_reached(
    people: list[tuple[int, bool]], more: int
) -> None:
    days, reached = [day for day, _ in people], [event for _, event in people]
    before = curve(days, reached)
    after = curve([*days, 100 + more], [*reached, False])
    assert [step.day for step in after.steps] == [step.day for step in before.steps]
    for one, other in zip(before.steps, after.steps, strict=True):
        assert other.share_left >= one.share_left - 1e-12


def test_the_edges() -> None:
    assert curve([], []) == Curve(0, 0, (), 0)
    nobody = curve([5, 9], [False, False])
    assert (nobody.reached, nobody.steps, nobody.median_day) == (0, (), None)
    everybody = curve([5, 9], [True, True])
    assert everybody.steps[-1].share_left == 0
    assert everybody.steps[-1].low is None
    with pytest.raises(ImpossibleValue):
        curve([1], [])
    with pytest.raises(ImpossibleValue):
        curve([-1], [True])


# --- blind draws ------------------------------------------------------------------------------


@given(st.data())
def test_blind_draws_as_scipy_has_them(data: st.DataObject) -> None:
    of = data.draw(st.integers(1, 300))
    marked, drawn = data.draw(st.integers(0, of)), data.draw(st.integers(0, of))
    low, high = drawn_by_chance(of, marked, drawn)
    chance = hypergeom(of, marked, drawn)
    # By its sums, for its quantiles stumble where a sum is exactly 2.5%.
    assert chance.cdf(low) >= 0.025 - 1e-9
    assert chance.cdf(low - 1) < 0.025 + 1e-9
    assert chance.cdf(high) >= 0.975 - 1e-9
    assert chance.cdf(high - 1) < 0.975 + 1e-9


def test_more_than_there_are_cannot_be_drawn() -> None:
    assert drawn_by_chance(0, 0, 0) == (0, 0)
    with pytest.raises(ImpossibleValue):
        drawn_by_chance(3, 1, 4)
