"""What holds for every ladder, plan, history and report."""

import json
from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from decide_cases import LEFT, RIGHT, START, Diary, ladder_of
from hypothesis import given, settings
from hypothesis import strategies as st

from rungwise.ladder.caution import PRESETS
from rungwise.ladder.progression import (
    RULES,
    Chance,
    DayReport,
    PastDay,
    Plan,
    SideHold,
    decide,
    decide_absence,
)
from rungwise.ladder.rungs import Ladder

GATES = ("single_leg", "first_soft")
ANSWERS = st.sampled_from(["no", "no", "no", "unsure", "yes"])
QUIET = st.just("no")

ladders = st.builds(
    ladder_of,
    st.integers(1, 14),
    st.sets(st.integers(0, 13), max_size=4),
    st.dictionaries(st.integers(0, 13), st.sampled_from(GATES), max_size=3),
    st.sets(st.integers(0, 13)),
)
plans = st.builds(
    Plan,
    target_s=st.integers(10, 30),
    caution=st.sampled_from(list(PRESETS.values())),
    open_gates=st.sets(st.sampled_from(GATES)).map(frozenset),
    resting=st.booleans(),
)
seconds = st.none() | st.floats(allow_nan=True) | st.integers(0, 40).map(float)
hows = st.sampled_from(["steady", "steady", "wobbly", None])
holds = st.lists(
    st.builds(SideHold, seconds, st.sampled_from([None, "both", LEFT, RIGHT])), max_size=4
).map(tuple)
steady_holds = st.just((SideHold(30, "both"),))


@st.composite
def reports(draw: st.DrawFn, ladder: Ladder, number: int, calm: bool = False) -> DayReport:
    answers = QUIET if calm else ANSWERS
    keys = [rung.key for rung in ladder.rungs]
    return DayReport(
        day=START + timedelta(days=number),
        rung_key=draw(st.sampled_from(keys)),
        holds=draw(steady_holds | holds),
        steadiness=draw(hows),
        steadiness_by_side=draw(st.dictionaries(st.sampled_from([LEFT, RIGHT]), hows, max_size=2)),
        skipped=draw(st.sampled_from([False, False, False, True])),
        fall=draw(answers),
        pain=draw(answers),
        dizzy=draw(answers),
        emergency=not calm and draw(st.sampled_from([False, False, False, True])),
    )


chances = st.none() | st.builds(
    Chance,
    st.integers(0, 13).map("r{:02d}".format),
    st.floats(0, 1) | st.just(float("nan")),
    st.just(0.0),
    st.just(1.0),
)


@st.composite
def cases(
    draw: st.DrawFn, calm: bool = False
) -> tuple[Ladder, Plan, list[PastDay], DayReport, Chance | None]:
    """A history that `decide` itself made, day by day, with overrides in between."""
    ladder, plan = draw(ladders), draw(plans)
    if calm:
        plan = replace(plan, resting=False)
    diary = Diary(ladder, draw(st.sampled_from([rung.key for rung in ladder.rungs])), plan)
    for _ in range(draw(st.integers(0, 12))):
        report = draw(reports(ladder, diary.number, calm=True))
        if draw(st.booleans()):
            report = replace(report, rung_key=diary.at)
        diary.day(report, draw(chances))
        if draw(st.integers(0, 9)) == 0:
            diary.place(draw(st.sampled_from([rung.key for rung in ladder.rungs])))
    report = draw(reports(ladder, diary.number, calm))
    if draw(st.integers(0, 4)):
        report = replace(report, rung_key=diary.at)
    return ladder, plan, diary.history, report, draw(chances)


def place_of(ladder: Ladder, key: str) -> int:
    return ladder.index(key) if key in ladder else 0


@settings(max_examples=150, deadline=None)
@given(cases())
def test_every_move_keeps_the_laws(case: tuple) -> None:
    ladder, plan, history, report, chance = case
    move = decide(ladder, plan, history, report, chance)
    before, after = place_of(ladder, move.from_key), place_of(ladder, move.to_key)
    assert move.rule in RULES
    json.dumps(move.facts)
    assert move == decide(ladder, plan, tuple(history), report, chance)
    if history:
        assert move.from_key == history[-1].move.to_key
    if move.kind == "up":
        assert after == before + 1
        assert not plan.resting
        for rung in ladder.rungs[: after + 1]:
            assert rung.gate is None or rung.gate in plan.open_gates
        assert report.fall == report.pain == report.dizzy == "no"
        assert not report.emergency
        assert not report.skipped
        assert report.rung_key == move.from_key
    elif move.kind == "back":
        assert after < before
    else:
        assert move.to_key == move.from_key


