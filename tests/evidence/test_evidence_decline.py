"""The filter of decline: against exact integration, and on virtual clients of known courses."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.stats import binomtest
from virtual_courses import EVERY_DAY, STABLE, Way, at_once, live, never, weekly

from rungwise.evidence.decline import (
    BAD_DAY_CHANCE,
    BAD_DAY_DROP,
    COURSES,
    LOST_AT_ONCE_SD,
    TOLD_BETTER,
    TOLD_WORSE,
    DayTried,
    Standing,
    flagged,
    standings,
    standings_of,
    weaker_side,
)
from rungwise.ladder.estimate import START_CHANCE_LOGIT, START_VARIANCE
from rungwise.ladder.stance import Side

FIRST = date(2026, 1, 5)
HELD, MISSED, UNKNOWN = (1, 0), (0, 1), (0, 0)


def days(outcomes: Sequence[str], every: int = 2, hard: float = 3.0) -> list[DayTried]:
    """One day an outcome: h held on both sides, l and r missed on one, e on either, b on both."""
    made = []
    for number, word in enumerate(outcomes):
        left = MISSED if word in "lb" else UNKNOWN if word == "e" else HELD
        right = MISSED if word in "rb" else UNKNOWN if word == "e" else HELD
        day = FIRST + timedelta(days=every * number)
        made.append(DayTried(day, hard, left, right, int(word == "e")))
    return made


# --- one day against exact integration ------------------------------------------------------------


def exactly(tried: DayTried, mean: float, variance: float) -> float:
    """A day's chance for independent Gaussian abilities of both sides, by SciPy's quadrature."""

    def steady(ability: float, drop: float) -> float:
        held = 1 / (1 + np.exp(tried.hard + drop - ability))
        return TOLD_BETTER + (1 - TOLD_BETTER - TOLD_WORSE) * held

    def density(ability: float) -> float:
        return float(
            np.exp(-((ability - mean) ** 2) / (2 * variance)) / np.sqrt(2 * np.pi * variance)
        )

    def day(left: float, right: float, drop: float) -> float:
        p, q = steady(left, drop), steady(right, drop)
        found = (1 - p * q) ** tried.one_missed
        found *= p ** tried.left[0] * (1 - p) ** tried.left[1]
        return float(found * q ** tried.right[0] * (1 - q) ** tried.right[1])

    def both(left: float, right: float) -> float:
        mixed = (1 - BAD_DAY_CHANCE) * day(left, right, 0.0)
        mixed += BAD_DAY_CHANCE * day(left, right, BAD_DAY_DROP)
        return mixed * density(left) * density(right)

    reach = 6 * np.sqrt(variance)
    low, high = mean - reach, mean + reach
    return float(dblquad(both, low, high, low, high, epsabs=1e-9)[0])


@pytest.mark.parametrize("word", ["h", "l", "b", "e"])
def test_a_first_week_is_weighed_as_exact_integration_has_it(word: str) -> None:
    # The day of the start has no time behind it, so the second day's weights are the prior's by
    # the chance of its outcome. Its prior moments are those before a first day without news.
    start = DayTried(FIRST, 3.0)
    after = standings([start, DayTried(FIRST + timedelta(days=7), 3.0, *outcome(word))])
    drift = START_VARIANCE + 0.01
    mean = 3.0 + START_CHANCE_LOGIT
    weights = [
        (0.8, mean, drift),
        (0.2, mean + 0.15, drift),
    ]
    still = 0.8 * (1 - 0.02) + 0.2 * 0.02
    weights = [(still, mean + 0.15 * 0.2 * 0.02 / still, drift), (1 - still, mean + 0.15, drift)]
    base = sum(w * m for w, m, _ in weights)
    begun = sum(course.chance_week for course in COURSES)
    down = 0.0
    for course in COURSES:
        spread = LOST_AT_ONCE_SD**2 if course.lost_at_once else 0.0
        tried = DayTried(FIRST, 3.0, *outcome(word))
        down += course.chance_week * exactly(tried, base + course.lost_at_once, drift + spread)
    tried = DayTried(FIRST, 3.0, *outcome(word))
    up = sum((1 - begun) * w * exactly(tried, m, v) for w, m, v in weights)
    assert after[1].chance == pytest.approx(down / (down + up), rel=0.02)


def outcome(word: str) -> tuple[tuple[int, int], tuple[int, int], int]:
    (one,) = days(word)
    return one.left, one.right, one.one_missed


# --- laws -----------------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(st.lists(st.text("hlrbe", min_size=1, max_size=25), min_size=1, max_size=4))
def test_one_client_is_judged_the_same_alone_and_among_others(told: list[str]) -> None:
    clients = [days(word) for word in told]
    together = standings_of(clients)
    for client, found in zip(clients, together, strict=True):
        alone = standings(client)
        assert [one.day for one in alone] == [one.day for one in client]
        assert [one.chance for one in alone] == pytest.approx([one.chance for one in found])
        assert all(0 <= one.chance <= 1 and FIRST <= one.since <= one.day for one in alone)


def test_nobody_and_nothing() -> None:
    assert standings_of([]) == []
    assert standings_of([[], days("h")])[0] == ()
    assert flagged(()) == ()


def test_days_of_illness_say_nothing() -> None:
    well = days("hhlhhhhh")
    ill = [DayTried(one.day + timedelta(days=1), 3.0, MISSED, MISSED, unwell=True) for one in well]
    mixed = sorted([*well, *ill], key=lambda one: one.day)
    assert standings(mixed) == standings(well)


def test_days_away_are_no_decline() -> None:
    steady = days("hhhlhhhhhhhh")

    def back(gap: int) -> float:
        first = steady[-1].day + timedelta(days=gap)
        missed = [DayTried(first + timedelta(days=2 * n), 3.0, MISSED, MISSED) for n in range(3)]
        return standings([*steady, *missed])[-1].chance

    # The same three days without an absence weigh far more.
    assert back(21) < 0.6 * back(2)
    assert back(60) <= back(21)


def test_an_easier_rung_is_no_decline_and_a_harder_one_is_expected_to_be_missed() -> None:
    steady = days("hhlhhhhhlhhh")
    day = steady[-1].day
    harder = [DayTried(day + timedelta(days=2 * n), 5.5, MISSED, MISSED) for n in (1, 2, 3)]
    same = [DayTried(day + timedelta(days=2 * n), 3.0, MISSED, MISSED) for n in (1, 2, 3)]
    assert standings([*steady, *same])[-1].chance > standings([*steady, *harder])[-1].chance
    assert not flagged(standings([*steady, *harder]))


def test_a_flag_stands_for_four_weeks() -> None:
    after = [Standing(FIRST + timedelta(days=n), 0.9, "drop", FIRST) for n in range(60)]
    assert [(one.day - FIRST).days for one in flagged(after)] == [0, 28, 56]


# --- the side -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "side"),
    [
        ("lllll", Side.LEFT),
        ("llll", None),
        ("rrrrrrlr", Side.RIGHT),
        ("rlrrlrr", None),
        ("hhee", None),
    ],
)
def test_a_side_is_named_by_the_sign_test(told: str, side: Side | None) -> None:
    tried = days(told)
    assert weaker_side(tried, FIRST, tried[-1].day) is side
    missed = [told.count("l"), told.count("r")]
    if sum(missed):
        tail = binomtest(max(missed), sum(missed), 0.5, alternative="greater").pvalue
        assert bool(tail <= 0.05) is (side is not None)


# --- virtual clients ------------------------------------------------------------------------------


def test_virtual_clients_are_told_apart() -> None:
    # 24 of each kind; flag_trial.py has the whole table.
    losing = {
        "at once": (at_once(3.0, 84), 28),
        "0.6 a week": (weekly(0.6, 84), 56),
        "0.15 a week": (weekly(0.15, 84), 140),
    }
    for name, (lost, wait) in losing.items():
        lived = live(Way(EVERY_DAY), lambda _, lost=lost: lost, clients=24, days=84 + wait, seed=31)
        told = [
            any(one.day >= date(2026, 3, 26) for one in flagged(after))
            for after in standings_of([one.days for one in lived])
        ]
        assert sum(told) >= 21, name
    stable = live(Way(EVERY_DAY, world=STABLE), lambda _: never, clients=24, days=182, seed=32)
    false = sum(len(flagged(after)) for after in standings_of([one.days for one in stable]))
    # 2 per 100 client-weeks are 12.5 in these 624; over 24 has a chance under 0.2% by Poisson.
    assert false <= 24
