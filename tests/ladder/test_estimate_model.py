"""The second opinion's model: worked values, SciPy, and what each kind of report tells it."""

import math
from dataclasses import replace
from datetime import timedelta

import pytest
from decide_cases import LEFT, RIGHT, Diary, day_number, ladder_of, told
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from rungwise.ladder.estimate import (
    LOGITS_PER_DEMAND,
    START_VARIANCE,
    Abilities,
    Ability,
    chance,
    chances,
    difficulty,
    drifted,
    gaussian_step,
    known_from,
    learn,
    next_chance,
    start_at,
    success_chance,
    update,
)
from rungwise.ladder.progression import DayReport, Plan, SideHold
from rungwise.ladder.stance import Side

LADDER = ladder_of(sided=range(4, 12))
DAY = day_number(0)


@pytest.mark.parametrize(
    ("gap", "p"),
    [
        (-2, 0.1192),
        (-1, 0.2689),
        (0, 0.5),
        (0.5, 0.6225),
        (1, 0.7311),
        (2, 0.8808),
        (3, 0.9526),
        (0.8814, 0.7071),
        (1.0986, 0.75),
        (1.3863, 0.80),
    ],
)
def test_the_rasch_curve(gap: float, p: float) -> None:
    assert success_chance(gap, 0) == pytest.approx(p, abs=5e-5)


@pytest.mark.parametrize(
    ("mean", "variance", "hard", "held", "after"),
    [
        (0, 1, 0, True, (0.4, 0.8)),
        (0, 1, 0, False, (-0.4, 0.8)),
        (0, 1, 1, True, (0.6109, 0.8357)),
        (0.4, 0.8, 0, True, (0.6693, 0.6710)),
        (0, 4, 0, True, (1.0, 2.0)),
    ],
)
def test_one_outcome(mean: float, variance: float, hard: float, held: bool, after: tuple) -> None:
    ability = update(Ability(mean, variance), hard, held)
    assert (ability.mean, ability.variance) == pytest.approx(after, abs=5e-5)


@pytest.mark.parametrize(
    ("x", "p", "z", "r", "after"),
    [(10, 16, 18, 16, (14, 8)), (10, 25, 20, 8.7**2, (12.483, 18.793))],
)
def test_with_a_measurement_the_step_is_kalmans(
    x: float, p: float, z: float, r: float, after: tuple
) -> None:
    assert gaussian_step(x, p, (z - x) / r, 1 / r) == pytest.approx(after, abs=1e-3)


@given(st.floats(-1e4, 1e4), st.floats(-50, 50))
def test_the_curve_is_scipys(ability: float, hard: float) -> None:
    assert success_chance(ability, hard) == pytest.approx(special.expit(ability - hard), abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.floats(-6, 6), st.floats(0.02, 4), st.integers(0, 11))
def test_mean_and_interval_against_scipy(mean: float, variance: float, place: int) -> None:
    rung = LADDER.rungs[place]
    ability = Ability(mean, variance)
    found = chance(Abilities(ability, ability, ability), rung)
    spread = math.sqrt(variance)
    low, high = stats.norm.interval(0.90, loc=mean - difficulty(rung), scale=spread)
    assert (found.low, found.high) == pytest.approx(special.expit([low, high]), abs=1e-9)
    exact, _ = integrate.quad(
        lambda z: special.expit(mean + spread * z - difficulty(rung)) * stats.norm.pdf(z), -8, 8
    )
    assert found.mean == pytest.approx(exact, abs=0.02)  # MacKay's approximation


@settings(max_examples=30, deadline=None)
@given(st.floats(-2, 2), st.floats(0.05, 1.5), st.booleans())
def test_one_step_is_close_to_the_exact_posterior(gap: float, variance: float, held: bool) -> None:
    def likelihood(theta: float) -> float:
        p = special.expit(theta)
        return (p if held else 1 - p) * stats.norm.pdf(theta, gap, math.sqrt(variance))

    span = (gap - 8 * math.sqrt(variance), gap + 8 * math.sqrt(variance))
    whole = integrate.quad(likelihood, *span)[0]
    mean = integrate.quad(lambda t: t * likelihood(t), *span)[0] / whole
    second = integrate.quad(lambda t: t * t * likelihood(t), *span)[0] / whole
    ability = update(Ability(gap, variance), 0, held)
    assert ability.mean == pytest.approx(mean, abs=0.15 * math.sqrt(variance))
    assert math.sqrt(ability.variance) == pytest.approx(math.sqrt(second - mean**2), rel=0.12)


