"""How texts of one day make one report, and what is asked back."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungwise.coach.conversation.report_fold import fold, missing
from rungwise.coach.record.codec import (
    context_from_json,
    context_to_json,
    reading_from_json,
    reading_to_json,
    report_from_json,
    report_to_json,
)
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.stance import Side
from rungwise.reply.reading import Context, Hold, Reading

DAY = date(2026, 3, 2)
LADDER = build_ladder(Body(246, 93, 177), Equipment(), Limits())
SAME = LADDER.rungs[0]
SIDED = next(rung for rung in LADDER.rungs if len(rung.sides) == 2)
EMPTY = DayReport(day=DAY, rung_key=SAME.key)
FLAGS = ("fall", "pain", "dizzy")
RANK = {"no": 0, "unsure": 1, "yes": 2}

answers = st.sampled_from(["yes", "no", "unsure"])
sides = st.sampled_from([None, "left", "right", "both"])
holds = st.lists(st.builds(Hold, st.integers(0, 90).map(float), sides), max_size=4).map(tuple)
steadiness = st.sampled_from([None, "steady", "wobbly"])
readings = st.builds(
    Reading,
    kind=st.sampled_from(["result", "skipped", "safety_only", "other"]),
    holds=holds,
    steadiness=steadiness,
    fall=answers,
    pain=answers,
    dizzy=answers,
    emergency=st.booleans(),
    yes_no=st.sampled_from([None, "yes", "no"]),
    correction=st.booleans(),
)
asked = st.sampled_from(
    ["result", "seconds", "steadiness", "sides", "fall_yes_no", "pain_yes_no", "hurt"]
)


def result(*told: Hold, how: str | None = None, **more: object) -> Reading:
    return Reading(kind="result", holds=told, steadiness=how, **more)


def test_two_texts_make_one_report() -> None:
    report = fold(EMPTY, result(Hold(20)), "result")
    assert missing(report, SAME, 20) == "steadiness"
    report = fold(report, result(how="steady"), "steadiness")
    assert missing(report, SAME, 20) is None
    assert report.holds == (SideHold(20),)
    assert report.steadiness == "steady"


def test_the_seconds_after_how_it_felt() -> None:
    report = fold(EMPTY, result(how="steady"), "result")
    assert missing(report, SAME, 20) == "seconds"
    report = fold(report, result(Hold(22)), "seconds")
    assert missing(report, SAME, 20) is None


def test_a_second_session_adds_and_the_worse_counts() -> None:
    report = fold(EMPTY, result(Hold(20), how="steady"), "result")
    report = fold(report, result(Hold(15), how="wobbly"), "result")
    assert report.holds == (SideHold(20), SideHold(15))
    assert report.steadiness == "wobbly"


def test_a_correction_replaces_only_what_it_tells() -> None:
    report = fold(EMPTY, result(Hold(20), how="wobbly"), "result")
    report = fold(report, result(Hold(25), correction=True), "result")
    assert report.holds == (SideHold(25),)
    assert report.steadiness == "wobbly"
    report = fold(report, result(how="steady", correction=True), "result")
    assert report.holds == (SideHold(25),)
    assert report.steadiness == "steady"


def test_the_answer_to_which_side_replaces_the_loose_number() -> None:
    report = replace(fold(EMPTY, result(Hold(20), how="steady"), "result"), rung_key=SIDED.key)
    assert missing(report, SIDED, 20) == "sides"
    report = fold(report, result(Hold(20, "left"), Hold(18, "right")), "sides")
    assert missing(report, SIDED, 20) is None
    assert report.holds == (SideHold(20, Side.LEFT), SideHold(18, Side.RIGHT))


@pytest.mark.parametrize(
    "told",
    [
        (Hold(20, "both"),),
        (Hold(20, "left"), Hold(20, "right")),
        (Hold(20), Hold(21)),
    ],
)
def test_both_sides_may_be_told_in_any_of_three_ways(told: tuple[Hold, ...]) -> None:
    report = replace(fold(EMPTY, result(*told, how="steady"), "result"), rung_key=SIDED.key)
    assert missing(report, SIDED, 20) is None


def test_a_wobbly_or_short_day_needs_no_more_questions() -> None:
    assert missing(fold(EMPTY, result(how="wobbly"), "result"), SAME, 20) is None
    assert missing(fold(EMPTY, result(Hold(8)), "result"), SAME, 20) is None


def test_skipped_is_taken_back_by_a_result() -> None:
    report = fold(EMPTY, Reading(kind="skipped"), "result")
    assert report.skipped
    assert missing(report, SAME, 20) is None
    assert not fold(report, result(Hold(20), how="steady"), "result").skipped


@settings(max_examples=100)
@given(st.lists(st.tuples(readings, asked), max_size=6))
def test_a_safety_flag_only_goes_down_by_the_answer_to_its_own_question(
    texts: list[tuple[Reading, str]],
) -> None:
    report = EMPTY
    for reading, question in texts:
        after = fold(report, reading, question)  # type: ignore[arg-type]
        for flag in FLAGS:
            settled = question == f"{flag}_yes_no" and reading.yes_no is not None
            if RANK[getattr(after, flag)] < RANK[getattr(report, flag)]:
                assert settled
            if not settled:
                assert RANK[getattr(after, flag)] >= RANK[getattr(reading, flag)]
        assert after.emergency >= (report.emergency or reading.emergency)
        assert (after.day, after.rung_key) == (report.day, report.rung_key)
        report = after


@settings(max_examples=100)
@given(st.lists(st.tuples(readings, asked), max_size=4))
def test_folding_again_gives_the_same_report(texts: list[tuple[Reading, str]]) -> None:
    def all_of_it() -> DayReport:
        report = EMPTY
        for reading, question in texts:
            stored = reading_from_json(reading_to_json(reading))
            report = fold(report, stored, question)  # type: ignore[arg-type]
        return report

    assert all_of_it() == all_of_it()
    assert report_from_json(report_to_json(all_of_it())) == all_of_it()


def test_a_context_comes_back_from_json() -> None:
    context = Context(target_s=15, sided=True, leads=(Side.RIGHT, Side.LEFT), asked="hurt")
    assert context_from_json(context_to_json(context)) == context
