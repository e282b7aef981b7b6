"""The answer that says what was understood, and the day's prompt."""

from collections.abc import Sequence
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.progression import SideHold
from rungwise.ladder.stance import Side, Surface
from rungwise.wording import (
    LANGUAGES,
    Follows,
    Missing,
    answer_text,
    ask_text,
    fits_one,
    gsm7_safe,
    prompt_text,
    render,
    reply_hint,
    segments,
)
from rungwise.wording.rung_words import rung_text

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def holds(*told: tuple[float | None, Side | str | None]) -> Sequence[SideHold]:
    return [SideHold(seconds, side) for seconds, side in told]  # type: ignore[arg-type]


ANSWERS: list[tuple[str, dict[str, Any], str]] = [
    (
        "en",
        {"holds": holds((20, LEFT), (14, RIGHT)), "steadiness": "wobbly", "move_kind": "stay"},
        "Left 20 s, right 14 s, wobbly: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((20, RIGHT), (20, LEFT)), "steadiness": "steady", "move_kind": "up"},
        "Left 20 s, right 20 s, steady: next time we go one small step on.",
    ),
    (
        "en",
        {"holds": holds((7, None)), "steadiness": None, "move_kind": "back"},
        "7 s: next time we take an easier one.",
    ),
    (
        "en",
        {"holds": holds((20, "both")), "steadiness": "steady", "move_kind": "gate"},
        "Both sides 20 s, steady: we stay on this one until your trainer has looked.",
    ),
    (
        "en",
        {
            "holds": holds((20, LEFT), (14, RIGHT)),
            "steadiness": "wobbly",
            "steadiness_by_side": {LEFT: "steady", RIGHT: "wobbly"},
            "move_kind": "stay",
        },
        "Left 20 s steady, right 14 s wobbly: we stay on this one.",
    ),
    (
        "en",
        {
            "holds": holds((20, LEFT), (14, RIGHT)),
            "steadiness": None,
            "steadiness_by_side": {LEFT: "steady", RIGHT: "steady"},
            "move_kind": "stay",
        },
        "Left 20 s, right 14 s, steady: we stay on this one.",
    ),
    (
        "en",
        {
            "holds": [],
            "steadiness": "wobbly",
            "steadiness_by_side": {LEFT: "steady", RIGHT: "wobbly"},
            "move_kind": "unfinished",
        },
        "Left steady, right wobbly: we stay on this one for now.",
    ),
    (
        "en",
        {"holds": holds((None, None)), "steadiness": "steady", "move_kind": "unfinished"},
        "Steady: we stay on this one for now.",
    ),
    (
        "en",
        {"holds": [], "steadiness": None, "move_kind": "stay"},
        "Noted: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((18, LEFT), (20.5, LEFT), (9, RIGHT)), "steadiness": None,
         "move_kind": "stay"},
        "Left 18 + 20.5 s, right 9 s: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((18, None), (20, None), (9, None), (12, None)), "steadiness": "steady",
         "move_kind": "stay"},
        "4 times, 9 to 20 s, steady: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((25, None)), "steadiness": "steady", "move_kind": "stay",
         "corrected": True},
        "Corrected. 25 s, steady: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((25, LEFT)), "steadiness": "steady", "move_kind": "stay",
         "corrected": True, "late_weekday": 6},
        "Corrected. For Sunday: left 25 s, steady: we stay on this one.",
    ),
    (
        "en",
        {"holds": holds((20, LEFT), (14, RIGHT)), "steadiness": None, "ask": "steadiness"},
        "Left 20 s, right 14 s. Was that steady or wobbly?",
    ),
    (
        "en",
        {"holds": holds((20, LEFT)), "steadiness": "steady", "ask": "other_side",
         "other_side": "right"},
        "Left 20 s, steady. And the right side? Reply with the seconds, or skipped.",
    ),
    (
        "en",
        {"holds": [], "steadiness": "wobbly", "ask": "seconds", "sided": True},
        "Wobbly. How many seconds on each side? Reply like L12 R15.",
    ),
    (
        "en",
        {"holds": [], "steadiness": None, "ask": "same"},
        "Noted. To get it right: how many seconds was it today, and was it steady or wobbly?",
    ),
    (
        "es",
        {"holds": holds((20, LEFT), (14.5, RIGHT)), "steadiness": "wobbly", "move_kind": "back"},
        "Izquierda 20 s, derecha 14,5 s, inestable: la proxima vez, una mas facil.",
    ),
    (
        "es",
        {"holds": holds((20, None)), "steadiness": None, "ask": "steadiness", "late_weekday": 2},
        "Del miércoles: 20 s. ¿Fue firme o inestable?",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("language", "told", "answer"), ANSWERS)
