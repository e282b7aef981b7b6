"""The rule, case by case: what moves a client, what doesn't, and what it says."""

import json
from dataclasses import replace

import pytest
from decide_cases import (
    LEFT,
    RIGHT,
    Diary,
    day_number,
    kinds,
    ladder_of,
    told,
)

from rungwise.ladder.caution import PRESETS, TrialCaution
from rungwise.ladder.progression import (
    RULES,
    Caution,
    Chance,
    DayReport,
    Move,
    PastDay,
    Plan,
    SideHold,
    decide,
)

LADDER = ladder_of()


@pytest.mark.parametrize(
    ("start", "days", "moves"),
    [
        ("r01", "ss", ".u"),
        ("r01", "sss", ".u."),
        ("r01", "ssss", ".u.u"),
        ("r04", "sss", "..u"),  # a landmark asks for three
        ("r03", "sssss", ".u..u"),
        ("r01", "s-s", "..u"),  # a skipped day doesn't break the run
        ("r01", "s?s", "..u"),  # nor does an unfinished one
        ("r01", "sws", "..."),  # a wobbly one does
        ("r01", "swss", "...u"),
        ("r02", "ww", ".b"),
        ("r02", "hh", ".b"),
        ("r02", "hw", ".b"),
        ("r02", "wsw", "..b"),
        ("r02", "w-w", "..b"),
        ("r02", "w?w", "..b"),
        ("r04", "wssw", "...."),  # the first wobble has left the last three
        ("r06", "f", "b"),
        ("r02", "www", ".b."),  # the count starts afresh after a move
        ("r11", "ss", ".."),  # the top
    ],
)
def test_days_move_the_client(start: str, days: str, moves: str) -> None:
    assert kinds(Diary(LADDER, start).script(days)) == moves


def test_back_is_one_step_and_far_short_goes_to_the_landmark_below() -> None:
    assert Diary(LADDER, "r07").script("ww")[-1].to_key == "r06"
    assert Diary(LADDER, "r07").script("f")[-1].to_key == "r04"
    assert Diary(LADDER, "r08").script("f")[-1].to_key == "r04"
    assert Diary(LADDER, "r03").script("f")[-1].to_key == "r00"


def test_exactly_half_the_target_is_short_and_a_little_less_is_far_short() -> None:
    assert Diary(LADDER, "r06").tell(10).rule == "one_bad_day"
    assert Diary(LADDER, "r06").tell(9.9).rule == "far_short"


def test_exactly_the_target_is_held_and_a_little_less_is_short() -> None:
    assert Diary(LADDER, "r06").tell(20).rule == "gathering"
    assert Diary(LADDER, "r06").tell(19.9).rule == "one_bad_day"


def test_the_run_restarts_after_an_override() -> None:
    diary = Diary(LADDER, "r05")
    diary.script("s")
    diary.place("r05")
    assert kinds(diary.script("ss")) == ".u"


def test_wobbly_days_before_an_override_are_forgotten() -> None:
    diary = Diary(LADDER, "r05")
    diary.script("w")
    diary.place("r05")
    assert kinds(diary.script("ww")) == ".b"


def test_the_shortest_of_several_sets_decides() -> None:
    diary = Diary(LADDER, "r05")
    sets = tuple(SideHold(seconds) for seconds in (25, 14, 22))
    move = diary.day(DayReport(day_number(0), "r05", sets, "steady"))
    assert (move.rule, move.facts["shortest_s"]) == ("one_bad_day", 14)


def test_the_lowest_rung_has_no_back_and_tells_the_trainer() -> None:
    diary = Diary(LADDER, "r00")
    moves = diary.script("wwww")
    assert kinds(moves) == "...."
    assert [m.alerts for m in moves] == [(), ("stuck",), (), ("stuck",)]
    assert Diary(LADDER, "r00").script("f")[0].rule == "lowest"


# Sides


SIDED = ladder_of(sided=range(12))


