"""What a decision says and was computed from, word for word; and that a version never changes."""

from dataclasses import replace

import pytest
from decide_cases import Diary, day_number, ladder_of, override, told
from frozen_decisions import DAYS, DIARIES, diaries, file_of, line_of

from rungwise.ladder.absence import is_resting, override_move
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, Caution, TrialCaution
from rungwise.ladder.day import judge_day
from rungwise.ladder.progression import (
    Chance,
    DayReport,
    Move,
    PastDay,
    Plan,
    SideHold,
    decide,
    decide_absence,
)
from rungwise.ladder.stance import Side

LADDER = ladder_of()
SHORT_WINDOW = Plan(caution=Caution(back_days=1, back_window_days=1, back_steps=2))
WIDE_WINDOW = Plan(caution=Caution(back_days=3, back_window_days=7))


def test_a_version_of_the_rule_decides_the_same_for_ever() -> None:
    """Else `rungwise replay` tells differences nobody made: see frozen_decisions.py."""
    kept = file_of(1).read_text(encoding="utf-8").splitlines()
    assert len(kept) == DIARIES
    changed = [
        now
        for line, now in zip(kept, (line_of(*one) for one in diaries()), strict=True)
        if line != now
    ]
    assert changed == []


def test_the_made_up_diaries_meet_every_rule_of_a_report() -> None:
    met = {past.move.rule for _, diary in diaries() for past in diary.history}
    assert met >= {
        *("safety_sign", "resting", "waiting_answer", "other_rung", "skipped", "unfinished"),
        *("gathering", "one_bad_day", "bad_days", "far_short", "lowest", "gate", "top"),
        *("stuck", "second_opinion", "steady_run", "trainer"),
    }, met
    assert all(len(diary.history) >= DAYS for _, diary in diaries())


@pytest.mark.parametrize(
    ("at", "plan", "days", "because"),
    [
        ("r05", Plan(), "s", "Steady on 1 day; 2 are needed."),
        ("r04", Plan(), "s", "Steady on 1 day; 3 are needed before leaving a landmark."),
        ("r04", Plan(), "ss", "Steady on 2 days running; 3 are needed before leaving a landmark."),
        ("r05", Plan(), "ss", "Steady on 2 days running: up one step."),
        (
            "r05",
            Plan(),
            "w",
            "Today was wobbly: the same rung again, and the steady days start afresh.",
        ),
        (
            "r05",
            Plan(),
            "h",
            "Today was only 15 s: the same rung again, and the steady days start afresh.",
        ),
        ("r05", Plan(), "ww", "Wobbly or short on 2 of the last 3 days practised: back one step."),
        ("r05", SHORT_WINDOW, "w", "Wobbly or short on the last day: back 2 steps."),
        (
            "r06",
            Plan(),
            "f",
            "Held 1 s of 20, under 50% of the target: back to the landmark below.",
        ),
        (
            "r00",
            Plan(),
            "f",
            "Held 1 s of 20, under 50% of the target, and there is no easier rung: please look.",
        ),
        (
            "r06",
            Plan(),
            "wwssww",
            "Wobbly or short on 2 of the last 3 days practised: back one step. That makes 2 backs "
            "from this rung in 14 days, so no move up until you have looked.",
        ),
        ("r05", Plan(), "-", "Not practised: the day counts neither way."),
        (
            "r05",
            Plan(),
            "?",
            "The report lacks the seconds held: the day counts neither way.",
        ),
        (
            "r11",
            Plan(),
            "ssssss",
            "Steady on 3 days running, and this is the top of the ladder as you limited it.",
        ),
        # The run is counted as far as it is needed, and as the window is looked at.
        (
            "r11",
            WIDE_WINDOW,
            "ssssssssss",
            "Steady on 7 days running, and this is the top of the ladder as you limited it.",
        ),
        (
            "r05",
            Plan(resting=True),
            "s",
            "Resting: no move until you choose the rung to resume on.",
        ),
    ],
)
def test_the_reason_says_what_was_counted(at: str, plan: Plan, days: str, because: str) -> None:
    assert Diary(LADDER, at, plan).script(days)[-1].because == because


