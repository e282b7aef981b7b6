"""Falls as research counts them, against statsmodels on open data."""

import warnings
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.datasets import heart, randhie
from statsmodels.discrete.discrete_model import NegativeBinomial
from statsmodels.duration.survfunc import SurvfuncRight

from rungwise.errors import ImpossibleValue
from rungwise.evidence.falls import (
    FallEvent,
    FallTold,
    Followed,
    events_of,
    falls_found,
    rate_of,
)
from rungwise.evidence.falls_followed import Asked, follow
from rungwise.evidence.rates import rate_per
from rungwise.evidence.survival import curve

SUNDAY = date(2026, 3, 1)


def on(
    days: int, *, back: bool = False, again: bool = False, injured: bool | None = None
) -> FallTold:
    day = SUNDAY + timedelta(days=days)
    return FallTold(day, day, back, again, injured)


# --- one fall is one fall -------------------------------------------------------------------------


def test_a_fall_told_twice_is_one() -> None:
    # "Fell" on Sunday; on Monday "bruised from when I fell yesterday".
    assert events_of([on(0), on(1, back=True, injured=True)]) == (
        FallEvent(SUNDAY, SUNDAY, 2, True),
    )
    assert len(events_of([on(0), on(0)])) == 1
    assert len(events_of([on(0), on(1)])) == 2
    assert len(events_of([on(0), on(8, back=True)])) == 2
    assert len(events_of([on(3, back=True)])) == 1


def test_a_text_at_night_joins_the_day_on_either_side() -> None:
    at_night = FallTold(SUNDAY - timedelta(days=1), SUNDAY + timedelta(days=1))
    assert events_of([at_night])[0].day == SUNDAY
    for days in (-1, 0, 1):
        (event,) = events_of([on(days), at_night])
        assert event.day == SUNDAY + timedelta(days=days)
    assert len(events_of([on(2), at_night])) == 2


def test_two_falls_in_a_day_can_be_two() -> None:
    assert len(events_of([on(0), on(0, again=True)])) == 2
    # What is told after "again" belongs to the later one.
    told = [on(0), on(0, again=True), on(1, back=True)]
    assert [one.tellings for one in events_of(told)] == [1, 2]


def test_a_weeks_answer_joins_the_weeks_fall_and_keeps_its_day() -> None:
    week = FallTold(SUNDAY - timedelta(days=6), SUNDAY)
    told = on(-3)
    for order in ([told, week], [week, told]):
        (event,) = events_of(order)
        assert (event.first, event.last, event.tellings) == (told.first, told.last, 2)
    assert events_of([week])[0].first == week.first


def test_an_injury_once_told_stays() -> None:
    (event,) = events_of([on(0, injured=True), on(0, injured=False)])
    assert event.injured is True
    (event,) = events_of([on(0), on(0, injured=False)])
    assert event.injured is False


@given(
    st.lists(
        st.builds(on, st.integers(0, 30), back=st.booleans(), again=st.booleans()), max_size=12
    )
)
def test_every_telling_is_in_one_event(told: list[FallTold]) -> None:
    events = events_of(told)
    assert sum(event.tellings for event in events) == len(told)
    assert len(events) >= sum(one.again for one in told)
    if told:
        assert 1 <= len(events) <= len(told)


# --- rates ----------------------------------------------------------------------------------------


def by_statsmodels(y: np.ndarray, t: np.ndarray) -> tuple[float, float, float, float]:
    model = NegativeBinomial(y, np.ones((len(y), 1)), exposure=t)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = model.fit(disp=0, maxiter=500, method="bfgs", gtol=1e-8)
        if not fitted.mle_retvals["converged"]:
            fitted = model.fit(disp=0, maxiter=5000, method="nm", xtol=1e-9, ftol=1e-12)
    assert fitted.mle_retvals["converged"]
    low, high = np.exp(fitted.conf_int()[0])
    return float(np.exp(fitted.params[0])), float(low), float(high), float(fitted.params[1])