@pytest.mark.parametrize(
    ("holds", "how", "rule"),
    [
        ([(20, LEFT), (20, RIGHT)], "steady", "gathering"),
        ([(20, LEFT), (14, RIGHT)], "steady", "one_bad_day"),
        ([(5, LEFT), (30, RIGHT)], "steady", "far_short"),
        ([(20, LEFT)], "steady", "unfinished"),
        ([(14, LEFT)], "steady", "one_bad_day"),  # the weaker side can only be weaker
        ([(20, None), (20, None)], "steady", "gathering"),
        ([(20, None), (14, None)], "steady", "one_bad_day"),
        ([(20, None)], "steady", "unfinished"),
        ([(3, None)], "steady", "unfinished"),
        ([(20, None)], "wobbly", "one_bad_day"),
        ([(20, "both")], "steady", "gathering"),
        ([(14, "both")], "steady", "one_bad_day"),
        ([(20, None)] * 3, "steady", "unfinished"),
        ([(20, None), (20, None), (14, None)], "steady", "one_bad_day"),
        ([(20, None)] * 4, "steady", "gathering"),
        ([(20, LEFT), (20, None)], "steady", "unfinished"),
        ([(20, LEFT), (None, RIGHT)], "steady", "unfinished"),
        ([(float("nan"), LEFT), (20, RIGHT)], "steady", "unfinished"),
        ([(float("inf"), LEFT), (20, RIGHT)], "steady", "unfinished"),
        ([(-1, LEFT), (20, RIGHT)], "steady", "far_short"),
        ([(20, LEFT), (20, RIGHT)], None, "unfinished"),
        ([], "wobbly", "one_bad_day"),
        ([], "steady", "unfinished"),
        ([], None, "unfinished"),
    ],
)
def test_every_side_asked_for_must_be_told(holds: list[tuple], how: str, rule: str) -> None:
    sets = tuple(SideHold(*hold) for hold in holds)
    move = decide(SIDED, Plan(), (), DayReport(day_number(0), "r05", sets, how))
    assert move.rule == rule
    json.dumps(move.facts, allow_nan=False)


def test_numbers_without_sides_are_read_in_the_order_asked() -> None:
    report = DayReport(day_number(0), "r05", (SideHold(21), SideHold(20)), "steady")
    move = decide(SIDED, Plan(), (), report)
    assert move.facts["by_side_s"] == {"left": 21, "right": 20}


def test_a_rung_asked_on_one_side_needs_only_that_side() -> None:
    ladder = ladder_of()
    one = replace(ladder["r05"], sides=(RIGHT,))
    ladder = type(ladder)(tuple(one if r.key == "r05" else r for r in ladder.rungs))
    for holds in (
        (SideHold(20),),
        (SideHold(20, RIGHT),),
        (SideHold(5, LEFT), SideHold(20, RIGHT)),
    ):
        move = decide(ladder, Plan(), (), DayReport(day_number(0), "r05", holds, "steady"))
        assert move.rule == "gathering"
    left_only = DayReport(day_number(0), "r05", (SideHold(20, LEFT),), "steady")
    assert decide(ladder, Plan(), (), left_only).rule == "unfinished"


@pytest.mark.parametrize(
    ("overall", "by_side", "rule"),
    [
        (None, {LEFT: "steady", RIGHT: "steady"}, "gathering"),
        (None, {LEFT: "steady", RIGHT: "wobbly"}, "one_bad_day"),
        ("steady", {RIGHT: "wobbly"}, "one_bad_day"),
        (None, {LEFT: "steady"}, "unfinished"),
        ("wobbly", {LEFT: "steady", RIGHT: "steady"}, "one_bad_day"),
    ],
)
def test_one_wobbly_side_makes_the_day_wobbly(overall: str, by_side: dict, rule: str) -> None:
    report = DayReport(day_number(0), "r05", (SideHold(20, "both"),), overall, by_side)
    assert decide(SIDED, Plan(), (), report).rule == rule


def test_what_is_missing_is_said() -> None:
    report = DayReport(day_number(0), "r05", (SideHold(20, LEFT),))
    because = decide(SIDED, Plan(), (), report).because
    assert "the seconds on the right and whether it was steady" in because


def test_a_skipped_day_with_a_wobble_told_counts_as_wobbly() -> None:
    report = DayReport(day_number(0), "r05", (), "wobbly", skipped=True)
    assert decide(LADDER, Plan(), (), report).rule == "one_bad_day"
    held = DayReport(day_number(0), "r05", (SideHold(20),), "steady", skipped=True)
    assert decide(LADDER, Plan(), (), held).rule == "skipped"


# Gates and the top


def test_a_closed_gate_holds_and_tells_once() -> None:
    diary = Diary(ladder_of(gates={6: "single_leg"}), "r05")
    moves = diary.script("sssss")
    assert kinds(moves) == "....."
    assert [m.rule for m in moves] == ["gathering", "gate", "gate", "gate", "gate"]
    assert [m.alerts for m in moves] == [(), ("gate_reached",), (), (), ()]
    # Neither a wobble nor a skipped day makes it news again.
    assert all(not m.alerts for m in diary.script("w-sss?s"))
    # An override does.
    diary.place("r05")
    assert [m.alerts for m in diary.script("ss")] == [(), ("gate_reached",)]


def test_an_open_gate_lets_through() -> None:
    plan = Plan(open_gates=frozenset({"single_leg"}))
    assert kinds(Diary(ladder_of(gates={6: "single_leg"}), "r05", plan).script("ss")) == ".u"


