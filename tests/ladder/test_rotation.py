"""Keeping up what is held: nothing of the round is harder, and nothing told of it moves anybody."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_WOMAN, bodies, homes, limits, narrowings

from rungwise.ladder import DayReport, Limits, PastDay, Plan, SideHold, build_ladder, decide
from rungwise.ladder.bounds import closed_gate
from rungwise.ladder.demand import SUPPORT_RELIEF
from rungwise.ladder.progression import override_move
from rungwise.ladder.rotation import MOST_KEPT_UP, kept_up, rung_of_day

MONDAY = date(2026, 1, 5)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_nothing_of_the_round_is_harder_whoever_it_is_for(data):
    body, home, narrowing = data.draw(bodies()), data.draw(homes()), data.draw(narrowings())
    limit = data.draw(limits())
    whole = build_ladder(body, home, limit, narrowing)
    ceiling = data.draw(st.sampled_from([rung.key for rung in whole.rungs]))
    ladder = build_ladder(body, home, replace(limit, ceiling_key=ceiling), narrowing)
    top, kept = ladder.rungs[-1], kept_up(ladder)
    assert kept[0] == top
    assert len({rung.key for rung in kept}) == len(kept) <= MOST_KEPT_UP
    for rung in kept:
        assert ladder.index(rung.key) <= ladder.index(top.key)
        assert rung.demand <= top.demand
        assert SUPPORT_RELIEF[rung.support] >= SUPPORT_RELIEF[top.support]
        assert rung == top or rung.landmark
    days = [MONDAY + timedelta(days=n) for n in range(len(kept))]
    assert {rung_of_day(ladder, top.key, day).key for day in days} == {one.key for one in kept}
    for rung in ladder.rungs[:-1]:
        assert all(rung_of_day(ladder, rung.key, day) == rung for day in days)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_no_report_of_the_round_moves_anybody_and_no_gate_is_passed(data):
    whole = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    top = data.draw(st.sampled_from([rung.key for rung in whole.rungs]))
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits(ceiling_key=top))
    top = ladder.rungs[-1].key
    version = data.draw(st.sampled_from([1, 2]))
    gates = frozenset(rung.gate for rung in ladder.rungs if rung.gate)
    plan = Plan(rule_version=version, keeps_up=True, open_gates=gates)
    placed = override_move(plan, [], top, top, "Seen.")
    past, here = [PastDay(MONDAY - timedelta(days=1), None, placed)], top
    for n in range(data.draw(st.integers(1, 12))):
        day = MONDAY + timedelta(days=n)
        asked = rung_of_day(ladder, here, day)
        assert closed_gate(ladder, plan, asked) is None
        report = _told(asked, day, *data.draw(st.sampled_from(_DAYS)))
        move = decide(ladder, plan, past, report)
        assert move.kind != "up" or here != top, "nothing lies above the top"
        if asked.key != here:
            assert (move.kind, move.to_key) == ("stay", here) or move.kind == "rest"
        if move.kind == "rest":
            return
        here = move.to_key
        past.append(PastDay(day, report, move))


_DAYS = [(30, "steady", "no"), (20, "wobbly", "no"), (4, "wobbly", "no"), (20, "steady", "yes")]


def _told(rung, day, seconds, steadiness, fall):
    holds = tuple(SideHold(seconds, side) for side in rung.sides or (None,))
    return DayReport(day, rung.key, holds, steadiness, fall=fall)


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize(("seconds", "steadiness", "fall"), _DAYS)
def test_on_their_own_rung_the_rule_decides_as_ever(version, seconds, steadiness, fall):
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
    for rung in ladder.rungs[:40:4]:
        plan = Plan(rule_version=version)
        report = _told(rung, MONDAY, seconds, steadiness, fall)
        as_ever = decide(ladder, plan, [], report)
        assert decide(ladder, replace(plan, keeps_up=True), [], report) == as_ever


@pytest.mark.parametrize("version", [1, 2])
def test_a_wobble_on_what_is_kept_up_is_shown_to_the_trainer(version):
    ladder = build_ladder(MEAN_WOMAN, FULL_HOME, Limits(ceiling_key="firm/tandem/hover"))
    top, other = kept_up(ladder)[:2]
    plan = Plan(rule_version=version, keeps_up=True)
    first = _told(top, MONDAY, 20, "steady", "no")
    past = [PastDay(MONDAY, first, decide(ladder, plan, [], first))]
    move = decide(ladder, plan, past, _told(other, MONDAY + timedelta(days=1), 9, "wobbly", "no"))
    assert (move.kind, move.to_key, move.alerts) == ("stay", top.key, ("stuck",))
    assert move.because.endswith("It was wobbly or short on a rung that is kept up: please look.")
