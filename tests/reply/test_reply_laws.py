"""What holds for any text at all."""

import sys
from types import FrameType

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rungwise.reply import Context, Reading, read
from rungwise.reply.lexicon import LANGUAGES, lexicon
from rungwise.reply.plain import plain
from rungwise.reply.units import parse

ANY = st.text(st.characters(), max_size=300)
VOCABULARY = """
20 15 left right both fell fall no not never nearly my husband knee hurts dizzy steady wobbly , .
? ! and or but I yesterday years ago 10/12 1:15 seconds min half stop help please if 👍 chest pain
last year couldn't did it same as caí no duele izquierda
"""
WORDS = st.lists(
    st.sampled_from(VOCABULARY.split()),
    max_size=30,
).map(" ".join)
CONTEXTS = st.builds(
    Context,
    target_s=st.integers(1, 60),
    sided=st.booleans(),
    asked=st.sampled_from(
        ["result", "fall_yes_no", "pain_yes_no", "dizzy_yes_no", "hurt", "pain_score", "retest"]
    ),
    language=st.sampled_from([*LANGUAGES, "xx"]),
)


def well_formed(text: str, reading: Reading) -> bool:
    spans = [span for found in reading.because.values() for span in found]
    return (
        0.0 <= reading.confidence <= 1.0
        and all(0 <= span.start < span.end <= len(text) for span in spans)
        and all(hold.seconds >= 0 for hold in reading.holds)
        and all(value in ("yes", "no", "unsure") for value in (reading.fall, reading.pain))
        and (reading.kind != "skipped" or reading.steadiness is None)
        and (not reading.holds or reading.kind in ("result", "opt_out", "opt_in", "safety_only"))
    )


@settings(max_examples=100)
@given(ANY | WORDS, CONTEXTS)
@example("", Context())
@example("\ud800\udfff fell \u202e\u0000", Context())
@example("9" * 400, Context())
@example("fell " * 50, Context())
def test_any_text_gives_a_reading(text: str, context: Context) -> None:
    assert well_formed(text, read(text, context))


@settings(max_examples=100)
@given(WORDS, CONTEXTS)
def test_reading_twice_gives_the_same(text: str, context: Context) -> None:
    assert read(text, context) == read(text, context)


def meaning(reading: Reading) -> tuple[object, ...]:
    return (
        reading.kind,
        reading.holds,
        reading.steadiness,
        reading.fall,
        reading.pain,
        reading.dizzy,
        reading.emergency,
        reading.yes_no,
    )


@settings(max_examples=100)
@given(WORDS)
def test_small_letters_and_blanks_change_nothing_told(text: str) -> None:
    spaced = "  " + text.replace(" ", "   ") + " "
    assert meaning(read(spaced)) == meaning(read(text))


@settings(max_examples=100)
@given(WORDS)
def test_invisible_characters_change_nothing_told(text: str) -> None:
    hidden = "\u200b".join(text.replace(" ", " \u200f"))
    assert meaning(read(hidden)) == meaning(read(text))


FALLS = [
    "I fell",
    "fell in the kitchen",
    "had a fall last night",
    "took a tumble",
    "I've fallen",
    "ended up on the floor",
    "slipped in the shower and went down",
    "came a cropper",
    "tripped over the rug and fell",
    "my legs gave way and I was on the floor",
    "feel over",
    "I fell but I'm fine",
    "20 steady but I fell later",
    "help I fell",
    "fell down the stairs",
]
HARMLESS = [
    "hello",
    "good morning dear",
    "thank you",
    "lovely weather today",
    "the sun is out",
    "hope you are well",
    "love Margaret x",
    "20 steady",
    "left 20 right 15",
    "all good otherwise",
    "my daughter says hello",
    "my husband is well",
    "no worries",
    "not to worry",
    "see you Thursday",
    "had a nice lunch",
    "the doctor was happy",
    "can I do more?",
    "okay",
    "no problem",
    "haha",
    "sorry this is late",
    "I slept well",
    "will try again tomorrow",
    "it was cold",
    "so there",
    "nothing else to report",
    "no news",
    "my sister was here",
    "the cat is fine",
]


@settings(max_examples=300)
@given(
    st.sampled_from(FALLS),
    st.lists(st.sampled_from(HARMLESS), max_size=4),
    st.lists(st.sampled_from(HARMLESS), max_size=4),
    st.sampled_from([". ", "! ", "\n", "... "]),
)
def test_harmless_sentences_never_hide_a_fall(
    fall: str, before: list[str], after: list[str], joint: str
) -> None:
    assert read(joint.join([*before, fall, *after])).fall == "yes"


FILLERS = ["um", "well", "today", "you know", "dear", "really", "actually", "honestly", "ok", "oh"]


@settings(max_examples=300)
@given(
    st.sampled_from(FALLS),
    st.lists(st.sampled_from(HARMLESS + FILLERS), max_size=3),
    st.lists(st.sampled_from(HARMLESS + FILLERS), max_size=3),
)
def test_harmless_words_without_a_pause_never_make_a_fall_no(
    fall: str, before: list[str], after: list[str]
) -> None:
    assert read(" ".join([*before, fall, *after])).fall != "no"


@settings(max_examples=100)
@given(st.sampled_from(FALLS), st.data())
def test_a_filler_inside_never_makes_a_fall_no(fall: str, data: st.DataObject) -> None:
    words = fall.split(" ")
    place = data.draw(st.integers(0, len(words)))
    words.insert(place, data.draw(st.sampled_from(["um", "erm", "uh", "hmm"])))
    assert read(" ".join(words)).fall != "no"


@settings(max_examples=100)
@given(ANY)
def test_plain_text_knows_where_it_came_from(text: str) -> None:
    source = plain(text)
    for place in range(len(source.text)):
        span = source.span(place, place + 1)
        assert 0 <= span.start < span.end <= len(text)


@settings(max_examples=100)
@given(ANY | WORDS)
def test_units_cover_the_tokens_in_order(text: str) -> None:
    parsed = parse(text, lexicon("en"))
    ends = [0, *(unit.end for unit in parsed.units)]
    assert [unit.start for unit in parsed.units] == ends[:-1]
    assert ends[-1] == len(parsed.tokens)


LONG = {
    "one word": "fell ",
    "digits": "20 ",
    "digits without a blank": "7",
    "a word without a blank": "a",
    "noughts": "1o",
    "negations": "no not never nor ",
    "sides": "left 20 right ",
    "unknown words": "xyzzy plugh ",
    "phrases begun": "had a bit of a ",
    "quotes": "'s'",
    "brackets": "((((",
    "emoji": "👍🏽",
    "combining marks": "e\u0301\u0302",
    "newlines": "\n",
    "others": "my husband and she he they ",
}


def work(text: str) -> int:
    """How many lines of code run to read a text."""
    count = 0

    def trace(frame: FrameType, event: str, arg: object) -> object:
        nonlocal count
        count += 1
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        read(text)
    finally:
        sys.settrace(before)
    return count


@pytest.mark.parametrize("piece", LONG.values(), ids=LONG.keys())
def test_work_is_linear_in_length(piece: str) -> None:
    """Eight times the text is about eight times the work, where quadratic work would be 64."""
    short, long = ((piece * length)[:length] for length in (800, 6_400))
    read(long)
    assert work(long) < 12 * work(short)


def test_a_hundred_thousand_characters_are_read() -> None:
    text = ("I walked to the shop and back again. " * 3000)[:99_000] + " and then I fell"
    assert read(text).fall == "yes"