def test_a_gate_opened_later_lets_through_on_the_next_steady_day() -> None:
    diary = Diary(ladder_of(gates={6: "single_leg"}), "r05")
    diary.script("sss")
    diary.plan = Plan(open_gates=frozenset({"single_leg"}))
    assert diary.script("s")[0].kind == "up"


def test_a_gate_closed_behind_the_client_holds_too() -> None:
    moves = Diary(ladder_of(gates={4: "first_soft"}), "r06").script("ss")
    assert (moves[-1].rule, moves[-1].facts["gate"]) == ("gate", "first_soft")


def test_the_top_is_a_gate() -> None:
    moves = Diary(LADDER, "r11").script("sss")
    assert [(m.rule, m.alerts) for m in moves[1:]] == [("top", ("gate_reached",)), ("top", ())]


# Stuck


def test_two_backs_from_a_rung_hold_the_client_below_it() -> None:
    diary = Diary(LADDER, "r06")
    moves = diary.script("wwssww")  # back, up again, back again
    assert kinds(moves) == ".b.u.b"
    assert moves[1].alerts == ()
    assert moves[-1].alerts == ("stuck",)
    held = diary.script("sssssss")
    assert kinds(held) == "......."
    assert held[2].rule == "stuck"
    assert all(not m.alerts for m in held)


def test_the_trainers_look_ends_a_stuck_hold() -> None:
    diary = Diary(LADDER, "r06")
    diary.script("wwssww")
    diary.script("ss")
    diary.place(diary.at)
    assert kinds(diary.script("ss")) == ".u"
    # What came before the look doesn't count towards the next.
    assert [m.alerts for m in diary.script("ww")] == [(), ()]


def test_a_stuck_hold_passes_with_the_window() -> None:
    diary = Diary(LADDER, "r06")
    assert diary.script("wwssww")[-1].alerts == ("stuck",)
    diary.script("s")
    diary.wait(12)
    assert diary.tell().rule == "stuck"  # day 14 after the back
    assert diary.tell().kind == "up"


def test_backs_far_apart_or_from_different_rungs_are_not_stuck() -> None:
    diary = Diary(LADDER, "r06")
    diary.script("wwss")
    diary.wait(14)
    assert diary.script("ww")[-1].alerts == ()
    assert kinds(diary.script("wwww")) == ".b.b"
    assert all(not m.alerts for m in (p.move for p in diary.history))


def test_a_back_for_absence_is_no_sign_of_being_stuck() -> None:
    diary = Diary(LADDER, "r06")
    away = Move("back", "r06", "r05", "away_back", "Away 7 days: back one landmark.")
    diary.history.append(PastDay(day_number(0), None, away))
    diary.at, diary.number = "r05", 1
    assert diary.script("ssww")[-1].alerts == ()


# Signs, doubt and rest


@pytest.mark.parametrize(
    ("sign", "alert"), [("fall", "fall"), ("pain", "pain"), ("dizzy", "dizziness")]
)
def test_a_sign_rests_at_once_and_a_doubtful_one_waits(sign: str, alert: str) -> None:
    diary = Diary(LADDER, "r05")
    diary.script("s")
    doubtful = diary.tell(20, **{sign: "unsure"})
    assert (doubtful.kind, doubtful.rule) == ("stay", "waiting_answer")
    assert doubtful.alerts == (("near_fall",) if sign == "fall" else (alert,))
    assert "until the client has answered" in doubtful.because
    sure = diary.tell(20, **{sign: "yes"})
    assert (sure.kind, sure.alerts, sure.to_key) == ("rest", (alert,), "r05")


def test_an_emergency_rests_and_every_sign_is_alerted() -> None:
    move = Diary(LADDER, "r05").tell(20, emergency=True, fall="unsure", pain="yes")
    assert move.kind == "rest"
    assert set(move.alerts) == {"emergency", "pain", "near_fall"}


def test_an_unknown_answer_is_doubtful() -> None:
    assert Diary(LADDER, "r05").tell(20, fall="perhaps").rule == "waiting_answer"


def test_a_doubtful_day_is_not_steady_afterwards() -> None:
    diary = Diary(LADDER, "r05")
    diary.tell(20, pain="unsure")
    assert kinds(diary.script("ss")) == ".u"


def test_a_resting_client_is_never_moved() -> None:
    resting = Plan(resting=True)
    for days in ("ssssss", "wwww", "f"):
        assert {m.rule for m in Diary(LADDER, "r05", resting).script(days)} == {"resting"}


def test_rest_lasts_until_an_override_even_if_the_plan_forgot() -> None:
    diary = Diary(LADDER, "r05")
    diary.tell(fall="yes")
    assert {m.rule for m in diary.script("sss?-")} == {"resting"}
    missed = Move("stay", "r05", "r05", "missed", "No reply.")
    diary.history.append(PastDay(day_number(diary.number), None, missed))
    assert diary.tell().rule == "resting"
    diary.place("r02")
    assert diary.tell().rule == "gathering"