@settings(max_examples=60, deadline=None)
@given(cases(), st.sampled_from(["fall", "pain", "dizzy", "emergency"]))
def test_a_sure_sign_rests_whatever_else_was_said(case: tuple, sign: str) -> None:
    ladder, plan, history, report, chance = case
    told = replace(report, **{sign: True if sign == "emergency" else "yes"})
    move = decide(ladder, plan, history, told, chance)
    assert move.kind == "rest"
    assert {"dizzy": "dizziness"}.get(sign, sign) in move.alerts


@settings(max_examples=60, deadline=None)
@given(cases(calm=True), st.sampled_from(["fall", "pain", "dizzy"]))
def test_a_doubtful_sign_never_moves_anybody_up(case: tuple, sign: str) -> None:
    ladder, plan, history, report, chance = case
    move = decide(ladder, plan, history, replace(report, **{sign: "unsure"}), chance)
    assert move.kind == "stay"
    assert move.alerts


@settings(max_examples=60, deadline=None)
@given(cases())
def test_an_opinion_changes_an_up_to_a_stay_and_nothing_else(case: tuple) -> None:
    ladder, plan, history, report, chance = case
    without = decide(ladder, plan, history, report)
    move = decide(ladder, plan, history, report, chance)
    if move.kind != without.kind:
        assert (without.kind, move.kind, move.rule) == ("up", "stay", "second_opinion")
    else:
        assert (move.to_key, move.rule) == (without.to_key, without.rule)


@settings(max_examples=60, deadline=None)
@given(cases(calm=True), st.floats(0, 0.999), st.sampled_from(["wobbly", "shorter"]))
def test_a_worse_day_never_leads_higher(case: tuple, share: float, worse: str) -> None:
    ladder, plan, history, report, chance = case
    better = decide(ladder, plan, history, report, chance)
    if worse == "wobbly":
        changed = replace(report, steadiness="wobbly")
    else:
        sets = tuple(
            replace(hold, seconds=None if hold.seconds is None else min(hold.seconds, 40) * share)
            for hold in report.holds
        )
        changed = replace(report, holds=sets)
    move = decide(ladder, plan, history, changed, chance)
    assert place_of(ladder, move.to_key) <= place_of(ladder, better.to_key)


@pytest.mark.parametrize("seed", range(4))
def test_only_the_end_of_a_long_history_counts(seed: int) -> None:
    dice = Random(seed)
    diary = Diary(ladder_of(14, gates={9: "single_leg"}), "r05")
    for _ in range(400):
        if dice.random() < 0.02:
            diary.place(f"r{dice.randrange(14):02d}")
        if dice.random() < 0.01:
            diary.tell(fall="yes")
        move = diary.script(dice.choice("ssssssswhf-?"))[0]
        recent, report = diary.history[-101:-1], diary.history[-1].report
        assert report is not None
        assert decide(diary.ladder, diary.plan, recent, report) == move


@settings(max_examples=60, deadline=None)
@given(cases(calm=True))
def test_one_move_up_a_day_at_most(case: tuple) -> None:
    ladder, plan, history, report, chance = case
    first = decide(ladder, plan, history, report, chance)
    again = replace(report, rung_key=first.to_key)
    second = decide(ladder, plan, [*history, PastDay(report.day, report, first)], again, chance)
    assert not (first.kind == "up" and second.kind == "up")


@settings(max_examples=60, deadline=None)
@given(cases(), st.integers(-2, 60))
def test_absence_never_leads_higher(case: tuple, days: int) -> None:
    ladder, plan, history, report, _ = case
    key = history[-1].move.to_key if history else report.rung_key
    since = report.day
    move = decide_absence(ladder, plan, history, key, since, since + timedelta(days=days))
    if move is not None:
        assert days >= plan.caution.away_back_days
        assert (move.kind == "rest") == (days >= plan.caution.away_rest_days)
        assert ladder.index(move.to_key) <= ladder.index(key)
