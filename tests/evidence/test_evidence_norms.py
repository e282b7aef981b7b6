"""Norms, changes, and what every sentence beside a result must keep to."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from rungwise.errors import ImpossibleValue
from rungwise.evidence import (
    KINDS,
    NOT_A_DIAGNOSIS,
    Change,
    Finding,
    Scored,
    chair_stand_30s,
    change,
    five_stands,
    four_stage,
    instruction,
    kind_of,
    mdc95_of,
    one_leg,
    score,
    score_to_json,
    sem_of,
    sppb,
    tug,
    values_from_form,
)
from rungwise.evidence import sources as every_source
from rungwise.evidence.change import (
    FIVE_STANDS_DETECTABLE_S,
    FIVE_STANDS_SEM_S,
    ONE_LEG_DETECTABLE,
    ONE_LEG_SEM_S,
    relative_change,
)
from rungwise.evidence.measures import age_of, sex_of
from rungwise.evidence.one_leg import one_leg_norms
from rungwise.evidence.sources import Source


def norm_values(age: int) -> dict[str, float]:
    return {norm.source.cite.split(",")[0]: norm.value for norm in one_leg_norms(age)[-1:]}


# Bohannon 2006, Top Geriatr Rehabil 22(1):70-77 (abstract).
@pytest.mark.parametrize(
    ("age", "norm_s"), [(60, 27.0), (69, 27.0), (74, 17.2), (79, 17.2), (80, 8.5), (99, 8.5)]
)
def test_one_leg_by_bohannon(age: int, norm_s: float) -> None:
    assert norm_values(age) == {"Bohannon 2006": norm_s}


# Springer et al. 2007: mean of three, checked on a reprint.
@pytest.mark.parametrize(
    ("age", "mean_s"), [(45, 40.3), (55, 37.0), (65, 26.9), (75, 15.0), (85, 6.2)]
)
def test_one_leg_by_springer(age: int, mean_s: float) -> None:
    mean = one_leg_norms(age)[0]
    assert mean.value == mean_s
    assert "mean of three" in mean.words


def test_fewer_than_three_tries_stand_beside_no_norm_for_three() -> None:
    two = one_leg((9, 8), (7, 6)).norms(74, None)
    assert [norm.value for norm in two] == [17.2]
    three = one_leg((9, 8, 4), (7, 6))
    assert [norm.value for norm in three.norms(74, None)] == [15.0, 17.2]
    assert any(
        one.says == "Left leg: best of three 9 s, mean 7 s." for one in three.findings(74, None)
    )


@pytest.mark.parametrize("age", [39, 100, 18])
def test_no_norm_is_stretched_beyond_its_ages(age: int) -> None:
    assert one_leg_norms(age) == ()
    assert tug(9).norms(age, None) == ()


# Bohannon 2006, J Geriatr Phys Ther 29:64-68 (abstract).
@pytest.mark.parametrize(
    ("age", "mean", "low", "high"),
    [(65, 8.1, 7.1, 9.0), (75, 9.2, 8.2, 10.2), (85, 11.3, 10.0, 12.7)],
)
def test_tug_means(age: int, mean: float, low: float, high: float) -> None:
    (norm,) = tug(9).norms(age, "female")
    assert (norm.value, norm.low, norm.high) == (mean, low, high)


# MDC95 = 1.96 x sqrt(2) x SEM; SEM = SD x sqrt(1 - ICC) (both from memory).
def test_detectable_change_from_its_parts() -> None:
    # Goldberg 2011: SEM 8.7 s is 40.8% of the mean, MDC95 24.1 s is 113.1% of it.
    assert mdc95_of(ONE_LEG_SEM_S) == pytest.approx(24.115, abs=0.001)
    mean_s = ONE_LEG_SEM_S / 0.408
    assert mean_s == pytest.approx(21.3, abs=0.05)
    assert mdc95_of(ONE_LEG_SEM_S) / mean_s == pytest.approx(ONE_LEG_DETECTABLE, abs=0.001)
    # Goldberg 2012: SEM 0.9 s, MDC95 2.5 s.
    assert mdc95_of(FIVE_STANDS_SEM_S) == pytest.approx(FIVE_STANDS_DETECTABLE_S, abs=0.05)
    assert sem_of(16.6, 0.90) == pytest.approx(5.25, abs=0.005)
    assert mdc95_of(sem_of(16.6, 0.90)) == pytest.approx(14.55, abs=0.005)
    with pytest.raises(ImpossibleValue):
        sem_of(16.6, 1.2)


def one_leg_changed(then_s: float, now_s: float, age: int = 74) -> Change:
    found = change(one_leg((then_s,), ()), one_leg((now_s,), ()), age)
    assert found is not None
    return found


# Goldberg 2011: 113.1% of the mean; 5 s: Vellas 1997; 10 s: Araujo 2022.
@pytest.mark.parametrize(
    ("then_s", "now_s", "conclusion", "sure", "lines"),
    [
        (20.0, 40.0, "no sure change", False, []),
        (22.0, 1.2, "worse", True, ["no longer 5 s", "no longer 10 s"]),
        (1.2, 22.0, "better", True, ["now 5 s", "now 10 s"]),
        (12.0, 9.0, "worse", False, ["no longer 10 s"]),
        (4.0, 6.0, "better", False, ["now 5 s"]),
        (40.0, 11.0, "worse", True, []),
        (20.0, 12.0, "no sure change", False, []),
    ],
)
def test_one_leg_change(
    then_s: float, now_s: float, conclusion: str, sure: bool, lines: list[str]
) -> None:
    found = one_leg_changed(then_s, now_s)
    assert found.conclusion == conclusion
    assert [line.says for line in found.crossed] == lines
    assert all(line in found.says for line in lines)
    assert ("more than measurement error" in found.says) is sure
    assert ("within measurement error" in found.says) is not sure


def test_a_change_is_relative() -> None:
    assert relative_change(22, 1.2) == pytest.approx(-20.8 / 11.6)
    assert relative_change(0, 0) == 0
    assert relative_change(0, 3) == 2
    assert one_leg_changed(22, 1.2).says == (
        "Worse: left leg 1.2 s now, 22 s before (95% less), no longer 5 s, no longer 10 s, "
        "more than measurement error."
    )


def test_the_ten_second_line_ends_where_its_ages_do() -> None:
    # Araujo et al. 2022: people of 51 to 75.
    assert one_leg_changed(12, 9, age=75).conclusion == "worse"
    assert one_leg_changed(12, 9, age=76).conclusion == "no sure change"
    flagged = [one.flag for one in one_leg((8,), ()).findings(75, None)]
    assert flagged[0]
    assert not any(one.flag for one in one_leg((8,), ()).findings(76, None))
    assert one_leg((4,), ()).findings(90, None)[0].flag


def test_both_legs_make_one_conclusion() -> None:
    found = change(one_leg((12,), (20,)), one_leg((13,), (4,)), 70)
    assert found is not None
    assert found.conclusion == "worse"
    assert found.says.startswith("Worse: left leg 13 s now")
    assert found.says.count("now, ") == 2
    assert change(one_leg((5,), ()), one_leg((), (9,)), 70) is None


# Lusardi 2017: 12 s; Buatois 2008: 15 s; Goldberg 2012: 2.5 s.
@pytest.mark.parametrize(
    ("then_s", "now_s", "conclusion"),
    [
        (14.0, 11.4, "better"),
        (13.9, 12.1, "no sure change"),
        (14.9, 15.1, "worse"),
        (10.0, 12.6, "worse"),
        (9.0, 11.5, "no sure change"),
        (9.0, 11.51, "worse"),
    ],
)
def test_five_stands_change(then_s: float, now_s: float, conclusion: str) -> None:
    found = change(five_stands(then_s), five_stands(now_s), 74)
    assert found is not None
    assert found.conclusion == conclusion


# Bands of Guralnik 1995; STEADI: tandem 10 s, TUG 12 s, 10 chair stands for a woman of 74.
@pytest.mark.parametrize(
    ("earlier", "later", "conclusion", "said"),
    [
        (sppb((10, 10, 10), 4, (5,), 12), sppb((10, 10, 2), 4, (5,), 12), "worse", "mild"),
        (sppb((10, 10, 10), 4, (4,), 12), sppb((10, 10, 10), 4, (5,), 12), "no sure change", ""),
        (four_stage((10, 10, 10, 3)), four_stage((10, 10, 8)), "worse", "10 s in tandem"),
        (four_stage((9,)), four_stage((10, 8)), "no sure change", "not on file"),
        (tug(13, "stick"), tug(11, "stick"), "better", "now under 12 s"),
        (tug(11), tug(12), "worse", "no longer under 12 s"),
        (chair_stand_30s(9, False), chair_stand_30s(12, False), "better", "now 10"),
    ],
)
def test_a_crossed_line_is_always_said(
    earlier: Scored, later: Scored, conclusion: str, said: str
) -> None:
    found = change(earlier, later, 74, "female")
    assert found is not None
    assert found.conclusion == conclusion
    assert said in found.says
    assert "more than measurement error" not in found.says


@pytest.mark.parametrize(
    ("earlier", "later"),
    [
        (chair_stand_30s(9, True), chair_stand_30s(12, False)),
        (tug(13, "frame"), tug(11, "none")),
        (sppb((9,), 4, (), None), sppb((9,), 3, (), None)),
    ],
)
def test_what_was_done_otherwise_is_not_compared(earlier: Scored, later: Scored) -> None:
    found = change(earlier, later, 74)
    assert found is not None
    assert found.conclusion == "not comparable"
    assert found.says.startswith("Not comparable: ")


def test_different_tests_have_no_change_between_them() -> None:
    with pytest.raises(ImpossibleValue):
        change(tug(10), five_stands(10), 74)
    assert change(five_stands(None), five_stands(14), 74) is None


def test_the_same_twice_is_no_change() -> None:
    for sample in SAMPLES:
        same = change(sample, sample, 74, "female")
        assert same is None or same.conclusion == "no sure change"


SAMPLES: list[Scored] = [
    *(four_stage(held) for held in ((6,), (10, 8), (10, 10, 9.9), (10, 10, 10, 4), (10,) * 4)),
    *(one_leg((s,), (s / 2,)) for s in (3, 7, 20)),
    *(sppb((10, 10, t), 4, (5.0,), 12.0) for t in (2, 5, 10)),
    sppb((4,), 3, (), None),
    *(chair_stand_30s(n, arms) for n in (3, 20) for arms in (True, False)),
    *(five_stands(s) for s in (10, 13, 16, None)),
    *(tug(s, "stick") for s in (9, 13, 20)),
]


def every_finding() -> Iterator[Finding]:
    for sample in SAMPLES:
        for age in (30, 59, 60, 74, 89, 95):
            for sex in ("female", "male", None):
                yield from sample.findings(age, sex)


DIAGNOSES = re.compile(
    r"diagnos|sarcopeni|frail|osteo|dement|parkinson|vestibular|neuropath|disease|disorder|"
    r"patient|suffer|you have|abnormal|normal\b",
    re.IGNORECASE,
)


def test_no_finding_is_a_diagnosis_or_promises_anything() -> None:
    found = list(every_finding())
    assert len(found) > 500
    for finding in found:
        assert not DIAGNOSES.search(finding.says), finding.says
        assert finding.says[0].isupper() or finding.says[0].isdigit()
        assert finding.says.endswith(".")
        assert finding.source.cite
    assert "not a diagnosis" in NOT_A_DIAGNOSIS


def test_every_source_says_where_it_was_read() -> None:
    named = [source for source in vars(every_source).values() if isinstance(source, Source)]
    assert len(named) >= 20
    for source in named:
        assert source.note or "no source" in source.cite
        assert "memory" not in source.cite


def test_only_published_figures_stand_beside_a_result() -> None:
    for sample in SAMPLES:
        for norm in sample.norms(74, "female"):
            assert norm.source is not every_source.COMMON_PRACTICE


# --- forms and stored values ----------------------------------------------------------------------

FORMS: dict[str, tuple[dict[str, str], dict[str, Any], float | None]] = {
    "four_stage": (
        {"stage_1": "10", "stage_2": "10", "stage_3": "9,9", "stage_4": ""},
        {"held_s": [10.0, 10.0, 9.9]},
        2,
    ),
    "one_leg": (
        {"left_1": "3.2", "left_2": "8.5", "left_3": "6", "right_1": "9"},
        {"left_s": [3.2, 8.5, 6.0], "right_s": [9.0]},
        8.5,
    ),
    "sppb": (
        {"stand_1": "10", "stand_2": "10", "stand_3": "5", "course_m": "4", "walk_1": "5.50",
         "chair_s": "14.20"},
        {"stands_s": [10.0, 10.0, 5.0], "course_m": 4, "walks_s": [5.5], "chair_s": 14.2},
        8,
    ),
    "chair_stand_30s": ({"stands": "14", "arms": "on"}, {"stands": 14, "arms_used": True}, 0),
    "five_stands": ({"time_s": ""}, {"time_s": None}, None),
    "tug": ({"time_s": "12.5", "aid": "stick"}, {"time_s": 12.5, "aid": "stick"}, 12.5),
    "fear": ({"form": "fes_i_short", "total": "12"}, {"form": "fes_i_short", "total": 12}, 12),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_a_form_becomes_values_and_a_score(kind: str) -> None:
    form, values, headline = FORMS[kind]
    assert values_from_form(kind, form) == values
    scored = score(kind, values)
    assert (scored.headline or (None,))[0] == headline
    assert score_to_json(scored)["value"] == headline
    assert {entry.name for entry in kind_of(kind).entries} >= set(form)


@pytest.mark.parametrize(
    ("kind", "form"),
    [
        ("four_stage", {"stage_1": "ten"}),
        ("four_stage", {"stage_1": "10", "stage_3": "4"}),
        ("one_leg", {"left_1": "inf"}),
        ("one_leg", {}),
        ("one_leg", {"left_2": "4"}),
        ("sppb", {"stand_1": "9", "course_m": ""}),
        ("sppb", {"stand_1": "9", "course_m": "2"}),
        ("chair_stand_30s", {"stands": "12.5"}),
        ("chair_stand_30s", {}),
        ("fear", {"form": "fes_i_short", "total": "29"}),
        ("fear", {"form": "fes_i", "total": "15"}),
        ("fear", {"form": "mine", "total": "20"}),
        ("fear", {"form": "fes_i"}),
        ("tug", {"time_s": "9", "aid": ""}),
        ("tug", {"time_s": "nan", "aid": "none"}),
        ("hopping", {}),
    ],
)
def test_a_form_with_what_cannot_be_is_refused_in_words(kind: str, form: dict[str, str]) -> None:
    with pytest.raises(ImpossibleValue) as refused:
        score(kind, values_from_form(kind, form))
    assert "must be" in str(refused.value)


@pytest.mark.parametrize("kind", KINDS)
def test_every_test_has_a_printable_instruction(kind: str) -> None:
    told = instruction(kind)
    assert told.title == KINDS[kind].title
    assert len(told.steps) >= 3
    assert told.needs
    assert told.sources
    assert "Stop" in told.stop or "ends the test" in told.stop or "score is 0" in told.stop


def test_semi_tandem_is_told_as_each_test_has_it() -> None:
    assert any("instep of one foot" in step for step in instruction("four_stage").steps)
    assert any("side of one heel" in step for step in instruction("sppb").steps)


def test_ages_and_sexes_that_cannot_be_are_refused() -> None:
    assert age_of(74) == 74
    assert sex_of(None) is None
    for age in (17, 111, 74.5, "74", True):
        with pytest.raises(ImpossibleValue):
            age_of(age)
    with pytest.raises(ImpossibleValue):
        sex_of("other")
