"""The rule against the published up-down designs: step by step, and in the long run, exactly."""

from itertools import pairwise

import numpy as np
import pytest
from decide_cases import Diary, kinds, ladder_of
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ladder.caution import PRESETS, Caution, TrialCaution, published_rule
from rungwise.ladder.estimate import success_chance
from rungwise.ladder.progression import Plan
from rungwise.ladder.staircase import chain, levitt_level, weighted_level

FINE = 0.02  # logits between rungs


def plain(count: int, spacing: float) -> tuple:
    """A ladder without landmarks and the success on each rung, one half in the middle."""
    ladder = ladder_of(count, landmarks=())
    return ladder, [success_chance(0, (place - count / 2) * spacing) for place in range(count)]


# Step by step: worked examples of the published rules through `decide`


@pytest.mark.parametrize(
    ("rule", "start", "days", "rungs"),
    [
        (published_rule(2), 5, "sssfss", [5, 6, 6, 5, 5, 6]),
        (published_rule(3), 5, "sssssf", [5, 5, 6, 6, 6, 5]),
        (published_rule(1), 5, "sfsf", [6, 5, 6, 5]),
        (published_rule(1, back_steps=3), 10, "ssfs", [11, 12, 9, 10]),
    ],
)
def test_worked_staircases(rule: Caution, start: int, days: str, rungs: list[int]) -> None:
    ladder = ladder_of(20, landmarks=())
    diary = Diary(ladder, f"r{start:02d}", Plan(caution=rule))
    moves = diary.script(days.replace("f", "w"))
    assert [ladder.index(move.to_key) for move in moves] == rungs


@pytest.mark.parametrize(
    ("days", "level"),
    [(1, 0.5), (2, 0.7071), (3, 0.7937), (4, 0.8409), (5, 0.8706), (6, 0.8909)],
)
def test_levitts_levels(days: int, level: float) -> None:
    assert levitt_level(days) == pytest.approx(level, abs=5e-5)


@pytest.mark.parametrize(
    ("harder", "easier", "days", "level"),
    [
        (1, 3, 1, 0.75),
        (1, 4, 1, 0.80),
        (1, 2.4142, 1, 0.7071),
        (0.5488, 1, 2, 0.8035),
        (0.2845, 1, 1, 0.7785),
        (0.7393, 1, 3, 0.8315),
        (0.8415, 1, 4, 0.8584),
    ],
)
def test_unequal_steps(harder: float, easier: float, days: int, level: float) -> None:
    assert weighted_level(harder, easier, days) == pytest.approx(level, abs=1e-4)


# In the long run, exactly


@pytest.mark.parametrize("days", [1, 2, 3, 4, 5, 6])
def test_fine_rungs_settle_at_levitts_level(days: int) -> None:
    ladder, success = plain(600, FINE)
    exact = chain(ladder, Plan(caution=published_rule(days)), success)
    assert exact.level == pytest.approx(levitt_level(days), abs=0.004)


@pytest.mark.parametrize(("back", "level"), [(1, 0.5), (2, 2 / 3), (3, 0.75), (4, 0.8)])
def test_fine_rungs_settle_at_kaernbachs_level(back: int, level: float) -> None:
    ladder, success = plain(600, FINE)
    exact = chain(ladder, Plan(caution=published_rule(1, back)), success)
    assert exact.level == pytest.approx(level, abs=0.004)


@pytest.mark.parametrize("days", [1, 2, 3, 4])
def test_coarse_rungs_move_the_place_it_settles_at(days: int) -> None:
    # Ups and backs are as many, so the share of steady days hardly moves; the mean rung does,
    # to an easier one, unless the rule is symmetric.
    places, shares = [], []
    for spacing in (FINE, 0.5, 2.0):
        count = round(14 / spacing)
        ladder, success = plain(count, spacing)
        exact = chain(ladder, Plan(caution=published_rule(days)), success)
        places.append(success_chance(0, (exact.mean_place - count / 2) * spacing))
        shares.append(exact.level)
    assert shares == pytest.approx([levitt_level(days)] * 3, abs=0.01)
    if days == 1:
        assert places == pytest.approx([0.5] * 3, abs=0.005)
    else:
        assert places[0] < places[1] < places[2]
        assert places[2] > levitt_level(days) + 0.05


