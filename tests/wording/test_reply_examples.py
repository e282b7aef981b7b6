"""What our texts tell a client to reply is what the reply reader reads."""

from importlib import resources
from typing import Any

import pytest

from rungwise.ladder.stance import Side
from rungwise.reply.reader import read
from rungwise.reply.reading import Asked, Context
from rungwise.wording import render

# The languages that the reader has words for; a text in another language is not yet answered in it.
READ = sorted(
    folder.name
    for folder in resources.files("rungwise.reply").joinpath("languages").iterdir()
    if folder.is_dir() and any(file.name.endswith(".toml") for file in folder.iterdir())
)
VALUES = {
    **{
        "first": "left",
        "second": "right",
        "seconds": 20,
        "number": "911",
        "practice": "P",
        "called": "A",
    },
    **{"side": "left", "trainer": "Robin", "understood": ""},
}
EACH = [(12.0, "right"), (15.0, "left")]

# Language, text, the words in it that a client may send back, what was asked, what is read.
EXAMPLES: list[tuple[str, str, str, Asked, dict[str, Any]]] = [
    ("en", "hint_sided", "wobbly", "result", {"steadiness": "wobbly"}),
    ("en", "hint_same", "steady", "result", {"steadiness": "steady"}),
    ("en", "ask_seconds_sided", "right 12, left 15", "seconds", {"holds": EACH}),
    ("en", "ask_steadiness", "steady", "steadiness", {"steadiness": "steady"}),
    ("en", "ask_steadiness", "wobbly", "steadiness", {"steadiness": "wobbly"}),
    ("en", "reminder_a", "NOT TODAY", "result", {"kind": "skipped"}),
    ("en", "ask_fall", "YES", "fall_yes_no", {"yes_no": "yes", "fall": "yes"}),
    ("en", "ask_fall", "NO", "fall_yes_no", {"yes_no": "no", "fall": "no"}),
    ("en", "ask_pain", "YES", "pain_yes_no", {"yes_no": "yes", "pain": "yes"}),
    ("en", "ask_dizzy", "YES", "dizzy_yes_no", {"yes_no": "yes", "dizzy": "yes"}),
    ("en", "ask_hurt", "YES", "hurt", {"yes_no": "yes"}),
    ("en", "ask_hurt", "NO", "hurt", {"yes_no": "no"}),
    ("en", "help", "YES", "hurt", {"yes_no": "yes"}),
    ("en", "ask_pain_score", "left knee 4", "pain_score", {"pain_score": 4, "body_part": "knee"}),
    ("en", "first", "STOP", "result", {"kind": "opt_out"}),
    ("en", "first", "HELP", "result", {"kind": "help"}),
    ("en", "stop_done", "START", "result", {"kind": "opt_in"}),
    ("es", "hint_sided", "con tambaleo", "result", {"steadiness": "wobbly"}),
    ("es", "hint_same", "firme", "result", {"steadiness": "steady"}),
    (
        "es",
        "ask_seconds_sided",
        "derecho 12, izquierdo 15",
        "seconds",
        {"holds": EACH},
    ),
    ("es", "ask_steadiness", "Firme", "steadiness", {"steadiness": "steady"}),
    ("es", "ask_steadiness", "con tambaleo", "steadiness", {"steadiness": "wobbly"}),
    ("es", "reminder_a", "HOY NO", "result", {"kind": "skipped"}),
    ("es", "ask_fall", "SI", "fall_yes_no", {"yes_no": "yes", "fall": "yes"}),
    ("es", "ask_fall", "NO", "fall_yes_no", {"yes_no": "no", "fall": "no"}),
    ("es", "ask_pain", "SI", "pain_yes_no", {"yes_no": "yes", "pain": "yes"}),
    ("es", "ask_dizzy", "SI", "dizzy_yes_no", {"yes_no": "yes", "dizzy": "yes"}),
    ("es", "ask_hurt", "SI", "hurt", {"yes_no": "yes"}),
    ("es", "ask_hurt", "NO", "hurt", {"yes_no": "no"}),
    ("es", "help", "SI", "hurt", {"yes_no": "yes"}),
    (
        "es",
        "ask_pain_score",
        "rodilla izquierda 4",
        "pain_score",
        {"pain_score": 4, "body_part": "knee"},
    ),
    ("es", "first", "STOP", "result", {"kind": "opt_out"}),
    ("es", "first", "AYUDA", "result", {"kind": "help"}),
    ("es", "stop_done", "START", "result", {"kind": "opt_in"}),
]


def test_english_is_read() -> None:
    assert "en" in READ


@pytest.mark.parametrize(
    ("language", "name", "words", "asked", "read_as"), [row for row in EXAMPLES if row[0] in READ]
)
def test_an_example_in_a_text_is_read_as_meant(
    language: str, name: str, words: str, asked: Asked, read_as: dict[str, Any]
) -> None:
    assert words in render(name, language, None, **VALUES)
    sided = "holds" not in read_as or len(read_as["holds"]) == 2
    leads = (Side.LEFT, Side.RIGHT) if sided else ()
    context = Context(target_s=20, sided=sided, leads=leads, asked=asked, language=language)
    reading = read(words, context)
    for field, expected in read_as.items():
        got: Any = getattr(reading, field)
        if field == "holds":
            got = [(hold.seconds, hold.side) for hold in got]
        assert got == expected, field


@pytest.mark.parametrize(
    ("language", "told"),
    [
        ("en", "left 20, right 14, wobbly"),
        ("en", "right 14 left 20 wobbly"),
        ("es", "izquierda 20, derecha 14, con tambaleo"),
        ("es", "derecha 14, izquierda 20, con tambaleo"),
    ],
)
def test_an_answer_in_the_order_that_a_hint_asks_is_read(language: str, told: str) -> None:
    context = Context(sided=True, leads=(Side.LEFT, Side.RIGHT), language=language)
    reading = read(told, context)
    assert {(hold.side, hold.seconds) for hold in reading.holds} == {("left", 20), ("right", 14)}
    assert reading.steadiness == "wobbly"


@pytest.mark.parametrize("language", READ)
@pytest.mark.parametrize("sided", [True, False])
def test_a_hint_sent_back_as_it_stands_is_never_a_steady_day(language: str, sided: bool) -> None:
    # "Text left, right, steady or wobbly", copied out: nothing may move up on that.
    hint = render("hint_sided" if sided else "hint_same", language, first="left", second="right")
    words = hint.split(" ", 1)[1]
    leads = (Side.LEFT, Side.RIGHT) if sided else ()
    context = Context(target_s=20, sided=sided, leads=leads, language=language)
    assert read(words, context).steadiness != "steady"
