"""Days away, rest after long absence, and the gentler week after a rest."""

from datetime import timedelta

import pytest
from decide_cases import Diary, day_number, ladder_of, override, told

from rungwise.ladder.caution import PRESETS, stricter
from rungwise.ladder.progression import (
    Caution,
    Move,
    PastDay,
    Plan,
    caution_for,
    decide_absence,
    override_move,
)

LADDER = ladder_of()
SINCE = day_number(0)


def after(days: int, history: tuple[PastDay, ...] = (), plan: Plan | None = None) -> Move | None:
    today = SINCE + timedelta(days=days)
    return decide_absence(LADDER, plan or Plan(), history, "r06", SINCE, today)


@pytest.mark.parametrize(
    ("days", "kind", "to_key"),
    [
        (-3, None, None),
        (0, None, None),
        (6, None, None),
        (7, "back", "r04"),
        (20, "back", "r04"),
        (21, "rest", "r06"),
        (400, "rest", "r06"),
    ],
)
def test_days_away(days: int, kind: str | None, to_key: str | None) -> None:
    move = after(days)
    assert (move and move.kind, move and move.to_key) == (kind, to_key)


def test_the_rest_for_absence_alerts_and_the_back_does_not() -> None:
    assert after(7).alerts == ()  # type: ignore[union-attr]
    assert after(21).alerts == ("away",)  # type: ignore[union-attr]


def test_once_per_absence_however_since_is_counted() -> None:
    back = after(7)
    assert back is not None
    history = (PastDay(day_number(7), None, back),)
    for since in (SINCE, day_number(7)):
        for days in range(8, 21):
            assert decide_absence(LADDER, Plan(), history, "r04", since, day_number(days)) is None
        rest = decide_absence(LADDER, Plan(), history, "r04", since, day_number(21))
        assert rest is not None
        assert (rest.kind, rest.facts["days_away"]) == ("rest", 21)
        rested = (*history, PastDay(day_number(21), None, rest))
        assert decide_absence(LADDER, Plan(), rested, "r04", since, day_number(40)) is None


def test_a_new_absence_after_practice_counts_afresh() -> None:
    back = after(7)
    assert back is not None
    diary = Diary(LADDER, "r04")
    diary.history.append(PastDay(day_number(7), None, back))
    diary.number = 9
    diary.tell()
    history = tuple(diary.history)
    assert decide_absence(LADDER, Plan(), history, "r04", day_number(9), day_number(15)) is None
    again = decide_absence(LADDER, Plan(), history, "r04", day_number(9), day_number(16))
    assert again is not None
    assert again.to_key == "r00"


def test_no_move_while_resting_at_the_bottom_or_off_the_ladder() -> None:
    assert after(7, plan=Plan(resting=True)) is None
    assert after(30, plan=Plan(resting=True)) is None
    assert decide_absence(LADDER, Plan(), (), "r00", SINCE, day_number(8)) is None
    assert decide_absence(LADDER, Plan(), (), "gone", SINCE, day_number(8)) is None
    rest = decide_absence(LADDER, Plan(), (), "gone", SINCE, day_number(21))
    assert rest is not None


def rest_on(number: int) -> PastDay:
    move = Move("rest", "r05", "r05", "safety_sign", "The client told of a fall: resting.")
    return PastDay(day_number(number), told("r05", number), move)


def test_a_week_after_the_return_is_gentler() -> None:
    history = (rest_on(0), override(10, "r05", "r03"))
    usual = Plan()
    assert caution_for(usual, history, day_number(10)).steady_days_step == 3
    assert caution_for(usual, history, day_number(16)).name == "usual, returning"
    assert caution_for(usual, history, day_number(17)) == usual.caution
    assert caution_for(usual, history[1:], day_number(10)) == usual.caution


def test_the_return_is_known_by_the_override_alone() -> None:
    move = override_move(Plan(resting=True), (), "r05", "r03", "Seen at home, fit to go on.")
    history = (PastDay(day_number(10), None, move),)
    assert caution_for(Plan(), history, day_number(12)).name == "usual, returning"
    plain = override_move(Plan(), (), "r05", "r03", "Too hard.")
    assert caution_for(Plan(), (PastDay(day_number(10), None, plain),), day_number(12)).name == (
        "usual"
    )


def test_the_week_counts_from_the_first_placement_after_the_rest() -> None:
    history = (rest_on(0), override(10, "r05", "r03"), override(14, "r03", "r02"))
    assert caution_for(Plan(), history, day_number(16)).name == "usual, returning"
    assert caution_for(Plan(), history, day_number(17)).name == "usual"


def test_the_returning_client_needs_three_steady_days() -> None:
    diary = Diary(LADDER, "r03")
    diary.history += [rest_on(0), override(1, "r05", "r03")]
    diary.number = 1
    moves = diary.script("sss")
    assert [m.kind for m in moves] == ["stay", "stay", "up"]
    assert {m.facts["caution"] for m in moves} == {"usual, returning"}


def test_the_return_keeps_what_the_plan_has_stricter() -> None:
    own = Caution(name="own", steady_days_step=6, steady_days_landmark=6, least_chance=None)
    both = stricter(own, PRESETS["gentle"], "own, returning")
    assert (both.steady_days_step, both.far_short_share, both.least_chance) == (6, 0.6, 0.7)
    assert (both.away_back_days, both.back_days, both.back_window_days) == (5, 2, 4)
