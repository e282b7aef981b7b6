"""Who needs a visit: each rule on both sides of its limits, and the order of the list."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.evidence import VISIT_RULES, ClientSeen, DaySeen, Flag, rank, reasons
from rungwise.evidence.visits import planned_days

TODAY = date(2026, 6, 1)  # a Monday
FINE = ClientSeen(
    state="active",
    state_since=TODAY - timedelta(days=100),
    started=TODAY - timedelta(days=100),
    weekdays=frozenset(range(7)),
)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def every_day(first: int, last: int, bad: int = 0) -> list[DaySeen]:
    """A report for each of the days from `first` to `last` ago; the latest `bad` are bad."""
    return [DaySeen(ago(n), True, bad=n < last + bad) for n in range(first, last - 1, -1)]


STEADY = every_day(42, 1)


def rules(seen: ClientSeen) -> list[str]:
    return [reason.rule for reason in reasons(seen, TODAY)]


def test_someone_practising_steadily_needs_no_visit() -> None:
    assert rules(replace(FINE, days=STEADY)) == []


@pytest.mark.parametrize(("days", "listed"), [(0, True), (27, True), (28, False)])
def test_a_fall_counts_for_28_days(days: int, listed: bool) -> None:
    seen = replace(FINE, days=STEADY, falls=[ago(days)])
    assert (rules(seen) == ["fall"]) is listed


def test_one_fall_and_two_are_told_apart() -> None:
    seen = replace(FINE, days=STEADY, falls=[ago(3)])
    assert reasons(seen, TODAY)[0].says == "A fall told in the last 28 days on Fri 29 May."
    two = replace(seen, falls=[ago(3), ago(9)])
    assert reasons(two, TODAY)[0].says.startswith("2 falls told in the last 28 days, the latest on")


FLAG = "Losing ground quickly since about 3 May: steady on 2 of 9 days. Ring this week."


@pytest.mark.parametrize("rule", ["decline", "told_too_well"])
@pytest.mark.parametrize(("days", "listed"), [(0, True), (27, True), (28, False), (-1, False)])
def test_a_flag_stands_for_28_days(rule: str, days: int, listed: bool) -> None:
    seen = replace(FINE, days=STEADY, **{rule: Flag(ago(days), FLAG)})
    assert (rules(seen) == [rule]) is listed
    if listed:
        assert reasons(seen, TODAY)[0].says == FLAG
        assert reasons(seen, TODAY)[0].since == ago(days)


@pytest.mark.parametrize(("reviewed", "listed"), [(11, True), (10, False), (2, False)])
def test_a_retest_or_a_call_after_it_ends_a_flag(reviewed: int, listed: bool) -> None:
    seen = replace(FINE, days=STEADY, decline=Flag(ago(10), FLAG), reviewed=ago(reviewed))
    assert (rules(seen) == ["decline"]) is listed


def test_who_rests_or_pauses_is_not_flagged_too() -> None:
    for state in ("resting", "paused"):
        seen = replace(FINE, state=state, decline=Flag(ago(1), FLAG))
        assert "decline" not in rules(seen)


# Share of planned days practised: at least 30 points less (our choice, no source).
@pytest.mark.parametrize(
    ("recent", "before", "listed"), [(9, 28, True), (10, 28, False), (2, 14, True), (14, 28, False)]
)
def test_practising_less(recent: int, before: int, listed: bool) -> None:
    days = every_day(42, 15)[:before] + every_day(14, 1)[:recent]
    assert ("adherence" in rules(replace(FINE, days=days))) is listed


def test_days_away_are_not_planned() -> None:
    seen = replace(FINE, days=every_day(42, 15), away=[(ago(14), ago(1))])
    assert rules(seen) == []
    assert planned_days(seen, ago(14), ago(1)) == 0
    assert planned_days(replace(FINE, weekdays={0, 2, 4}), ago(14), ago(1)) == 6
    assert planned_days(replace(FINE, started=ago(3)), ago(14), ago(1)) == 3


@pytest.mark.parametrize(("prompts", "listed"), [(2, False), (3, True), (9, True)])
def test_silent(prompts: int, listed: bool) -> None:
    assert ("silent" in rules(replace(FINE, days=STEADY, silent_prompts=prompts))) is listed


@pytest.mark.parametrize(("days", "listed"), [(-1, False), (0, True), (9, True)])
def test_a_review_is_due(days: int, listed: bool) -> None:
    seen = replace(FINE, days=STEADY, review_due=ago(days))
    assert ("review" in rules(seen)) is listed


def test_open_alerts_and_rests() -> None:
    seen = replace(FINE, days=STEADY, open_alerts={"stuck": ago(5), "gate_reached": ago(2)})
    assert rules(seen) == ["stuck", "gate"]
    resting = replace(FINE, state="resting", state_since=ago(4))
    assert [one.says for one in reasons(resting, TODAY)] == [
        "Resting for 4 days, until you clear them."
    ]


@pytest.mark.parametrize("state", ["invited", "stopped"])
def test_who_has_not_begun_or_has_ended_is_not_listed(state: str) -> None:
    seen = replace(FINE, state=state, falls=[ago(1)], review_due=ago(9), silent_prompts=9)
    assert reasons(seen, TODAY) == ()


def test_a_paused_client_is_not_silent_but_may_have_fallen() -> None:
    seen = replace(FINE, state="paused", falls=[ago(1)], review_due=ago(9), silent_prompts=9)
    assert rules(seen) == ["fall", "review"]


def test_the_list_goes_by_the_gravest_reason_then_how_many_then_how_long() -> None:
    fell = replace(FINE, days=STEADY, falls=[ago(2)])
    fell_and_due = replace(fell, review_due=ago(1))
    stuck_long = replace(FINE, days=STEADY, open_alerts={"stuck": ago(9)})
    stuck = replace(FINE, days=STEADY, open_alerts={"stuck": ago(3)})
    due = replace(FINE, days=STEADY, review_due=ago(30))
    people = [due, stuck, fell, stuck_long, fell_and_due]
    in_order = sorted(people, key=lambda seen: rank(reasons(seen, TODAY)))
    assert in_order == [fell_and_due, fell, stuck_long, stuck, due]


DAYS = st.builds(
    DaySeen,
    day=st.integers(0, 60).map(ago),
    practised=st.booleans(),
    bad=st.sampled_from((None, True, False)),
)


@given(
    st.builds(
        ClientSeen,
        state=st.sampled_from(("invited", "active", "resting", "paused", "stopped")),
        state_since=st.integers(0, 60).map(ago),
        started=st.integers(0, 60).map(ago),
        weekdays=st.frozensets(st.integers(0, 6)),
        days=st.lists(DAYS, max_size=60),
        falls=st.lists(st.integers(0, 60).map(ago), max_size=2),
        open_alerts=st.dictionaries(st.sampled_from(("stuck", "gate_reached")), st.just(ago(1))),
        silent_prompts=st.integers(0, 9),
        review_due=st.none() | st.integers(-9, 60).map(ago),
    )
)
def test_every_reason_is_a_named_rule_with_a_sentence(seen: ClientSeen) -> None:
    found = reasons(seen, TODAY)
    names = [reason.rule for reason in found]
    assert names == sorted(names, key=list(VISIT_RULES).index)
    assert len(set(names)) == len(names)
    for reason in found:
        assert reason.says.endswith(".")
        assert reason.since <= TODAY
    if found:
        assert rank(found)[0] == list(VISIT_RULES).index(names[0])
    fell = any(ago(27) <= day <= TODAY for day in seen.falls)
    if fell and seen.state in ("active", "resting", "paused"):
        assert names[0] == "fall"
