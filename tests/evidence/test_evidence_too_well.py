"""Results told too well, and plateaus: against exact sums, and on virtual clients."""

from datetime import date, timedelta
from math import exp, log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from virtual_courses import EVERY_DAY, Way, live, never

from rungwise.evidence.decline import BAD_DAY_CHANCE, BAD_DAY_DROP, TOLD_BETTER, TOLD_WORSE
from rungwise.evidence.plateau import WINDOW_DAYS, DayOnPath, plateau
from rungwise.evidence.told_too_well import (
    FIBS_STEADY,
    FLAG_EVIDENCE,
    GAIN_DAY,
    START_VARIANCE,
    DayHeard,
    doubts,
    first_flag,
    told_of,
)
from rungwise.ladder.estimate import START_CHANCE_LOGIT

FIRST = date(2026, 5, 4)


def heard(told: str, hard: float = 3.0, climb: float = 0.0) -> list[DayHeard]:
    return [
        DayHeard(FIRST + timedelta(days=n), hard + climb * n, word == "s")
        for n, word in enumerate(told)
    ]


def test_a_first_steady_day_weighs_as_exact_integration_has_it() -> None:
    mean = 3.0 + START_CHANCE_LOGIT + GAIN_DAY

    def told(ability: float) -> float:
        held = (1 - BAD_DAY_CHANCE) / (1 + exp(3.0 - ability))
        held += BAD_DAY_CHANCE / (1 + exp(3.0 + BAD_DAY_DROP - ability))
        steady = TOLD_BETTER + (1 - TOLD_BETTER - TOLD_WORSE) * held
        off = (ability - mean) ** 2 / (2 * START_VARIANCE)
        return steady * exp(-off) / np.sqrt(2 * np.pi * START_VARIANCE)

    chance = quad(told, mean - 15, mean + 15)[0]
    (after,) = doubts(heard("s"))
    assert after.evidence == pytest.approx(log(FIBS_STEADY / chance), rel=0.01)


@given(st.text("sw", max_size=40))
def test_evidence_is_never_below_nothing_and_a_wobble_takes_most_of_it(told: str) -> None:
    after = doubts(heard(told))
    assert len(after) == len(told)
    assert all(one.evidence >= 0 for one in after)
    for before, now, word in zip(after, after[1:], told[1:], strict=False):
        if word == "w":
            assert now.evidence <= max(before.evidence - 0.5, 0)


def test_steady_on_ever_harder_rungs_is_flagged_and_steady_on_one_is_not() -> None:
    climbing = doubts(heard("s" * 30, climb=0.25))
    flag = first_flag(climbing)
    assert flag is not None
    assert flag.run_days <= 20
    assert flag.expected_days < flag.run_days
    assert first_flag(doubts(heard("s" * 60))) is None
    assert max(one.evidence for one in doubts(heard("s" * 60))) < FLAG_EVIDENCE
    says = told_of(flag)
    assert f"all of {flag.run_days} days since 4 May" in says
    assert says.endswith("they may have been placed too low.")


def test_nothing_told_is_no_doubt() -> None:
    assert doubts([]) == ()
    assert first_flag(()) is None


def test_virtual_fibs_are_told_from_honest_clients() -> None:
    # Six of each; flag_trial.py has the whole table.
    def flags(way: Way, days: int) -> list[int | None]:
        found = []
        for one in live(way, lambda _: never, clients=6, days=days, seed=41):
            after = doubts([DayHeard(day.day, day.hard, day.steady) for day in one.days])
            flag = first_flag(after)
            found.append(None if flag is None else after.index(flag) + 1)
        return found

    fibs = flags(Way(EVERY_DAY, fibs=True), 50)
    assert all(on is not None and on <= 32 for on in fibs)
    honest = flags(Way(EVERY_DAY), 120)
    assert sum(on is not None for on in honest) <= 1


# --- plateaus -------------------------------------------------------------------------------------

TODAY = FIRST + timedelta(days=WINDOW_DAYS)


def path(places: list[int], every: int, bad: int = 0) -> list[DayOnPath]:
    return [
        DayOnPath(FIRST + timedelta(days=every * n), place, not bad or n % bad != 0)
        for n, place in enumerate(places)
    ]


@pytest.mark.parametrize(
    ("days", "act", "said"),
    [
        (path([5] * 14, 4), "dose", "practises on 14 of 24 planned days, 1.8 a week."),
        (path([5] * 28, 2), "step", "though steady on 100% of 28 days"),
        (path([5, 4] * 14, 2, bad=4), "visit", "steady on 75% of 28 days."),
    ],
)
def test_a_plateau_says_which_act_fits(days: list[DayOnPath], act: str, said: str) -> None:
    found = plateau(days, 24, TODAY)
    assert found is not None
    assert (found.act, found.since) == (act, FIRST)
    assert said in found.says
    assert found.says.startswith("No farther than on 4 May")


@pytest.mark.parametrize(
    "days",
    [
        path([5] * 20 + [6] * 8, 2),  # new ground lately
        path([5] * 11, 5),  # too few days
        path([5] * 20, 2)[5:],  # not yet eight weeks
        path([5] * 14, 2),  # nothing told in the last four weeks
        [],
    ],
)
def test_what_is_no_plateau(days: list[DayOnPath]) -> None:
    assert plateau(days, 24, TODAY) is None