def test_rates_as_statsmodels_has_them_on_doctor_visits() -> None:
    # Visits in a year, RAND Health Insurance Experiment: open data with statsmodels. The exposure
    # is made up, so that it differs between people.
    y = randhie.load_pandas().data["mdvis"].to_numpy()[:1500].astype(int)
    t = 0.3 + 0.1 * (np.arange(len(y)) % 12)
    found, spread = rate_of(y.tolist(), t.tolist())
    assert found is not None
    rate, low, high, alpha = by_statsmodels(y, t)
    assert spread == pytest.approx(alpha, rel=1e-3)
    assert (found.value, found.low, found.high) == pytest.approx((rate, low, high), rel=1e-3)
    poisson = rate_per(int(y.sum()), float(t.sum()), 1.0)
    assert poisson is not None
    assert found.high - found.low > 3 * (poisson.high - poisson.low)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.3, 3.0), st.integers(25, 80))
def test_rates_as_statsmodels_has_them_on_made_up_falls(
    seed: int, clustering: float, people: int
) -> None:
    luck = np.random.default_rng(seed)
    t = luck.uniform(0.3, 1.5, people)
    y = luck.poisson(t * luck.gamma(1 / clustering, clustering * 1.5, people))
    found, spread = rate_of(y.tolist(), t.tolist())
    assert found is not None
    if spread is None or not 0.05 < spread < 20:
        return
    rate, low, high, alpha = by_statsmodels(y, t)
    assert (found.value, found.low, found.high) == pytest.approx((rate, low, high), rel=2e-3)
    assert spread == pytest.approx(alpha, rel=1e-2)


def test_falls_no_more_clustered_than_poissons_have_the_exact_interval() -> None:
    found, spread = rate_of([1, 0, 1, 0, 1, 1, 0, 1], [1.0] * 8)
    assert spread is None
    assert found == rate_per(5, 8.0, 1.0)
    none, _ = rate_of([0, 0], [1.0, 2.0])
    assert none is not None
    assert none.value == 0
    assert rate_of([], []) == (None, None)


@pytest.mark.parametrize(("counts", "years"), [([1], []), ([1], [0.0]), ([-1], [1.0])])
def test_what_cannot_be_is_refused(counts: list[int], years: list[float]) -> None:
    with pytest.raises(ImpossibleValue):
        rate_of(counts, years)


# --- time to the first ----------------------------------------------------------------------------


def test_the_medians_interval_as_statsmodels_has_it_on_heart_transplants() -> None:
    # Survival after transplants at Stanford (Miller & Halpern 1982): open data with statsmodels.
    data = heart.load_pandas().data
    days, died = data["survival"].to_numpy(), data["censors"].to_numpy().astype(bool)
    found = curve(days.tolist(), died.tolist())
    theirs = SurvfuncRight(days, died.astype(int))
    assert found.median_day == theirs.quantile(0.5)
    low, high = theirs.quantile_ci(0.5, method="cloglog")
    assert found.median_interval == pytest.approx((low, high))


def test_a_median_that_was_not_reached() -> None:
    found = curve([10.0, 20.0, 30.0, 30.0, 30.0], [True, False, False, False, False])
    assert found.median_day is None
    assert found.median_interval[1] is None


# --- the figures together -------------------------------------------------------------------------


def followed(
    falls: Sequence[FallTold],
    answered: int,
    missing: int,
    days: float,
    elsewhere: Sequence[FallTold] = (),
) -> Followed:
    return Followed(events_of(falls), answered, missing, days, events_of(elsewhere))


def test_the_figures_of_a_small_practice() -> None:
    found = falls_found(
        [
            followed([], 364, 0, 364),
            followed([on(0, injured=True), on(20), on(40)], 280, 84, 0),
            followed([on(9)], 182, 182, 9, [on(30)]),
            followed([], 0, 56, 56),
        ]
    )
    assert (found.people, found.falls, found.fallers, found.repeat_fallers) == (3, 4, 2, 1)
    assert (found.injurious, found.injury_unknown, found.days_missing) == (1, 3, 322)
    assert (found.while_practising, found.place_unknown, found.elsewhere) == (0, 4, 1)
    assert found.person_years == pytest.approx(826 / 365.25)
    assert found.per_person_year is not None
    assert found.per_person_year.low < found.per_person_year.value < found.per_person_year.high
    assert (found.first_fall.people, found.first_fall.reached) == (3, 2)
    assert found.first_fall.median_day == 9
    nobody = falls_found([])
    assert nobody.per_person_year is None
    assert nobody.falls == 0