def test_the_reason_names_the_gate_and_the_signs() -> None:
    gated = Diary(ladder_of(gates={6: "single_leg"}), "r05").script("ss")[-1]
    assert gated.because == "Steady on 2 days running, but the gate 'single leg' is closed."
    sure = Diary(LADDER, "r05").tell(fall="yes", pain="yes", dizzy="yes")
    assert sure.because == (
        "The client told of a fall, pain and dizziness: resting until you clear them."
    )
    two = Diary(LADDER, "r05").tell(emergency=True, fall="yes")
    assert two.because == (
        "The client told of an emergency sign and a fall: resting until you clear them."
    )
    doubtful = Diary(LADDER, "r05").tell(fall="unsure", pain="unsure")
    assert doubtful.because == (
        "The report may mean a fall or nearly one and pain: no move until the client has answered."
    )


def test_the_reason_of_a_stuck_hold_and_of_a_second_opinion() -> None:
    diary = Diary(LADDER, "r06")
    diary.script("wwssww")
    held = diary.script("ss")[-1]
    assert held.because == (
        "Steady on 2 days running, but moves up wait after repeated backs from one rung: look and "
        "choose a rung, or wait until 14 days have passed."
    )
    assert held.facts["stuck_since"] == day_number(5).isoformat()
    diary = Diary(LADDER, "r05")
    diary.script("s")
    opinion = diary.tell(chance=Chance("r06", 0.5, 0.3, 0.7))
    assert opinion.because == (
        "Steady on 2 days running, but the chance of a steady hold on the next rung is about 50%, "
        "under the 60% asked for: more practice here."
    )
    assert opinion.facts["chance"] == [0.5, 0.3, 0.7]
    assert opinion.facts["least_chance"] == 0.6


# --- the facts ------------------------------------------------------------------------------------


def test_a_move_keeps_what_it_was_counted_from() -> None:
    up = Diary(LADDER, "r05").script("ss")[-1]
    assert up.facts == {
        "day": "2026-03-03",
        "rung": "r05",
        "target_s": 20,
        "caution": "usual",
        "verdict": "steady",
        "shortest_s": 20,
        "steady_days": 2,
        "steady_days_needed": 2,
        "next_rung": "r06",
    }
    back = Diary(LADDER, "r05").script("ww")[-1]
    assert back.facts == {
        "day": "2026-03-03",
        "rung": "r05",
        "target_s": 20,
        "caution": "usual",
        "verdict": "wobbly",
        "shortest_s": 20,
        "bad_days": 2,
        "back_days": 2,
        "window": 3,
        "backs_from_here": 1,
    }
    rested = Diary(LADDER, "r05").tell(fall="yes", pain="unsure")
    assert (rested.facts["signs"], rested.facts["doubtful"]) == (["fall"], ["pain"])


def test_a_resting_move_keeps_a_doubt_and_only_a_doubt() -> None:
    resting = Plan(resting=True)
    assert "doubtful" not in Diary(LADDER, "r05", resting).tell().facts
    assert Diary(LADDER, "r05", resting).tell(pain="unsure").facts["doubtful"] == ["pain"]


def test_a_report_about_the_very_same_demand_is_shown_too() -> None:
    """A placement that crossed with a reply: trouble on that rung or an easier one is said."""
    diary = Diary(LADDER, "r05")
    diary.place("r07")
    told_of = diary.day(told("r05", 0, 12))
    assert told_of.because == (
        "The report is about the rung before the last change: the new rung stands. It was wobbly "
        "or short on an easier rung than the new one: please look."
    )
    assert told_of.facts["reported_rung"] == "r05"
    harder = Diary(LADDER, "r05")
    harder.place("r03")
    crossed = harder.day(told("r05", 0, 12))
    assert crossed.alerts == ()
    assert "please look" not in crossed.because


# --- what is looked back at -----------------------------------------------------------------------


