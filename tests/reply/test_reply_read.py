"""The reader's first promises: seconds, sides, steadiness, keywords, and falls never missed."""

import pytest

from rungwise.reply import Context, read


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("20 seconds steady", [(20, None)]),
        ("L12 R9", [(12, "left"), (9, "right")]),
        ("left leg 20 right a bit less", [(20, "left")]),
        ("twenty seconds on the left fifteen on the right", [(20, "left"), (15, "right")]),
        ("both 20", [(20, "both")]),
        ("10/12", [(10, None)]),
        ("10 out of 20", [(10, None)]),
        ("10-15 secs", [(10, None)]),
        ("minute and a half", [(90, None)]),
        ("1m20s", [(80, None)]),
        ("I had to stop at 10", [(10, None)]),
    ],
)
def test_holds(text: str, holds: list[tuple[float, str | None]]) -> None:
    reading = read(text, Context(sided=True))
    assert reading.kind == "result"
    assert [(h.seconds, h.side) for h in reading.holds] == holds


@pytest.mark.parametrize(
    ("text", "fall"),
    [
        ("fell in the kitchen", "yes"),
        ("feel over this morning", "yes"),
        ("HELP I fell", "yes"),
        ("nearly fell but caught myself", "unsure"),
        ("fell last year", "unsure"),
        ("no falls today", "no"),
        ("felt fine", "no"),
        ("I fell asleep", "no"),
        ("my husband fell", "no"),
    ],
)
def test_falls(text: str, fall: str) -> None:
    assert read(text, Context(), second=False).fall == fall


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("STOP", "opt_out"),
        (" stop. ", "opt_out"),
        ("please stop texting me", "opt_out"),
        ("START", "opt_in"),
        ("HELP", "help"),
        ("all good", "result"),
        ("👍", "result"),
        ("didn't do it today", "skipped"),
        ("can I use a chair?", "question"),
        ("", "other"),
    ],
)
def test_kinds(text: str, kind: str) -> None:
    assert read(text, Context()).kind == kind


@pytest.mark.parametrize(
    ("text", "language", "about"),
    [
        ("which foot goes in front?", "en", True),
        ("can I hold the counter", "en", True),
        ("what time is my appointment?", "en", False),
        ("are you coming on Tuesday?", "en", False),
        ("20 steady", "en", False),
        ("¿qué pie va delante?", "es", True),
        ("¿viene el martes?", "es", False),
    ],
)
def test_questions_about_the_task_are_told_from_others(
    text: str, language: str, about: bool
) -> None:
    assert read(text, Context(language=language)).about_task is about


def test_a_pain_score_told_unasked_is_kept_and_is_no_hold() -> None:
    reading = read("pain 4 out of 10 in my knee, did 20", Context())
    assert (reading.pain, reading.pain_score, reading.body_part) == ("yes", 4, "knee")
    assert [hold.seconds for hold in reading.holds] == [20]


def test_a_hold_that_ended_in_a_fall_is_wobbly_and_one_told_beside_a_fall_is_not() -> None:
    assert read("10 secs then I fell backwards", Context()).steadiness == "wobbly"
    assert read("20. Fell in the garden yesterday", Context()).steadiness is None


@pytest.mark.parametrize("text", ["Sí me caí", "si me caí ayer", "Sí, me caí en el patio"])
def test_a_spanish_yes_without_its_accent_is_no_if(text: str) -> None:
    assert read(text, Context(language="es")).fall == "yes"


def test_a_spanish_if_is_still_an_if() -> None:
    assert read("¿qué hago si me mareo?", Context(language="es")).dizzy == "no"