@given(st.integers(3, 30), st.floats(0.05, 3.0))
def test_one_up_one_back_is_a_birth_and_death_chain(count: int, spacing: float) -> None:
    # Detailed balance gives its long run in closed form: share[i] p[i] = share[i+1] q[i+1].
    ladder, success = plain(count, spacing)
    exact = chain(ladder, Plan(caution=published_rule(1)), success)
    share = [1.0]
    for here, above in pairwise(exact.success):
        share.append(share[-1] * here / (1 - above))
    assert exact.shares == pytest.approx(np.array(share) / sum(share), abs=1e-9)


@pytest.mark.parametrize("days", [2, 3])
def test_against_the_whole_chain_over_rung_and_run(days: int) -> None:
    # The same rule written out the other way: one state for every rung and run of steady days.
    ladder, success = plain(12, 0.5)
    size = 12 * days
    whole = np.zeros((size, size))
    for place, p in enumerate(success):
        for run in range(days):
            here = place * days + run
            if run + 1 < days:
                whole[here, here + 1] += p
            elif place < 11:
                whole[here, (place + 1) * days] += p
            else:
                whole[here, here] += p
            whole[here, max(place - 1, 0) * days] += 1 - p
    values, vectors = np.linalg.eig(whole.T)
    steady = np.real(vectors[:, np.argmin(np.abs(values - 1))])
    shares = (steady / steady.sum()).reshape(12, days).sum(axis=1)
    exact = chain(ladder, Plan(caution=published_rule(days)), success)
    assert exact.shares == pytest.approx(shares, abs=1e-9)


def test_days_to_a_rung_by_hand() -> None:
    # Two steady days running at p = 1/2 from the lowest rung: 6 days on average, as for coins.
    ladder = ladder_of(3, landmarks=())
    rule = Plan(caution=TrialCaution(steady_days_step=2, back_days=1, back_window_days=1))
    exact = chain(ladder, rule, [0.5, 0.5, 0.5])
    assert exact.days_to("r00", "r01") == pytest.approx(6)
    assert exact.days_to("r01", "r01") == 0
    assert exact.days_to("r02", "r01") == 0


def test_a_closed_gate_is_never_passed_in_the_long_run() -> None:
    ladder = ladder_of(8, landmarks=(), gates={5: "single_leg"})
    exact = chain(ladder, Plan(), [0.9] * 8)
    assert exact.shares[5:] == pytest.approx(0, abs=1e-12)
    assert exact.days_to("r00", "r06") == float("inf")


@given(
    st.lists(st.floats(0, 1), min_size=1, max_size=12),
    st.sampled_from(list(PRESETS.values())),
    st.floats(0, 1),
)
def test_shares_are_shares(success: list[float], caution: Caution, far_short: float) -> None:
    ladder = ladder_of(len(success), landmarks=range(0, 12, 4))
    exact = chain(ladder, Plan(caution=caution), success, far_short)
    assert exact.shares.min() >= 0
    assert exact.shares.sum() == pytest.approx(1)
    ends = exact.stays.up + exact.stays.back + exact.stays.far_back
    assert ends == pytest.approx(np.ones(len(success)))
    assert 0 <= exact.level <= 1
    assert 0 <= exact.risky_share <= 1


def test_more_cautious_presets_settle_higher_and_take_longer() -> None:
    ladder = ladder_of(60, landmarks=range(0, 60, 10))
    success = [success_chance(0, (place - 40) * 0.2) for place in range(60)]
    found = {
        name: chain(ladder, Plan(caution=caution), success, 0.15)
        for name, caution in PRESETS.items()
    }
    levels = [found[name].level for name in ("keen", "usual", "gentle")]
    assert levels == sorted(levels)
    days = [found[name].days_to("r00", "r20") for name in ("keen", "usual", "gentle")]
    assert days == sorted(days)
    risky = [found[name].risky_share for name in ("keen", "usual", "gentle")]
    assert risky == sorted(risky, reverse=True)


def test_a_full_ladder_is_answered_at_once() -> None:
    ladder, success = plain(480, 0.02)
    assert kinds(Diary(ladder, "r10").script("s")) == "."
    exact = chain(ladder, Plan(caution=PRESETS["gentle"]), success, 0.15)
    assert exact.shares.sum() == pytest.approx(1)
