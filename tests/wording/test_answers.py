"""What was understood from a result, and the day's prompt."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ladder.day import SideHold
from rungwise.ladder.stance import Side
from rungwise.wording import (
    LANGUAGES,
    fits_one,
    gsm7_safe,
    prompt_text,
    render,
    reply_hint,
    segments,
)
from rungwise.wording.results import understood

LEFT, RIGHT = Side.LEFT, Side.RIGHT


def holds(*told: tuple[float | None, Side | str | None]) -> list[SideHold]:
    return [SideHold(seconds, side) for seconds, side in told]  # type: ignore[arg-type]


UNDERSTOOD: list[tuple[str, list[SideHold], Any, dict[Side, Any], str]] = [
    ("en", holds((20, LEFT), (14, RIGHT)), "wobbly", {}, "Left 20, right 14 seconds, wobbly."),
    ("en", holds((7, None)), None, {}, "7 seconds."),
    ("en", holds((1, None)), None, {}, "1 second."),
    ("en", holds((20, "both")), "steady", {}, "Both sides 20 seconds, steady."),
    (
        "en",
        holds((20, LEFT), (14, RIGHT)),
        "wobbly",
        {LEFT: "steady", RIGHT: "wobbly"},
        "Left 20 steady, right 14 wobbly seconds.",
    ),
    ("en", [], "wobbly", {LEFT: "steady", RIGHT: "wobbly"}, "Left steady, right wobbly."),
    ("en", holds((None, None)), "steady", {}, "Steady."),
    ("en", [], None, {}, ""),
    (
        "en",
        holds((18, LEFT), (20.5, LEFT), (9, RIGHT)),
        None,
        {},
        "Left 18 and 20.5, right 9 seconds.",
    ),
    (
        "en",
        holds((18, None), (20, None), (9, None), (12, None)),
        "steady",
        {},
        "4 times, 9 to 20 seconds, steady.",
    ),
    (
        "es",
        holds((20, RIGHT), (14, LEFT)),
        "wobbly",
        {},
        "Izquierdo 14, derecho 20 segundos, con tambaleo.",
    ),
    ("es", holds((20.5, None)), "steady", {}, "20,5 segundos, firme."),
]


@pytest.mark.parametrize(("language", "told", "steadiness", "by_side", "said"), UNDERSTOOD)
def test_what_was_understood_is_said(
    language: str, told: list[SideHold], steadiness: Any, by_side: dict[Side, Any], said: str
) -> None:
    assert understood(language, told, steadiness, by_side) == said


def test_sides_are_said_in_the_order_they_were_asked() -> None:
    told = holds((20, LEFT), (14, RIGHT))
    assert understood("en", told, None, {}, (RIGHT, LEFT)) == "Right 14, left 20 seconds."


@given(
    st.sampled_from(sorted(LANGUAGES)),
    st.lists(
        st.builds(
            SideHold,
            st.one_of(st.none(), st.floats(0, 999, allow_nan=False), st.integers(0, 300)),
            st.sampled_from([None, LEFT, RIGHT, "both"]),
        ),
        max_size=30,
    ),
    st.sampled_from([None, "steady", "wobbly"]),
    st.dictionaries(st.sampled_from([LEFT, RIGHT]), st.sampled_from(["steady", "wobbly"])),
)
def test_what_was_understood_is_a_gsm7_sentence_with_every_single_hold(
    language: str, told: list[SideHold], steadiness: Any, by_side: Any
) -> None:
    said = understood(language, told, steadiness, by_side)
    assert gsm7_safe(said)
    assert said == "" or (not said[0].islower() and said[-1] == ".")
    seconds = [hold.seconds for hold in told if hold.seconds is not None]
    if len(seconds) == 1:
        shown = f"{round(seconds[0], 1):g}".replace(".", "," if language == "es" else ".")
        assert shown in said
    if seconds:
        assert ("second" if language == "en" else "segundo") in said
    if len(seconds) <= 4:
        assert fits_one(said), said


TASK = "Right foot in front, heel level with left big toe, feet 2 cm apart. Hands just off counter."


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("sides", [(), (Side.RIGHT, Side.LEFT)])
@pytest.mark.parametrize("length", [20, 60, 80, 90])
def test_a_prompt_with_a_task_of_usual_length_is_one_segment(
    language: str, sides: tuple[Side, ...], length: int
) -> None:
    task = (TASK * 2)[: length - 1] + "."
    text = prompt_text(task, language, sides=sides)
    assert fits_one(text)
    assert text.startswith(task)
    assert reply_hint(language, sides=sides) in text
    assert text.endswith((render("caution", language), render("caution_short", language)))


def test_the_reply_is_asked_in_the_order_practised_and_without_a_figure_to_copy() -> None:
    assert reply_hint("en") == "Text the seconds, steady or wobbly."
    assert reply_hint("en", sides=(Side.RIGHT, Side.LEFT)).startswith("Text right, left,")
    assert reply_hint("es", sides=(Side.LEFT, Side.RIGHT)).startswith("Mande izquierdo, derecho,")
    # One side alone needs no name.
    assert reply_hint("en", sides=(Side.RIGHT,)) == reply_hint("en")


def test_the_longer_caution_goes_where_there_is_room() -> None:
    short = prompt_text("Feet together.", "en")
    asked = "Text the seconds, steady or wobbly."
    assert short == f"Feet together. {asked} Stop if you have pain or feel dizzy."
    long = prompt_text("x" * 100, "en")
    assert long == f"{'x' * 100} {asked} Pain or dizzy: stop."


def test_a_very_long_task_takes_two_segments_and_the_longer_caution() -> None:
    text = prompt_text("x" * 140, "en", sides=(Side.RIGHT, Side.LEFT))
    assert not fits_one(text)
    assert text.endswith("Stop if you have pain or feel dizzy.")


def test_a_task_that_fills_two_segments_takes_the_shorter_caution() -> None:
    text = prompt_text("x" * 245, "en")
    assert segments(text).count == 2
    assert text.endswith("Pain or dizzy: stop.")
