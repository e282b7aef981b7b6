"""Rule version 2: its bounds whatever is told, and what single days lead to."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rule_trial import (
    FIRM_COUNT,
    OWN,
    Client,
    costs,
    first_at,
    landmark_place,
    median_days,
    risky_year,
    steady_path,
)
from rule_trial import Setting as Trial
from rule_trial import lives as trial_lives

from rungwise.coach.record.verdict import verdict
from rungwise.commands.simulate_drive import WEEKDAYS, session_dates
from rungwise.ladder.absence import missed_sessions, override_move, sessions_away
from rungwise.ladder.belief import footing
from rungwise.ladder.body import GATES
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.changeover import changeover
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.demand import SUPPORT_RELIEF
from rungwise.ladder.explain import explain_next
from rungwise.ladder.moves import RULES, PastDay, Plan
from rungwise.ladder.progression import decide

MONDAY = date(2026, 1, 5)
LANDMARKS = [place for place, rung in enumerate(OWN.rungs) if rung.landmark]


def between(low: int, high: int) -> int:
    """Landmarks passed by a move: those strictly between its ends."""
    return sum(low < place < high for place in LANDMARKS)


def play(client: Client, letters: str) -> list:
    """Each letter a session of a client's; - misses one."""
    moves = []
    weekdays = client.plan.weekdays
    days = session_dates(weekdays)
    start = client.history[-1].day + timedelta(days=1 if len(client.history) > 1 else 0)
    wanted = (day for day in days if day >= start)
    for letter, day in zip(letters, wanted, strict=False):
        client.before(day)
        if letter != "-":
            moves.append(client.tell(day, letter))
    return moves


@settings(max_examples=60, deadline=None)
@given(
    st.text("sssswhf-", min_size=4, max_size=40),
    st.integers(0, len(OWN) - 1),
    st.sampled_from([1, 2, 3, 7]),
    st.sampled_from([frozenset(), frozenset({"single_leg"}), frozenset(GATES)]),
    st.sampled_from(sorted(PRESETS)),
)
def test_no_report_moves_past_a_bound(
    letters: str, start: int, days: int, gates: frozenset[str], preset: str
) -> None:
    client = Client(2, start, days)
    client.plan = replace(client.plan, open_gates=gates, caution=PRESETS[preset])
    for move, past in zip(play(client, letters), _reported(client), strict=True):
        low, high = OWN.index(move.from_key), OWN.index(move.to_key)
        assert move.rule in RULES
        assert move.version == 2
        assert move.because
        if move.kind == "up":
            assert past.report is not None
            assert past.report.steadiness == "steady"
            assert high > low
            assert between(low, high) == 0
            passed = {rung.gate for rung in OWN.rungs[low + 1 : high + 1]} - {None}
            assert passed <= gates
            less = SUPPORT_RELIEF[OWN.rungs[high].support] < SUPPORT_RELIEF[OWN.rungs[low].support]
            harder = footing(OWN.rungs[high]) > footing(OWN.rungs[low])
            assert high == low + 1 or not (less and harder)
        elif move.kind == "back":
            assert high < low
            assert between(high, low) == 0
        else:
            assert high == low


def _reported(client: Client) -> list[PastDay]:
    return [past for past in client.history if past.report is not None]


def test_there_is_one_move_up_for_a_date() -> None:
    client = Client(2, 3)
    moves = play(client, "ss")
    assert [move.kind for move in moves] == ["stay", "up"]
    day = client.history[-1].day
    again = [client.tell(day, "s") for _ in range(4)]
    assert "up" not in {move.kind for move in again}


def test_the_same_past_gives_the_same_move() -> None:
    client = Client(2, 5)
    play(client, "ssswssfsswssss-sswss")
    for number, past in enumerate(client.history):
        if past.report is not None:
            assert decide(OWN, client.plan, client.history[:number], past.report) == past.move


@pytest.mark.parametrize("days", [1, 2, 3])
@pytest.mark.parametrize("preset", sorted(PRESETS))
def test_practising_steadily_as_planned_never_demotes(days: int, preset: str) -> None:
    client = Client(2, 12, days)
    client.plan = replace(client.plan, caution=PRESETS[preset])
    places = []
    for day in islice(session_dates(client.plan.weekdays), 40):
        client.before(day)
        places.append(client.place)
        client.tell(day, "s")
    assert places == sorted(places)
    assert {past.move.kind for past in client.history} <= {"override", "stay", "up"}


def test_absence_counts_planned_sessions_missed() -> None:
    friday = date(2026, 1, 9)
    monday_after_next = date(2026, 1, 19)
    assert missed_sessions(WEEKDAYS[3], friday, monday_after_next) == 3
    assert missed_sessions(WEEKDAYS[1], date(2026, 1, 5), date(2026, 1, 12)) == 0
    assert missed_sessions(WEEKDAYS[7], friday, friday) == 0
    assert [sessions_away(WEEKDAYS[n], 7) for n in (1, 2, 3, 7)] == [2, 2, 3, 7]