def test_extreme_gaps_stay_probabilities() -> None:
    assert success_chance(-1e6, 0) == 0
    assert success_chance(1e6, 0) == 1
    settled = update(Ability(1e6, 1.0), 0, True)
    assert settled.variance == pytest.approx(1.0)


def test_ability_drifts_and_lay_off_costs() -> None:
    ability = Ability(1.0, 0.2, DAY)
    assert drifted(ability, DAY) == ability
    assert drifted(ability, DAY - timedelta(days=3)) == ability
    near, far = drifted(ability, DAY + timedelta(days=3)), drifted(ability, DAY + timedelta(10))
    assert (near.mean, near.variance) == pytest.approx((1.0, 0.29))
    assert (far.mean, far.variance) == pytest.approx((0.86, 0.71))
    assert drifted(ability, DAY + timedelta(days=900)).variance == START_VARIANCE


# What reports tell


def ability_after(rung_key: str, report: DayReport, target_s: int = 20, then_s: int = 20) -> tuple:
    """-1, 0, 1 for the left and the right side: fell, unmoved, rose."""
    start = start_at(LADDER[rung_key], report.day)
    after = learn(start, LADDER[rung_key], report, target_s, then_s)
    return tuple(
        (after.of(side).mean > start.of(side).mean) - (after.of(side).mean < start.of(side).mean)
        for side in Side
    )


def sided(*holds: tuple, how: str | None = "steady", **more: object) -> DayReport:
    report = DayReport(DAY, "r05", tuple(SideHold(*hold) for hold in holds), how)  # type: ignore[arg-type]
    return replace(report, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("report", "sides"),
    [
        (sided((20, LEFT), (20, RIGHT)), (1, 1)),
        (sided((20, LEFT), (14, RIGHT)), (1, -1)),
        (sided((20, LEFT)), (1, 0)),
        (sided((20, None)), (0, 0)),
        (sided((20, "both")), (1, 1)),
        (sided((20, "both"), how="wobbly"), (-1, -1)),
        (sided((20, "both"), how=None, steadiness_by_side={RIGHT: "wobbly"}), (0, -1)),
        (sided((20, "both"), how=None), (0, 0)),
        (sided((14, "both"), how=None), (-1, -1)),
        (sided(how="wobbly"), (-1, -1)),
        (sided(how=None, skipped=True), (0, 0)),
        (sided((20, "both"), fall="yes"), (-1, -1)),
        (sided((20, "both"), pain="unsure"), (0, 0)),
        (sided((20, LEFT), (14, RIGHT), dizzy="yes"), (0, -1)),
    ],
)
def test_what_a_report_tells_of_each_side(report: DayReport, sides: tuple) -> None:
    assert ability_after("r05", report) == sides


def test_a_wobble_without_a_side_weighs_less_than_one_with_it() -> None:
    rung = LADDER["r05"]
    start = start_at(rung, DAY)
    unknown = learn(start, rung, sided((20, "both"), how="wobbly"), 20)
    known = learn(start, rung, sided((20, "both"), steadiness_by_side={LEFT: "wobbly"}), 20)
    assert known.left.mean < unknown.left.mean < start.left.mean
    assert unknown.left == unknown.right
    # The other side being called steady leaves only one.
    told_apart = sided((20, "both"), how="wobbly", steadiness_by_side={RIGHT: "steady"})
    assert learn(start, rung, told_apart, 20).left.mean == known.left.mean


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(0.05, 1.5))
def test_one_of_two_failed_is_the_joint_likelihoods_slope(
    left: float, right: float, variance: float
) -> None:
    rung = LADDER["r05"]
    known = Abilities(
        Ability(left, variance, DAY), Ability(right, variance, DAY), Ability(0, variance)
    )
    after = learn(known, rung, sided((20, "both"), how="wobbly"), 20)

    def log_failed(theta: float) -> float:
        return math.log1p(
            -special.expit(theta - difficulty(rung)) * special.expit(right - difficulty(rung))
        )

    slope = (log_failed(left + 1e-5) - log_failed(left - 1e-5)) / 2e-5
    assert after.left.mean - left == pytest.approx(after.left.variance * slope, abs=1e-6)
    assert 0 < after.left.variance <= variance


