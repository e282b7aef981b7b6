"""Every score against worked values, the source named beside each table."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.errors import ImpossibleValue
from rungwise.evidence import (
    chair_stand_30s,
    five_stands,
    four_stage,
    one_leg,
    sppb,
    tug,
)
from rungwise.evidence.sppb import balance_points, chair_points, walk_points
from rungwise.evidence.stands import chair_stand_limit

# CDC STEADI, "The 4-Stage Balance Test", 2017: held, stopped at, tandem counts as a risk.
FOUR_STAGE = [
    ((10, 10, 10, 10), None, False),
    ((10, 10, 9.9), 3, True),
    ((10, 8), 2, True),
    ((10, 10, 10, 4), 4, False),
    ((10, 10, 10, 7), 4, False),
    ((6,), 1, True),
]


@pytest.mark.parametrize(("held", "stopped_at", "risk"), FOUR_STAGE)
def test_four_stage(held: tuple[float, ...], stopped_at: int | None, risk: bool) -> None:
    result = four_stage(held)
    assert (result.stopped_at, result.higher_risk) == (stopped_at, risk)
    assert result.finished == (stopped_at is None)


def test_four_stage_says_how_one_foot_went() -> None:
    def flags(held: tuple[float, ...]) -> list[str]:
        return [one.says for one in four_stage(held).findings(74, None) if one.flag]

    under_5, under_10 = flags((10, 10, 10, 4)), flags((10, 10, 10, 7))
    assert len(under_5) == len(under_10) == 1
    assert "under 5 s" in under_5[0]
    assert "5 s and more, not 10 s" in under_10[0]
    assert flags((10, 10, 10, 10)) == []
    assert any("not ready to practise without support" in said for said in flags((6,)))


@pytest.mark.parametrize(
    "held",
    [(), (10, 8, 3), (10,), (10, 10, 10), (10, 10, 10, 10, 10), (-1,), (10.5,), ("9",), (True,)],
)
def test_four_stage_refuses_what_cannot_be(held: tuple[Any, ...]) -> None:
    with pytest.raises(ImpossibleValue):
        four_stage(held)


# SPPB: balance by Guralnik et al. 1994, as in the PHOSP-COVID study's data dictionary.
@pytest.mark.parametrize(
    ("stands", "points"),
    [
        ((10, 10, 10), 4),
        ((10, 10, 9.99), 3),
        ((10, 10, 3.00), 3),
        ((10, 10, 2.99), 2),
        ((10, 9.9), 1),
        ((9.9,), 0),
    ],
)
def test_sppb_balance(stands: tuple[float, ...], points: int) -> None:
    assert sppb(stands, 4, (), None).balance == points == balance_points(stands)


# SPPB walk: 4 m from the PHOSP-COVID data dictionary; 3 m from PMC3032402 Table 3 (course from
# memory).
@pytest.mark.parametrize(
    ("course_m", "walk_s", "points"),
    [
        *((4, *row) for row in ((4.81, 4), (4.82, 3), (6.20, 3), (6.21, 2), (8.70, 2), (8.71, 1))),
        (4, None, 0),
        *((3, *row) for row in ((3.61, 4), (3.62, 3), (4.65, 3), (4.66, 2), (6.52, 2), (6.53, 1))),
        (4, 5.00, 3),
        (3, 5.00, 2),
    ],
)
def test_sppb_walk(course_m: int, walk_s: float | None, points: int) -> None:
    walks = () if walk_s is None else (walk_s,)
    assert sppb((9,), course_m, walks, None).gait == points == walk_points(walk_s, course_m)


# SPPB chair stands, two-decimal form (from memory); over 60 s scores 0 (from memory).
@pytest.mark.parametrize(
    ("chair_s", "points"),
    [(11.19, 4), (11.20, 3), (13.69, 3), (13.70, 2), (16.69, 2), (16.70, 1), (60, 1), (60.01, 0),
     (None, 0)],
)  # fmt: skip
def test_sppb_chair(chair_s: float | None, points: int) -> None:
    assert sppb((9,), 4, (), chair_s).chair == points == chair_points(chair_s)


@pytest.mark.parametrize(
    ("stands", "walks", "chair_s", "parts"),
    [
        ((10, 10, 5.0), (5.50,), 14.20, (3, 3, 2)),
        ((10, 10, 10), (4.50,), 11.00, (4, 4, 4)),
        ((9.0,), (), None, (0, 0, 0)),
        ((10, 10, 10), (4.90, 4.50), 11.00, (4, 4, 4)),  # the faster walk counts
    ],
)
def test_sppb_total(
    stands: tuple[float, ...],
    walks: tuple[float, ...],
    chair_s: float | None,
    parts: tuple[int, int, int],
) -> None:
    result = sppb(stands, 4, walks, chair_s)
    assert (result.balance, result.gait, result.chair) == parts
    assert result.total == sum(parts)
    assert "4 m" in result.headline[1]


@pytest.mark.parametrize(
    ("stands", "course_m", "walks", "chair_s"),
    [
        ((), 4, (), None),
        ((10, 10), 4, (), None),
        ((9, 10), 4, (), None),
        ((9,), 2.44, (), None),
        ((9,), None, (), None),
        ((9,), 4, (5, 5, 5), None),
        ((9,), 4, (0.1,), None),
        ((9,), 4, (), 0.2),
        ((9,), 4, (), float("nan")),
    ],
)
def test_sppb_refuses_what_cannot_be(stands: Any, course_m: Any, walks: Any, chair_s: Any) -> None:
    with pytest.raises(ImpossibleValue):
        sppb(stands, course_m, walks, chair_s)


# The cut points to one decimal leave holes at 11.15 and 13.65 s; times here fall on either side.
@given(st.floats(1, 120))
def test_a_slower_time_never_scores_more(time_s: float) -> None:
    slower = time_s + 0.01
    for points in (lambda t: walk_points(t, 4), lambda t: walk_points(t, 3), chair_points):
        assert points(round(slower, 2)) <= points(round(time_s, 2))
        assert 0 <= points(round(time_s, 2)) <= 4


def test_every_hundredth_of_a_second_has_points_without_a_hole() -> None:
    for points in (lambda t: walk_points(t, 4), lambda t: walk_points(t, 3), chair_points):
        scores = [points(hundredths / 100) for hundredths in range(100, 2500)]
        assert sorted(set(scores), reverse=True) == [4, 3, 2, 1]
        assert scores == sorted(scores, reverse=True)


# 30-second chair stand, CDC STEADI sheet 2017: below average if under the limit.
@pytest.mark.parametrize(
    ("sex", "age", "stands", "below"),
    [
        ("male", 72, 11, True),
        ("male", 72, 12, False),
        ("female", 72, 9, True),
        ("female", 72, 10, False),
        ("male", 64, 13, True),
        ("male", 65, 13, False),
        ("female", 91, 4, False),
        ("male", 91, 4, True),
        ("male", 59, 3, None),
        ("female", 95, 3, None),
        (None, 72, 3, None),
    ],
)
def test_chair_stand(sex: Any, age: int, stands: int, below: bool | None) -> None:
    result = chair_stand_30s(stands, False)
    assert result.below_average(age, sex) is below
    assert any(one.flag for one in result.findings(age, sex)) is bool(below)


def test_arms_used_scores_nothing() -> None:
    result = chair_stand_30s(14, True)
    assert result.score == 0
    assert result.below_average(67, "female")


# The whole table of the sheet, by the first year of each band.
LIMITS = {
    "male": {60: 14, 65: 12, 70: 12, 75: 11, 80: 10, 85: 8, 90: 7},
    "female": {60: 12, 65: 11, 70: 10, 75: 10, 80: 9, 85: 8, 90: 4},
}


@pytest.mark.parametrize("sex", LIMITS)
def test_chair_stand_limits_by_age(sex: Any) -> None:
    for first, limit in LIMITS[sex].items():
        assert [chair_stand_limit(age, sex) for age in range(first, first + 5)] == [limit] * 5
    assert chair_stand_limit(59, sex) is None
    assert chair_stand_limit(95, sex) is None


# Five times sit to stand, Bohannon 2006, Percept Mot Skills: slower than average if over.
@pytest.mark.parametrize(
    ("age", "time_s", "slower"),
    [(65, 11.4, False), (65, 11.5, True), (72, 12.6, False), (72, 12.7, True), (85, 14.8, False),
     (85, 14.9, True), (59, 20, None), (90, 20, None)],
)  # fmt: skip
def test_five_stands(age: int, time_s: float, slower: bool | None) -> None:
    assert five_stands(time_s).slower_than_average(age) is slower


def test_five_stands_that_could_not_be_done_have_no_number() -> None:
    result = five_stands(None)
    assert result.headline is None
    assert result.slower_than_average(72) is None
    assert [one.flag for one in result.findings(72, None)] == [True]


# Timed Up and Go: 12 s STEADI, 13.5 s Shumway-Cook 2000.
@pytest.mark.parametrize(
    ("time_s", "steadi", "older"),
    [(11.9, False, False), (12.0, True, False), (12.5, True, False), (13.5, True, True)],
)
def test_tug(time_s: float, steadi: bool, older: bool) -> None:
    result = tug(time_s)
    assert (result.at_risk, result.at_risk_by_older_cut) == (steadi, older)


# 15 s: Montero-Odasso 2022 (from memory) has risk over 15 s, not at it.
def test_tug_says_each_cut_off_with_its_source() -> None:
    flags = {str(one.source): one.flag for one in tug(15.0).findings(74, None)}
    assert list(flags.values()) == [True, True, False, False]


@pytest.mark.parametrize(
    ("time_s", "aid"), [(1.5, "none"), (301, "none"), (10, "rollator"), (None, "none")]
)
def test_tug_refuses_what_cannot_be(time_s: Any, aid: Any) -> None:
    with pytest.raises(ImpossibleValue):
        tug(time_s, aid)


# One leg: Vellas 1997 (5 s), Araujo 2022 (10 s).
@pytest.mark.parametrize(
    ("held_s", "under_5", "ten"),
    [(4.9, True, False), (5.0, False, False), (9.9, False, False), (10.0, False, True)],
)
def test_one_leg_limits(held_s: float, under_5: bool, ten: bool) -> None:
    said = one_leg((held_s,), ()).findings(74, None)[0]
    assert ("under 5 s" in said.says) is under_5
    assert ("10 s and more" in said.says) is ten
    assert said.flag is not ten


def test_one_leg_best_and_mean_of_three() -> None:
    result = one_leg((3.2, 8.5, 6.0), (9.0, 4.0))
    assert result.best_s == {"left": 8.5, "right": 9.0}
    assert result.mean_of_3_s == {"left": pytest.approx(5.9)}  # two tries have no mean of three
    assert result.weaker_best_s == 8.5


@pytest.mark.parametrize(
    ("left", "right"), [((), ()), ((1, 2, 3, 4), ()), ((46,), ()), ((-1,), (3,)), (("5",), ())]
)
def test_one_leg_refuses_what_cannot_be(left: Any, right: Any) -> None:
    with pytest.raises(ImpossibleValue):
        one_leg(left, right)
