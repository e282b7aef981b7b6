"""Answers to "did you fall?", "does it hurt?", "are you dizzy?" that are neither yes nor no."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_reply_laws import HARMLESS

from rungwise.reply import Context, read

FIELD = {"fall_yes_no": "fall", "pain_yes_no": "pain", "dizzy_yes_no": "dizzy", "hurt": "pain"}


def answer(text: str, asked: str, language: str = "en") -> str:
    reading = read(text, Context(asked=asked, language=language))  # type: ignore[arg-type]
    told: str = getattr(reading, FIELD[asked])
    assert told == "no" or reading.kind in ("safety_only", "result")
    return told


# Said to any of the questions, each grants it.
GRANTED = [
    "I'm afraid I did",
    "I'm afraid so",
    "'fraid so",
    "sorry to say I did",
    "I did",
    "I did yes",
    "unfortunately",
    "sadly yes",
    "it happened",
    "guilty",
    "I have to admit I did",
    "well, the answer is yes",
    "just the once",
    "twice",
    "two or three times",
    "this morning",
    "once in the garden",
]
GRANTED_ES = [
    "me temo que sí",
    "por desgracia",
    "así fue",
    "lamentablemente sí",
    "pues sí me pasó",
    "la verdad, sí",
    "dos veces",
    "una sola vez",
    "anoche",
    "una vez, en el jardín",
]


@pytest.mark.parametrize("asked", FIELD)
@pytest.mark.parametrize("text", GRANTED)
def test_a_yes_in_other_words_is_a_yes(text: str, asked: str) -> None:
    assert answer(text, asked) == "yes"


@pytest.mark.parametrize("asked", FIELD)
@pytest.mark.parametrize("text", GRANTED_ES)
def test_a_spanish_yes_in_other_words_is_a_yes(text: str, asked: str) -> None:
    assert answer(text, asked, "es") == "yes"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("just a little one in the kitchen", "yes"),
        ("only a small one", "yes"),
        ("a tiny one. in the garden", "yes"),
        ("a tiny one. in the slippers", "unsure"),
        ("in the garden", "yes"),
        ("a bit on the gravel", "yes"),
        ("5 times", "unsure"),
        ("5 on the stairs", "yes"),
        ("on Sunday", "yes"),
        ("not the first time", "yes"),
        ("sadly not the first time", "yes"),
        ("more than once", "yes"),
        ("last Tuesday", "yes"),
        ("hardly", "unsure"),
        ("not for a while", "no"),
        ("silly me", "unsure"),
        ("not since Tuesday", "unsure"),
        ("on the stairs this morning", "yes"),
        ("3 in the garden", "yes"),
        ("6 in the garden", "no"),  # seconds, told beside it
        ("when I got up", "yes"),
        ("whenever it rains", "yes"),
        ("when I wobbled", "unsure"),
        ("when I touched the wall", "unsure"),
        ("when I was done", "unsure"),
        ("when is my visit", "no"),
        ("when what", "no"),
        ("will do it when I get home", "no"),
        ("when I get home", "no"),
        ("when I can?", "no"),
        ("a bit when I get home", "unsure"),
        ("once, years ago", "unsure"),
        ("once, years ago and again yesterday", "yes"),
        ("I was in the kitchen", "unsure"),
        ("a bit wobbly", "unsure"),
        ("maybe", "unsure"),
        ("very nearly", "unsure"),
        ("sometimes nearly", "unsure"),
        ("my slippers", "unsure"),
        ("blurgh", "unsure"),
        ("the answer isn't yes", "no"),
        ("done, yes", "yes"),
        ("not sure I did", "unsure"),
    ],
)
def test_whether_they_fell(text: str, told: str) -> None:
    assert answer(text, "fall_yes_no") == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("only when I go upstairs", "yes"),
        ("only when I bend", "yes"),
        ("when I stand", "yes"),
        ("when my leg is tired", "yes"),
        ("just at night", "yes"),
        ("mainly mornings", "yes"),
        ("in my knee", "yes"),
        ("on and off", "yes"),
        ("going upstairs", "yes"),
        ("not much", "yes"),
        ("hardly", "yes"),
        ("not too bad", "yes"),
        ("a bit maybe", "yes"),
        ("maybe", "yes"),
        ("bearable", "unsure"),
        ("the rain makes it worse", "yes"),
        ("same as always", "unsure"),
        ("not until this morning", "unsure"),
        ("both", "unsure"),
        ("thanks, the usual", "unsure"),
        # A no that is taken back in part.
        ("no, only when I bend", "unsure"),
        ("no pain, only when I bend", "unsure"),
        ("no, just a bit", "unsure"),
        ("no, just at night!", "unsure"),
        ("no, a bit", "unsure"),
        ("no, sometimes :)", "unsure"),
        ("no, only sometimes. thanks", "unsure"),
        ("no, only sometimes!!!", "unsure"),
        ("no, tired, only sometimes!!", "unsure"),
        ("no, tired, only sometimes :) ok", "no"),
        ("no but nearly", "unsure"),
        ("not today but yesterday I did", "unsure"),
        ("no, only when I get home?", "no"),
        ("no this morning", "no"),
        ("no, just this morning I was tired", "no"),
        ("no, a bit tired", "no"),
        ("no, only stiff", "no"),
        # A plain no, comfort, thanks and other things.
        ("no", "no"),
        ("not at all", "no"),
        ("not a bit", "no"),
        ("nope all good", "no"),
        ("no only tired", "no"),
        ("no just stiff", "no"),
        ("only my pride", "no"),
        ("I'm afraid not", "no"),
        ("I'm afraid I didn't", "no"),
        ("I'm fine thanks", "no"),
        ("it's fine now", "no"),
        ("all good", "no"),
        ("thank you dear", "no"),
        ("done", "no"),
        ("lovely weather", "no"),
        ("ok will do", "no"),
        ("no time today", "no"),
        ("can I ring you?", "no"),
        ("why do you ask", "no"),
        ("20 steady", "no"),
        ("20", "no"),
        ("12", "no"),
        ("0", "no"),
        ("5 secs", "no"),
        ("5 steady", "no"),
        ("left 5 right 4", "no"),
        ("5", "unsure"),
        ("a 6", "unsure"),
        ("10", "unsure"),
        ("about 4 out of 10", "unsure"),
        ("4/10", "unsure"),
        ("", "no"),
    ],
)
def test_whether_it_hurts(text: str, told: str) -> None:
    assert answer(text, "pain_yes_no") == told


@pytest.mark.parametrize(
    ("asked", "text", "told"),
    [
        ("dizzy_yes_no", "only when I stand up", "yes"),
        ("dizzy_yes_no", "first thing", "yes"),
        ("dizzy_yes_no", "not dizzy only tired", "no"),
        ("dizzy_yes_no", "5", "no"),
        ("fall_yes_no", "5", "no"),
        ("fall_yes_no", "it was only the cat who fell", "no"),
        ("fall_yes_no", "my knee hurts", "no"),
        ("fall_yes_no", "my knee hurts when I sit", "no"),
        ("fall_yes_no", "my hip is playing up on the stairs", "unsure"),
        ("pain_yes_no", "dizzy when I sit up", "no"),
        ("result", "hm hm", "no"),
        ("result", "only when I go upstairs", "no"),
    ],
)
def test_what_is_asked_about_is_what_is_granted(asked: str, text: str, told: str) -> None:
    field = FIELD.get(asked, "fall")
    assert getattr(read(text, Context(asked=asked)), field) == told  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("asked", "text", "told"),
    [
        ("pain_yes_no", "solo al subir", "yes"),
        ("pain_yes_no", "a veces", "yes"),
        ("pain_yes_no", "un poco", "yes"),
        ("pain_yes_no", "por las noches", "yes"),
        ("pain_yes_no", "cuando me agacho", "yes"),
        ("pain_yes_no", "en la rodilla", "yes"),
        ("pain_yes_no", "se aguanta", "unsure"),
        ("pain_yes_no", "no mucho", "unsure"),
        ("pain_yes_no", "no, solo al subir", "unsure"),
        ("pain_yes_no", "no, solo cansada", "no"),
        ("pain_yes_no", "nada", "no"),
        ("pain_yes_no", "todo bien", "no"),
        ("pain_yes_no", "cuándo es la cita", "no"),
        ("dizzy_yes_no", "cuando giro la cabeza", "yes"),
        ("dizzy_yes_no", "por la mañana", "yes"),
        ("fall_yes_no", "en la escalera", "yes"),
        ("fall_yes_no", "el martes", "yes"),
        ("fall_yes_no", "no es la primera vez", "yes"),
        ("fall_yes_no", "por desgracia no fue la primera", "yes"),
        ("pain_yes_no", "lo de siempre", "unsure"),
        ("fall_yes_no", "una pequeña en la cocina", "yes"),
        ("fall_yes_no", "fue una tontería en el baño", "unsure"),
        ("fall_yes_no", "quizás", "unsure"),
        ("fall_yes_no", "por desgracia no", "no"),
        ("fall_yes_no", "estoy bien", "no"),
        ("fall_yes_no", "para nada", "no"),
    ],
)
def test_spanish_answers(asked: str, text: str, told: str) -> None:
    assert answer(text, asked, "es") == told


@given(
    st.sampled_from(GRANTED),
    st.lists(st.sampled_from(HARMLESS), max_size=4),
    st.sampled_from(sorted(FIELD)),
)
def test_harmless_words_after_it_never_make_a_granted_fall_no(
    text: str, after: list[str], asked: str
) -> None:
    context = Context(asked=asked)  # type: ignore[arg-type]
    assert getattr(read(". ".join([text, *after]), context), FIELD[asked]) != "no"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("well, only when I go upstairs", "when"),
        ("my poor old slippers", "my poor old slippers"),
        ("thanks, slippers dear", "slippers"),
        ("no, a bit", "a bit"),
        ("no, only when I bend", "only when I bend"),
    ],
)
def test_the_words_that_grant_it_are_kept(text: str, words: str) -> None:
    span = read(text, Context(asked="pain_yes_no")).because["pain"][0]
    assert text[span.start : span.end] == words