def test_a_second_sign_while_resting_is_alerted_too() -> None:
    move = Diary(LADDER, "r05", Plan(resting=True)).tell(fall="yes")
    assert (move.kind, move.alerts) == ("rest", ("fall",))
    doubtful = Diary(LADDER, "r05", Plan(resting=True)).tell(fall="unsure")
    assert (doubtful.rule, doubtful.alerts) == ("resting", ("near_fall",))


# Placements that crossed with a reply


def test_a_reply_about_the_rung_before_an_override_moves_nobody() -> None:
    diary = Diary(LADDER, "r05")
    diary.script("s")
    report = told("r05", 1)
    diary.place("r02")
    move = diary.day(report)
    assert (move.rule, move.to_key) == ("other_rung", "r02")
    assert kinds(diary.script("ss")) == ".u"


def test_trouble_on_an_easier_rung_than_the_new_one_is_shown() -> None:
    diary = Diary(LADDER, "r05")
    diary.place("r07")
    assert diary.day(told("r05", 0, 12)).alerts == ("stuck",)


def test_a_rung_the_ladder_lost_asks_for_the_trainer() -> None:
    move = decide(LADDER, Plan(), (), told("gone", 0))
    assert (move.kind, move.rule, move.alerts) == ("stay", "unknown_rung", ("stuck",))
    diary = Diary(LADDER, "r05")
    diary.place("r04")
    assert diary.day(told("gone", 0)).rule == "other_rung"


def test_one_move_up_a_day() -> None:
    up = Move("up", "r04", "r05", "steady_run", "Steady on 3 days running: up one step.")
    keen = Plan(caution=TrialCaution(steady_days_step=1))
    history = (PastDay(day_number(0), told("r04", 0), up),)
    assert decide(LADDER, keen, history, told("r05", 0)).rule == "one_move_a_day"
    assert decide(LADDER, keen, history, told("r05", 1)).kind == "up"


# The second opinion


@pytest.mark.parametrize(
    ("mean", "kind"), [(0.59, "stay"), (0.6, "up"), (float("nan"), "stay"), (1.0, "up")]
)
def test_the_second_opinion_may_hold_back(mean: float, kind: str) -> None:
    diary = Diary(LADDER, "r05")
    diary.script("s")
    assert diary.tell(chance=Chance("r06", mean, 0.1, 0.9)).kind == kind


def test_an_opinion_on_another_rung_or_left_out_holds_nobody() -> None:
    diary = Diary(LADDER, "r05")
    diary.script("s")
    history = tuple(diary.history)
    other = decide(LADDER, Plan(), history, told("r05", 1), Chance("r09", 0.0, 0.0, 0.1))
    assert other.kind == "up"
    without = Plan(caution=Caution(least_chance=None))
    low = Chance("r06", 0.0, 0.0, 0.1)
    assert decide(LADDER, without, history, told("r05", 1), low).kind == "up"


# Targets that change


def test_days_held_to_a_lower_target_count_neither_way_after_it_rose() -> None:
    diary = Diary(LADDER, "r05", Plan(target_s=15))
    diary.tell(15)
    diary.plan = Plan(target_s=20)
    assert kinds(diary.script("ss")) == ".u"
    diary = Diary(LADDER, "r05", Plan(target_s=15))
    diary.tell(15)
    diary.plan = Plan(target_s=20)
    assert diary.script("w")[0].kind == "stay"  # the 15 s day was no failure when it was done


def test_days_held_long_enough_count_after_the_target_rose() -> None:
    diary = Diary(LADDER, "r05", Plan(target_s=15))
    diary.tell(20)
    diary.plan = Plan(target_s=20)
    assert kinds(diary.script("s")) == "u"


# What every move carries


def test_every_move_carries_reason_rule_version_and_json_facts() -> None:
    diary = Diary(ladder_of(gates={9: "single_leg"}), "r05")
    moves = diary.script("sswwssssss-?fwwsssssssssssss")
    assert {m.kind for m in moves} == {"up", "stay", "back"}
    for move in moves:
        assert move.rule in RULES
        assert move.version == 1
        assert move.because.endswith(".")
        assert move.because[0].isupper()
        assert move.facts["day"]
        assert move.facts["rung"] == move.from_key
        assert json.loads(json.dumps(move.facts)) == move.facts


def test_the_presets_are_ordered_by_caution() -> None:
    gentle, usual, keen = (PRESETS[name] for name in ("gentle", "usual", "keen"))
    assert [p.name for p in PRESETS.values()] == list(PRESETS)
    assert usual == Caution()
    for setting in ("steady_days_step", "steady_days_landmark", "far_short_share", "least_chance"):
        values = [getattr(preset, setting) for preset in (gentle, usual, keen)]
        assert values == sorted(values, reverse=True), setting