def test_on_a_rung_without_sides_both_are_told_of() -> None:
    assert ability_after("r01", told("r01", 0)) == (1, 1)
    assert ability_after("r01", told("r01", 0, 14)) == (-1, -1)
    one_wobbles = replace(told("r01", 0), steadiness_by_side={LEFT: "wobbly"})
    assert ability_after("r01", one_wobbles) == (-1, -1)


def test_a_hold_that_stopped_at_the_target_is_at_least_that_long() -> None:
    stopped = sided((15, "both"))
    assert ability_after("r05", stopped, target_s=20, then_s=15) == (0, 0)
    assert ability_after("r05", stopped, target_s=15, then_s=15) == (1, 1)
    assert ability_after("r05", stopped, target_s=10, then_s=15) == (1, 1)
    assert ability_after("r05", stopped, target_s=15, then_s=20) == (1, 1)
    assert ability_after("r05", stopped, target_s=20, then_s=20) == (-1, -1)


def test_longer_than_asked_tells_no_more_than_held() -> None:
    rung = LADDER["r05"]
    at = learn(start_at(rung, DAY), rung, sided((20, "both")), 20)
    longer = learn(start_at(rung, DAY), rung, sided((60, "both")), 20)
    assert at == longer


def test_the_weaker_side_decides() -> None:
    known = Abilities(Ability(2.0, 0.3), Ability(0.5, 0.3), Ability(1.0, 0.2))
    right = chance(Abilities(known.right, known.right, known.right), LADDER["r05"])
    assert chance(known, LADDER["r05"]) == right
    one_leg = replace(LADDER["r05"], sides=(LEFT,))
    assert chance(known, one_leg).mean > right.mean


@given(st.lists(st.sampled_from("swhf-?"), max_size=20), st.integers(0, 10))
def test_a_harder_rung_is_never_likelier(letters: list[str], place: int) -> None:
    diary = Diary(LADDER, f"r{place:02d}")
    diary.script("".join(letters))
    here, above = chances(LADDER, Plan(), diary.history, f"r{place:02d}", DAY)
    assert above is not None
    assert 0 <= here.low <= here.mean <= here.high <= 1
    if LADDER.rungs[place].sided == LADDER.rungs[place + 1].sided:
        assert above.mean <= here.mean


def test_the_opinion_after_a_report_reads_the_whole_past() -> None:
    diary = Diary(LADDER, "r05")
    for _ in range(6):
        diary.day(replace(sided((14, "both")), rung_key=diary.at))
    wobbly = next_chance(LADDER, Plan(), diary.history, sided((20, "both")))
    fresh = next_chance(LADDER, Plan(), (), sided((20, "both")))
    assert wobbly is not None
    assert fresh is not None
    assert wobbly.rung_key == fresh.rung_key == "r06"
    assert wobbly.mean < fresh.mean
    assert fresh.high - fresh.low > wobbly.high - wobbly.low


def test_no_opinion_at_the_top_or_off_the_ladder() -> None:
    assert next_chance(LADDER, Plan(), (), told("r11", 0)) is None
    assert next_chance(LADDER, Plan(), (), told("gone", 0)) is None
    assert chances(LADDER, Plan(), (), "r11", DAY)[1] is None


def test_days_on_lost_rungs_are_left_out() -> None:
    diary = Diary(ladder_of(20, sided=range(20)), "r18")
    diary.script("wwww")
    assert known_from(LADDER, Plan(), diary.history, "r05") == start_at(LADDER["r05"])


def test_the_scale_is_documented() -> None:
    assert difficulty(LADDER["r10"]) == pytest.approx(10 * LOGITS_PER_DEMAND)
