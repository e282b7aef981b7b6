"""Falls as research counts them, against statsmodels on open data."""

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
    WEEKS_A_YEAR,
    FallEvent,
    FallTold,
    Followed,
    events_of,
    falls_found,
    rate_of,
)
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
    fitted = model.fit(disp=0, maxiter=500, method="bfgs", gtol=1e-8)
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


def followed(falls: Sequence[FallTold], answered: int, missing: int, days: float) -> Followed:
    return Followed(events_of(falls), answered, missing, days)


def test_the_figures_of_a_small_practice() -> None:
    found = falls_found(
        [
            followed([], 52, 0, 364),
            followed([on(0, injured=True), on(20), on(40)], 40, 12, 0),
            followed([on(9)], 26, 26, 9),
            followed([], 0, 8, 56),
        ]
    )
    assert (found.people, found.falls, found.fallers, found.repeat_fallers) == (3, 4, 2, 1)
    assert (found.injurious, found.weeks_missing) == (1, 46)
    assert (found.while_practising, found.place_unknown) == (0, 4)
    assert found.person_years == pytest.approx(118 / WEEKS_A_YEAR)
    assert found.per_person_year is not None
    assert found.per_person_year.low < found.per_person_year.value < found.per_person_year.high
    assert (found.first_fall.people, found.first_fall.reached) == (3, 2)
    assert found.first_fall.median_day == 9
    nobody = falls_found([])
    assert nobody.per_person_year is None
    assert nobody.falls == 0