def test_a_second_report_of_one_date_counts_that_date_once() -> None:
    first = Move("stay", "r05", "r05", "gathering", "Steady on 1 day; 2 are needed.")
    history = (PastDay(day_number(0), told("r05", 0), first),)
    assert decide(LADDER, Plan(), history, told("r05", 0)).facts["steady_days"] == 1
    assert decide(LADDER, Plan(), history, told("r05", 1)).facts["steady_days"] == 2


def test_a_later_date_in_the_history_does_not_hide_an_earlier_one() -> None:
    """A correction of yesterday is decided beside today's, which does not count for it."""
    stay = Move("stay", "r05", "r05", "gathering", "Steady on 1 day; 2 are needed.")
    history = tuple(PastDay(day_number(n), told("r05", n), stay) for n in (0, 2))
    move = decide(LADDER, Plan(), history, told("r05", 1))
    assert move.facts["steady_days"] == 2


def test_a_move_up_of_the_same_date_is_seen_behind_whatever_followed_it() -> None:
    up = Move("up", "r04", "r05", "steady_run", "Steady on 3 days running: up one step.")
    note = Move("stay", "r05", "r05", "missed", "No reply.")
    keen = Plan(caution=TrialCaution(steady_days_step=1))
    first = PastDay(day_number(5), told("r04", 5), up)
    followed = (first, *(PastDay(day_number(5), None, note) for _ in range(6)))
    assert decide(LADDER, keen, followed, told("r05", 5)).rule == "one_move_a_day"
    assert decide(LADDER, keen, followed, told("r05", 6)).kind == "up"
    # A correction of yesterday, when today went up already.
    assert decide(LADDER, keen, followed, told("r05", 4)).rule == "one_move_a_day"


@pytest.mark.parametrize(("days", "moves"), [("wsswssw", 2), ("wssssssw", 1)])
def test_bad_days_are_counted_within_the_window_and_no_further(days: str, moves: int) -> None:
    plan = Plan(
        caution=Caution(
            back_days=3, back_window_days=7, steady_days_step=14, steady_days_landmark=14
        )
    )
    last = Diary(LADDER, "r05", plan).script(days)[-1]
    assert last.facts["bad_days"] == {2: 3, 1: 1}[moves]


# --- settings and rests ---------------------------------------------------------------------------


def test_the_presets_and_the_bounds_are_the_published_ones() -> None:
    """The figures of docs/rule.md; a client's plan may name a preset, so they must not drift."""
    assert SAFE_BOUNDS == {
        "steady_days_step": (2, 14),
        "steady_days_landmark": (2, 21),
        "back_days": (1, 3),
        "back_window_days": (1, 7),
        "back_steps": (1, 3),
        "far_short_share": (0.3, 1.0),
        "stuck_backs": (1, 4),
        "stuck_window_days": (7, 60),
        "away_back_days": (3, 14),
        "away_rest_days": (7, 28),
        "least_chance": (0.3, 0.95),
    }
    assert {name: values_of(preset) for name, preset in PRESETS.items()} == {
        "gentle": ("gentle", 3, 5, 2, 4, 0.6, 2, 21, 5, 14, 0.7, 1),
        "usual": ("usual", 2, 3, 2, 3, 0.5, 2, 14, 7, 21, 0.6, 1),
        "keen": ("keen", 2, 2, 2, 3, 0.5, 3, 14, 7, 21, 0.5, 1),
    }


def values_of(caution: Caution) -> tuple[object, ...]:
    return (
        caution.name,
        caution.steady_days_step,
        caution.steady_days_landmark,
        caution.back_days,
        caution.back_window_days,
        caution.far_short_share,
        caution.stuck_backs,
        caution.stuck_window_days,
        caution.away_back_days,
        caution.away_rest_days,
        caution.least_chance,
        caution.back_steps,
    )


