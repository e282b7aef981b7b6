"""Norms, changes, and what every sentence beside a result must keep to."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from rungwise.errors import ImpossibleValue
from rungwise.evidence import (
    KINDS,
    NOT_A_DIAGNOSIS,
    Finding,
    Scored,
    chair_stand_30s,
    changes,
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
from rungwise.evidence.change import ONE_LEG_MDC_S, ONE_LEG_SEM_S, one_leg_verdict
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


# Springer et al. 2007: best of three from memory, mean of three checked on a reprint.
@pytest.mark.parametrize(
    ("age", "best_s", "mean_s"),
    [(45, 41.9, 40.3), (55, 41.2, 37.0), (65, 32.1, 26.9), (75, 21.5, 15.0), (85, 9.4, 6.2)],
)
def test_one_leg_by_springer(age: int, best_s: float, mean_s: float) -> None:
    best, mean = one_leg_norms(age)[:2]
    assert (best.value, mean.value) == (best_s, mean_s)
    assert "best of three" in best.words
    assert best.source.from_memory
    assert "mean of three" in mean.words
    assert not mean.source.from_memory


def test_fewer_than_three_tries_stand_beside_no_norm_for_three() -> None:
    two = one_leg((9, 8), (7, 6)).norms(74, None)
    assert [norm.value for norm in two] == [17.2]
    three = one_leg((9, 8, 4), (7, 6))
    assert [norm.value for norm in three.norms(74, None)] == [21.5, 15.0, 17.2]
    assert any(
        one.says == "Left leg: best of three 9 s, mean 7 s." for one in three.findings(74, None)
    )


@pytest.mark.parametrize("age", [39, 100, 18])
def test_no_norm_is_stretched_beyond_its_ages(age: int) -> None:
    assert one_leg_norms(age) == ()
    assert tug(9).norms(age, None) == ()


# Bohannon 2006, J Geriatr Phys Ther 29:64-68; 60-69 from memory.
@pytest.mark.parametrize(
    ("age", "mean", "low", "high", "from_memory"),
    [(65, 8.1, 7.1, 9.0, True), (75, 9.2, 8.2, 10.2, False), (85, 11.3, 10.0, 12.7, False)],
)
def test_tug_means(age: int, mean: float, low: float, high: float, from_memory: bool) -> None:
    (norm,) = tug(9).norms(age, "female")
    assert (norm.value, norm.low, norm.high) == (mean, low, high)
    assert norm.source.from_memory is from_memory


# MDC95 = 1.96 x sqrt(2) x SEM; SEM = SD x sqrt(1 - ICC) (both from memory). Goldberg 2011.
def test_detectable_change_from_its_parts() -> None:
    assert mdc95_of(ONE_LEG_SEM_S) == pytest.approx(24.115, abs=0.001)
    assert round(mdc95_of(ONE_LEG_SEM_S), 1) == ONE_LEG_MDC_S
    assert sem_of(16.6, 0.90) == pytest.approx(5.25, abs=0.005)
    assert mdc95_of(sem_of(16.6, 0.90)) == pytest.approx(14.55, abs=0.005)
    mean_s = ONE_LEG_SEM_S / 0.408  # it is 40.8% of the mean
    assert mean_s == pytest.approx(21.3, abs=0.05)
    with pytest.raises(ImpossibleValue):
        sem_of(16.6, 1.2)


# Goldberg et al. 2011: 24.1 s.
@pytest.mark.parametrize(
    ("then_s", "now_s", "verdict"),
    [(20.0, 40.0, "within error"), (5.0, 29.2, "beyond error"), (29.2, 5.0, "beyond error"),
     (5.0, 29.1, "within error")],
)  # fmt: skip
def test_one_leg_change(then_s: float, now_s: float, verdict: str) -> None:
    (change,) = changes(one_leg((then_s,), ()), one_leg((now_s,), ()))
    assert change.verdict == verdict == one_leg_verdict(change.difference)
    assert change.difference == pytest.approx(now_s - then_s)
    assert ("within measurement error" in change.says) is (verdict == "within error")
    assert str(ONE_LEG_MDC_S) in change.says


def test_a_leg_tested_once_has_no_change() -> None:
    assert [c.measure for c in changes(one_leg((5,), (6,)), one_leg((), (9,)))] == [
        "right leg, best try"
    ]
    assert changes(one_leg((5,), ()), one_leg((), (9,))) == ()


@pytest.mark.parametrize(
    ("earlier", "later", "verdict"),
    [
        (chair_stand_30s(9, False), chair_stand_30s(12, False), "not known"),
        (chair_stand_30s(9, True), chair_stand_30s(12, False), "not comparable"),
        (tug(13, "stick"), tug(11, "stick"), "not known"),
        (tug(13, "frame"), tug(11, "none"), "not comparable"),
        (sppb((9,), 4, (), None), sppb((9,), 3, (), None), "not comparable"),
        (sppb((9,), 4, (5.0,), None), sppb((9,), 4, (4.0,), None), "not known"),
        (five_stands(14), five_stands(13), "not known"),
        (four_stage((9,)), four_stage((10, 8)), "not known"),
    ],
)
def test_no_change_is_called_real_without_a_figure(
    earlier: Scored, later: Scored, verdict: str
) -> None:
    (change,) = changes(earlier, later)
    assert change.verdict == verdict
    assert "beyond measurement error" not in change.says


def test_different_tests_have_no_change_between_them() -> None:
    with pytest.raises(ImpossibleValue):
        changes(tug(10), five_stands(10))
    assert changes(five_stands(None), five_stands(14)) == ()


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


def test_what_is_from_memory_says_so() -> None:
    named = [source for source in vars(every_source).values() if isinstance(source, Source)]
    assert len(named) >= 20
    for source in named:
        assert str(source).endswith("(from memory)") is source.from_memory
        # Checked ones say where they were read; only common practice has nothing to say.
        assert source.from_memory or source.note or "no source" in source.cite


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
