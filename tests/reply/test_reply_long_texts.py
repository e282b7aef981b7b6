"""A text longer than anybody types: what is read of it is bounded, and harm anywhere is heard."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.reply import Context, read
from rungwise.reply.lexicon import lexicon
from rungwise.reply.long_texts import LONGEST_READ, worth_reading
from rungwise.reply.talk import MOST_WORDS

CHAT = "I walked to the shop and it was lovely today. "
CHARLA = "Fui a la tienda y hizo un día muy bonito. "
LARGE = 100_000


def long_with(said: str, at: float, chat: str = CHAT) -> str:
    """100,000 letters of chat with these words at a share of their length."""
    before = int(LARGE * at) // len(chat)
    after = (LARGE - len(said)) // len(chat) - before
    return chat * before + said + " " + chat * after


@pytest.mark.parametrize("at", [0.0, 0.3, 0.7, 1.0])
@pytest.mark.parametrize(
    ("said", "field", "heard"),
    [
        ("I fell in the bath.", "fall", "yes"),
        ("My hip hurts a lot.", "pain", "yes"),
        ("The room is spinning.", "dizzy", "yes"),
        ("Chest pain since noon.", "emergency", True),
        ("I don't want to live any more.", "news", "distress"),
    ],
)
def test_harm_is_heard_wherever_it_stands(said, field, heard, at):
    assert getattr(read(long_with(said, at), Context()), field) == heard


@pytest.mark.parametrize("at", [0.5, 1.0])
def test_harm_is_heard_in_spanish_too(at):
    reading = read(long_with("Me caí en el baño.", at, CHARLA), Context(language="es"))
    assert reading.fall == "yes"


@pytest.mark.parametrize("word", ["fell ", "12 ", "a", "yes no ", "my hip hurts, ", "I fell. "])
def test_what_is_read_is_bounded_and_keeps_its_place(word):
    text = word * (LARGE // len(word))
    kept = worth_reading(text, lexicon("en"))
    assert len(kept) == len(text)
    assert len(kept.replace(" ", "")) <= 1900
    assert len(kept.split()) <= MOST_WORDS + 200
    assert all(theirs in (mine, ".", " ") for mine, theirs in zip(text, kept, strict=True))


@given(st.text(max_size=300), st.integers(1, 60))
def test_any_long_text_gives_a_reading_with_spans_in_it(text, times):
    long = text * times
    reading = read(long, Context())
    assert all(
        0 <= s.start <= s.end <= len(long) for some in reading.because.values() for s in some
    )


def test_a_text_that_somebody_may_have_typed_is_read_whole():
    text = (CHAT * 100)[:LONGEST_READ]
    assert worth_reading(text, lexicon("en")) is text