def test_a_rest_is_remembered_behind_many_missed_days_and_for_the_return() -> None:
    rest = Move("rest", "r05", "r05", "safety_sign", "The client told of a fall: resting.")
    missed = Move("stay", "r05", "r05", "missed", "No reply.")
    history = [PastDay(day_number(0), told("r05", 0), rest)]
    history += [PastDay(day_number(n), None, missed) for n in range(1, 60)]
    assert is_resting(history)
    assert override_move(Plan(), history, "r05", "r03", "Seen.").facts["after_rest"] is True
    assert is_resting([]) is False
    two_missed = (*history[:3], override(3, "r05", "r03"))
    assert decide(LADDER, Plan(), two_missed, told("r03", 4)).facts["caution"] == "usual, returning"


def test_an_absence_is_counted_from_the_last_placement() -> None:
    """Neither an older override nor an older back for absence hides the days away."""
    back = decide_absence(LADDER, Plan(), (), "r06", day_number(0), day_number(7))
    assert back is not None
    placed = (PastDay(day_number(7), None, back), override(8, "r04", "r05"))
    assert decide_absence(LADDER, Plan(), placed, "r05", day_number(8), day_number(14)) is None
    again = decide_absence(LADDER, Plan(), placed, "r05", day_number(8), day_number(15))
    assert again is not None
    assert (again.rule, again.facts["days_away"], again.facts["since"]) == (
        "away_back",
        7,
        day_number(8).isoformat(),
    )
    assert again.because == "Away 7 days: back one landmark."


def test_an_emergency_sign_alone_rests() -> None:
    move = Diary(LADDER, "r05").tell(emergency=True)
    assert (move.kind, move.alerts) == ("rest", ("emergency",))


def test_far_short_goes_back_as_far_as_the_steps_and_to_the_bottom_at_most() -> None:
    steps = Plan(caution=Caution(back_steps=3))
    low = ladder_of(landmarks=(0, 1, 8))
    assert Diary(low, "r02", steps).script("f")[0].to_key == "r00"
    assert Diary(low, "r07", steps).script("f")[0].to_key == "r01"


def test_a_placement_of_the_same_day_ends_an_absence_that_was_acted_on() -> None:
    back = decide_absence(LADDER, Plan(), (), "r06", day_number(0), day_number(7))
    assert back is not None
    placed = (PastDay(day_number(7), None, back), override(7, "r04", "r05"))
    assert decide_absence(LADDER, Plan(), placed, "r05", day_number(7), day_number(13)) is None
    again = decide_absence(LADDER, Plan(), placed, "r05", day_number(7), day_number(14))
    assert again is not None
    assert (again.rule, again.facts["days_away"]) == ("away_back", 7)


# --- one day --------------------------------------------------------------------------------------

UNSIDED = LADDER["r05"]


def day_of(*holds: SideHold, how: str | None = "steady", **signs: object) -> DayReport:
    return DayReport(day_number(0), "r05", holds, how, **signs)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("seconds", "verdict"), [(9.9, "far_short"), (10, "short"), (19.9, "short"), (20, "steady")]
)
def test_far_short_is_under_half_where_nothing_else_is_set(seconds: float, verdict: str) -> None:
    assert judge_day(UNSIDED, day_of(SideHold(seconds)), 20).verdict == verdict


def test_a_hold_told_without_seconds_does_not_hide_the_next() -> None:
    judged = judge_day(UNSIDED, day_of(SideHold(None), SideHold(5)), 20)
    assert (judged.verdict, judged.shortest_s) == ("far_short", 5)


def test_seconds_alone_are_no_steady_day() -> None:
    """Nobody said whether it was steady: not on a rung without sides, nor for one side of two."""
    for told_of in (
        day_of(SideHold(20), how=None),
        replace(day_of(SideHold(20), how=None), steadiness_by_side={Side.LEFT: "steady"}),
    ):
        judged = judge_day(UNSIDED, told_of, 20)
        assert (judged.verdict, judged.missing) == ("unfinished", ("whether it was steady",))


def test_an_open_sign_leaves_a_day_unfinished_by_itself() -> None:
    judged = judge_day(UNSIDED, day_of(SideHold(20), emergency=True, fall="unsure"), 20)
    assert judged.verdict == "unfinished"
    assert judged.missing == ("the answer about a fall", "the answer about an emergency sign")