@pytest.mark.parametrize(("days", "sessions"), [(1, 4), (3, 10), (7, 22)])
def test_three_weeks_without_practice_rest(days: int, sessions: int) -> None:
    client = Client(2, 12, days)
    play(client, "s" + "-" * sessions)
    assert client.history[-1].move.rule == "away_rest"
    assert client.history[-1].move.alerts == ("away",)


def test_a_move_back_for_an_absence_is_at_most_one_landmark() -> None:
    client = Client(2, 40)
    play(client, "swsws" + "-" * 8)
    backs = [past.move for past in client.history if past.move.rule == "away_back"]
    for move in backs:
        low, high = OWN.index(move.to_key), OWN.index(move.from_key)
        assert between(low, high) == 0


def test_too_easy_makes_the_next_step_no_smaller_and_sometimes_larger() -> None:
    larger = 0
    for start in range(1, FIRM_COUNT - 6, 3):
        plain, said = Client(2, start), Client(2, start)
        for client, easy in ((plain, False), (said, True)):
            for day in islice(session_dates(client.plan.weekdays), 2):
                report = DayReport(day, client.at, (SideHold(20, "both"),), "steady", too_easy=easy)
                move = decide(OWN, client.plan, client.history, report)
                client._made(day, report, move)
        assert said.place >= plain.place
        larger += said.place > plain.place
    assert larger > 0


def test_being_held_back_for_fourteen_practised_days_alerts_with_an_act() -> None:
    """A client never told unsteady but on a rung far too hard by the second opinion."""
    client = Client(2, landmark_place("tandem"))
    client.plan = replace(client.plan, caution=replace(PRESETS["usual"], least_chance=0.95))
    moves = play(client, "wsswsw" + "s" * 60)
    held = [move for move in moves if move.rule == "second_opinion"]
    alerting = [move for move in held if "held_back" in move.alerts]
    assert alerting
    for move in alerting:
        assert move.facts["climb"]["held_back"] % 14 == 0
        assert "choose the rung yourself" in move.because


def test_after_a_rest_the_steps_are_small_for_a_week() -> None:
    client = Client(2, 12, 7)
    client.plan = replace(client.plan, resting=True)
    cleared = override_move(client.plan, client.history, client.at, client.at, "Cleared.")
    client._made(MONDAY, None, cleared)
    client.plan = replace(client.plan, resting=False)
    moves = play(client, "ssssss")
    ups = [move for move in moves if move.kind == "up"]
    assert ups
    assert all(OWN.index(move.to_key) == OWN.index(move.from_key) + 1 for move in ups)


def test_the_always_steady_client_stands_on_one_leg_within_ten_weeks() -> None:
    """The figures asked of the rule: tandem within 24 practised days, one leg within 30."""
    places = steady_path(2)
    assert first_at(places, landmark_place("tandem")) <= 24
    assert first_at(places, landmark_place("single_leg")) <= 30


def test_one_bad_day_and_a_week_away_cost_little() -> None:
    """Asked of the rule: at most 4 practised days at the 90th percentile."""
    for away in (False, True):
        lost = sorted(costs(2, away))
        assert lost[int(0.9 * len(lost)) - 1] <= 4


def test_a_few_still_clients_climb_fast_and_seldom_too_far() -> None:
    """A small run of the table in docs/rule.md, so that a change that spoils it is seen."""
    found = trial_lives(2, Trial(), seed=51, clients=12)
    assert median_days(found) <= 20
    assert risky_year(found) <= 1.5
    assert max(life.most_landmarks for life in found) <= 1


def test_the_next_step_is_explained() -> None:
    client = Client(2, 12)
    play(client, "s")
    words = explain_next(OWN, client.plan, client.history, client.at)
    assert words.endswith("after one more steady day.")


def test_a_plan_refuses_a_rule_there_is_not() -> None:
    with pytest.raises(Exception, match="rule_version"):
        Plan(rule_version=3)


def test_changing_over_moves_nobody_and_shows_what_a_day_would_lead_to() -> None:
    client = Client(1, 12)
    play(client, "sswsssss")
    day = client.history[-1].day + timedelta(days=3)
    seen = changeover(OWN, client.plan, client.history, client.at, day)
    assert seen.rung_key == client.at
    assert 0 < seen.chance < 1
    assert (seen.after_steady.version, seen.after_wobbly.version) == (2, 2)
    assert seen.after_wobbly.kind in ("stay", "back")
    over = Client(2, client.place)
    over.history, over.since = client.history, client.since
    assert over.tell(day, "s") == seen.after_steady


def test_old_moves_are_decided_as_before_after_changing_over() -> None:
    client = Client(1, 12)
    play(client, "sswsss")
    before = list(client.history)
    client.plan = replace(client.plan, rule_version=2)
    play(client, "sss")
    first = replace(client.plan, rule_version=1)
    for number, past in enumerate(before):
        if past.report is not None:
            again = verdict(OWN, first, client.history[:number], past.report)
            assert again == past.move