def test_the_answer_says_what_was_understood(
    language: str, told: dict[str, Any], answer: str
) -> None:
    assert answer_text(language, **told) == answer


def test_rest_says_who_decides() -> None:
    answer = answer_text("en", holds=[], steadiness=None, move_kind="rest")
    assert answer == "Noted: no more practice until your trainer says so."


STEADINESS = st.sampled_from([None, "steady", "wobbly"])
HOLDS = st.lists(
    st.builds(
        SideHold,
        st.one_of(st.none(), st.floats(0, 999, allow_nan=False), st.integers(0, 300)),
        st.sampled_from([None, LEFT, RIGHT, "both"]),
    ),
    max_size=30,
)


@given(
    st.sampled_from(sorted(LANGUAGES)),
    HOLDS,
    STEADINESS,
    st.dictionaries(st.sampled_from([LEFT, RIGHT]), st.sampled_from(["steady", "wobbly"])),
    st.sampled_from(get_args(Follows)),
    st.booleans(),
    st.one_of(st.none(), st.integers(0, 6)),
    st.one_of(st.none(), st.sampled_from(get_args(Missing))),
    st.booleans(),
    st.sampled_from([None, "left", "right"]),
)
def test_an_answer_is_a_gsm7_sentence_with_every_single_hold(
    language: str,
    told: list[SideHold],
    steadiness: Any,
    by_side: Any,
    move_kind: Any,
    corrected: bool,
    weekday: int | None,
    ask: Any,
    sided: bool,
    other_side: str | None,
) -> None:
    answer = answer_text(
        language,
        holds=told,
        steadiness=steadiness,
        steadiness_by_side=by_side,
        move_kind=move_kind,
        corrected=corrected,
        late_weekday=weekday,
        ask=ask,
        sided=sided,
        other_side=other_side,
    )
    assert gsm7_safe(answer)
    assert not answer[0].islower()
    assert answer[-1] in ".?"
    assert "{" not in answer
    seconds = [hold.seconds for hold in told if hold.seconds is not None]
    if len(seconds) == 1:
        shown = f"{round(seconds[0], 1):g}".replace(".", "," if language == "es" else ".")
        assert f"{shown} s" in answer
    # A day has a few holds; only many of them on every side at once may need a second segment.
    if len(seconds) <= 4:
        assert fits_one(answer), answer


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("ask", get_args(Missing))
def test_each_missing_thing_has_a_question(language: str, ask: Missing) -> None:
    assert ask_text(language, ask).endswith(("?", "."))
    assert ask_text(language, ask, sided=True, other_side="left")


def test_the_side_asked_for_is_named() -> None:
    assert ask_text("en", "other_side", other_side="left").startswith("And the left side?")
    assert "izquierda" in ask_text("es", "other_side", other_side="left")
    assert ask_text("en", "other_side") == ask_text("en", "sides")


TASK = "Right foot in front, heel level with left big toe, feet 2 cm apart. Hands just off counter."


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("sided", [True, False])
@pytest.mark.parametrize("length", [20, 60, 80, 90, 105])
def test_a_prompt_with_a_task_of_usual_length_is_one_segment(
    language: str, sided: bool, length: int
) -> None:
    task = (TASK * 2)[: length - 1] + "."
    text = prompt_text(task, language, target_s=30, sided=sided)
    assert fits_one(text)
    assert text.startswith(task)
    assert reply_hint(language, target_s=30, sided=sided) in text
    assert text.endswith((render("caution", language), render("caution_short", language)))


def test_the_longer_caution_goes_where_there_is_room() -> None:
    short = prompt_text("Feet together.", "en", target_s=20, sided=False)
    assert short == "Feet together. Reply 20 steady or wobbly. Stop if you have pain or feel dizzy."
    long = prompt_text("x" * 102, "en", target_s=20, sided=True)
    assert long == f"{'x' * 102} Reply L20 R20 steady or wobbly. Pain or dizzy: stop."


def test_a_very_long_task_takes_two_segments_and_the_longer_caution() -> None:
    text = prompt_text("x" * 140, "en", target_s=20, sided=True)
    assert not fits_one(text)
    assert text.endswith("Stop if you have pain or feel dizzy.")


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_prompt_is_one_segment_on_firm_ground_in_english_and_never_over_two(
    language: str,
) -> None:
    body = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=175)
    ladder = build_ladder(body, Equipment(mat_layers=8, half_foam_whole=True), Limits())
    for rung in ladder.rungs:
        text = prompt_text(rung_text(rung, 20, language), language, target_s=20, sided=rung.sided)
        counted = segments(text)
        assert counted.encoding == "GSM-7"
        one = language == "en" and rung.surface is Surface.FIRM
        assert counted.count <= (1 if one else 2), text
