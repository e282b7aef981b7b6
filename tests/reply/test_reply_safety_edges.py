"""Texts on the edge of a rule: one word more or less, and it is read otherwise."""

import pytest

from rungwise.reply import Context, read


def told(text: str, language: str = "en") -> tuple[str, str, str, bool, str | None]:
    reading = read(text, Context(language=language), second=False)
    return reading.fall, reading.pain, reading.dizzy, reading.emergency, reading.body_part


@pytest.mark.parametrize(
    ("text", "fall"),
    [
        ("a bit shaken up", "unsure"),
        ("not shaken up", "no"),
        ("the dog is shaken up", "no"),
        ("the vase is shaken up", "no"),
        # What is denied or supposed first does not hide what is told after it.
        ("not shaken up. a bit bumped", "unsure"),
        ("not bumped. shaken up", "unsure"),
        ("if shaken up, a bit shaken up", "unsure"),
        ("no splat. a big splat", "unsure"),
        ("20 splat. big splat", "unsure"),
        ("the nurse grabbed the rail on the stairs", "no"),
        ("caught myself? bad tomorrow; grabbed the rail on the stairs", "unsure"),
        ("the vase went over quick", "no"),
        ("my husband went over badly", "no"),
        ("went over quick", "unsure"),
        ("found myself on the pavement and the gravel", "yes"),
    ],
)
def test_a_fall_on_the_edge(text: str, fall: str) -> None:
    assert told(text)[0] == fall


@pytest.mark.parametrize(
    ("text", "pain", "part"),
    [
        ("my knee", "unsure", None),
        ("5 foot", "no", None),
        ("my knee doctor", "no", None),
        ("my knee doctor, my ankle", "unsure", None),
        ("not my knee, my ankle", "unsure", None),
        # The part that is named nearest; the first of two that are as near.
        ("knee hurts hip", "yes", "knee"),
        ("hurts hip knee", "yes", "hip"),
        ("hurts. knee", "yes", "knee"),
        ("my big toe is playing up", "yes", "big toe"),
        ("put my lower back out", "yes", "back"),
        ("chest hurts", "yes", "chest"),
    ],
)
def test_a_pain_on_the_edge(text: str, pain: str, part: str | None) -> None:
    assert (told(text)[1], told(text)[4]) == (pain, part)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("found myself on the pavement on the gravel", ["found myself on the pavement"]),
        ("tripped up on the floor, on the floor", ["tripped up on the floor"]),
        ("didn't fall but nearly; didn't fall but nearly", ["but nearly"]),
    ],
)
def test_the_words_behind_an_answer_are_the_first_that_say_it(text: str, words: list[str]) -> None:
    spans = read(text, Context()).because["fall"]
    assert {text[span.start : span.end] for span in spans} == set(words)
    assert spans[0].start < 23


@pytest.mark.parametrize("text", ["chest hurts", "my chest is sore", "pain in my chest"])
def test_the_chest_is_an_emergency_and_a_denied_pain_of_it_is_none(text: str) -> None:
    assert told(text)[3] is True
    assert told("no pain in my chest")[3] is False


@pytest.mark.parametrize(
    ("text", "pain", "part"),
    [
        ("my wrist", "yes", "wrist"),
        ("my head", "yes", "head"),
        ("just my finger", "yes", "finger"),
        # A part that is spoken of for much else, and not said to be theirs.
        ("face", "unsure", None),
        ("my son's hand", "no", None),
        ("back soon", "no", None),
    ],
)
def test_a_part_of_the_body_answers_whether_it_hurts(
    text: str, pain: str, part: str | None
) -> None:
    reading = read(text, Context(asked="hurt"))
    assert (reading.pain, reading.body_part) == (pain, part)


@pytest.mark.parametrize(
    ("asked", "text", "language"),
    [
        ("hurt", "yes my chest", "en"),
        ("pain_yes_no", "yes, chest", "en"),
        ("pain_score", "8 chest", "en"),
        ("hurt", "el pecho", "es"),
        ("hurt", "sí, el pecho", "es"),
        ("pain_score", "7 en el pecho", "es"),
    ],
)
def test_the_chest_is_an_emergency_in_an_answer_too(asked, text: str, language: str) -> None:
    reading = read(text, Context(asked=asked, language=language))
    assert (reading.pain, reading.body_part, reading.emergency) == ("yes", "chest", True)


def test_no_pain_in_the_chest_is_none_in_an_answer_too() -> None:
    assert read("no, my chest is fine", Context(asked="hurt")).emergency is False
    assert read("0, chest is fine", Context(asked="pain_score")).emergency is False