# --- days answered for ----------------------------------------------------------------------------


def week(number: int, *, answered: bool = True) -> Asked:
    last = SUNDAY + timedelta(weeks=number)
    return Asked(last - timedelta(days=7), last, answered)


def one_fall(day: int) -> tuple[FallEvent, ...]:
    return events_of([on(day)])


def test_weeks_answered_are_the_exposure_and_others_stay_missing() -> None:
    asked = [week(1), week(2, answered=False), week(3)]
    found = follow([], asked, SUNDAY + timedelta(days=1), SUNDAY + timedelta(days=29))
    assert (found.days_answered, found.days_missing) == (14, 14)
    assert found.days_to_first == 28


def test_what_was_answered_before_or_after_the_time_looked_at_is_not_in_it() -> None:
    found = follow([], [week(1), week(2)], SUNDAY + timedelta(days=4), SUNDAY + timedelta(days=10))
    assert (found.days_answered, found.days_missing) == (6, 0)


def test_a_fall_told_by_itself_stands_for_its_week_after_an_answer() -> None:
    first, end = SUNDAY + timedelta(days=1), SUNDAY + timedelta(days=29)
    answered = follow(one_fall(10), [week(1)], first, end)
    assert (len(answered.falls), answered.days_answered) == (1, 14)
    assert answered.days_to_first == 9
    # Who does not answer would not have been counted without the fall either.
    unanswered = follow(one_fall(10), [week(1, answered=False)], first, end)
    assert (unanswered.falls, unanswered.days_answered) == ((), 0)
    assert len(unanswered.elsewhere) == 1
    long_ago = follow(one_fall(40), [week(1)], first, first + timedelta(days=60))
    assert len(long_ago.elsewhere) == 1


def test_who_rests_after_a_fall_biases_no_rate() -> None:
    """Over many made-up clients who answer three of four weeks, the rate is the true one."""
    luck = np.random.default_rng(20261)
    rate_a_week, weeks, clients = 0.02, 40, 3000
    followed_: list[Followed] = []
    for _ in range(clients):
        asked, falls, resting = [], [], 0
        for number in range(1, weeks + 1):
            fell = luck.random() < rate_a_week
            if fell:
                falls += one_fall(7 * number - int(luck.integers(0, 7)))
                resting = 2
            if resting:
                resting -= 1  # not asked at all
            else:
                asked.append(week(number, answered=bool(luck.random() < 0.75)))
        end = SUNDAY + timedelta(days=7 * weeks + 1)
        followed_.append(follow(falls, asked, SUNDAY + timedelta(days=1), end))
    found = falls_found(followed_).per_person_year
    assert found is not None
    truth = rate_a_week * 365.25 / 7
    assert found.value == pytest.approx(truth, rel=0.06)
    assert found.low < truth < found.high


@given(
    st.lists(st.integers(0, 80), max_size=4),
    st.lists(st.tuples(st.integers(1, 10), st.booleans()), max_size=8),
    st.integers(0, 40),
    st.integers(1, 40),
)
def test_every_fall_of_the_time_is_counted_once_and_every_day(
    fell: list[int], asked: list[tuple[int, bool]], begins: int, length: int
) -> None:
    first, end = SUNDAY + timedelta(days=begins), SUNDAY + timedelta(days=begins + length)
    events = events_of([on(day) for day in fell])
    found = follow(events, [week(n, answered=yes) for n, yes in asked], first, end)
    inside = [event for event in events if first <= event.day < end]
    assert sorted((*found.falls, *found.elsewhere), key=lambda one: one.first) == inside
    assert found.days_answered + found.days_missing == length
    assert bool(found.falls) <= (found.days_answered > 0)
