"""The next step, and why it hasn't come yet."""

import pytest
from decide_cases import Diary, ladder_of
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ladder.explain import explain_next
from rungwise.ladder.progression import Caution, Plan

LADDER = ladder_of(gates={9: "single_leg"})


def said(days: str, at: str = "r05", plan: Plan | None = None) -> str:
    diary = Diary(LADDER, at, plan)
    diary.script(days)
    return explain_next(LADDER, diary.plan, diary.history, diary.at)


@pytest.mark.parametrize(
    ("days", "at", "words"),
    [
        ("", "r05", "after 2 more steady days running."),
        ("s", "r05", "after one more steady day."),
        ("sw", "r05", "start afresh."),
        ("s-", "r05", "after one more steady day; the latest day was skipped"),
        ("s?", "r05", "after one more steady day; the latest report was unfinished"),
        ("", "r04", "after 3 more steady days running (more are asked for before leaving"),
        ("ww", "r06", "the client came back to this rung after wobbly or short days."),
        ("f", "r06", "after a hold far under the target."),
        ("sss", "r03", "Next: a step of parallel with hover, after 2 more steady days running"),
        ("s", "r07", "Next: landmark 8, after one more steady day."),
        ("", "r08", "after 3 more steady days running, but the gate 'single leg' is closed"),
        ("ssss", "r08", "the client is ready, but the gate 'single leg' is closed"),
        ("ssss", "r11", "top of the ladder"),
        ("wwssww", "r06", "moves up wait after repeated backs"),
    ],
)
def test_the_reason_is_said(days: str, at: str, words: str) -> None:
    assert words in said(days, at)


def test_a_low_chance_is_said() -> None:
    plan = Plan(caution=Caution(least_chance=0.95))
    assert "likely enough to be held: the chance is about 79% and 95%" in said("s", plan=plan)


def test_resting_and_lost_rungs_are_said() -> None:
    assert "Resting" in said("", plan=Plan(resting=True))
    diary = Diary(LADDER, "r05")
    diary.tell(fall="yes")
    assert "Resting" in explain_next(LADDER, Plan(), diary.history, "r05")
    assert "no longer on their ladder" in explain_next(LADDER, Plan(), (), "gone")


@given(st.lists(st.sampled_from("swhf-?"), max_size=12), st.integers(0, 11))
def test_the_days_it_names_are_the_days_it_takes(letters: list[str], place: int) -> None:
    diary = Diary(LADDER, f"r{place:02d}")
    diary.script("".join(letters))
    sentence = explain_next(LADDER, diary.plan, diary.history, diary.at)
    assert sentence.endswith(".")
    assert sentence.count(".") == 1
    if "one more steady day" in sentence and "wait" not in sentence:
        assert diary.script("s")[0].kind == "up"
