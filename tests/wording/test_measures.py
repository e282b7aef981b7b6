"""Lengths and hours as a practice writes them: an inch is 25.4 mm exactly (ISO 80000-3)."""

from datetime import time
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.concepts.measures import Measures, exact, halves_up, room, usual
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.wording.dates import hour_words
from rungwise.wording.rung_words import rung_picture, rung_sentence, rung_short

BODY = Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177)
LADDER = build_ladder(BODY, Equipment(mat_layers=8, half_foam_whole=True), Limits())
INCH_MM = 25.4


def inches(written: str) -> Fraction:
    """What an inch value says, read back: 3 1/2 in."""
    return sum((Fraction(part) for part in written.removesuffix(" in").split()), Fraction(0))


@pytest.mark.parametrize(
    ("length_mm", "cm", "inch", "up_cm", "up_inch"),
    [
        (0, "0 cm", "0 in", "0 cm", "0 in"),
        (3, "0.3 cm", "1/8 in", "0.5 cm", "1/8 in"),
        (25.4, "2.5 cm", "1 in", "3 cm", "1 in"),
        (85, "8.5 cm", "3 3/8 in", "8.5 cm", "3 3/8 in"),
        (86, "8.6 cm", "3 3/8 in", "9 cm", "3 1/2 in"),
        (177, "17.7 cm", "7 in", "18 cm", "7 in"),
        (246, "24.6 cm", "9 5/8 in", "25 cm", "9 3/4 in"),
    ],
)
def test_lengths_by_hand(length_mm, cm, inch, up_cm, up_inch) -> None:
    assert (exact(length_mm), exact(length_mm, "in")) == (cm, inch)
    assert (room(length_mm), room(length_mm, "in")) == (up_cm, up_inch)


@given(st.integers(0, 3000))
def test_inches_are_right_to_the_eighth_and_room_is_never_less(length_mm: int) -> None:
    meant = length_mm / INCH_MM
    assert abs(inches(exact(length_mm, "in")) - Fraction(meant)) <= Fraction(1, 16) + Fraction(
        1, 10**6
    )
    up = inches(room(length_mm, "in"))
    assert 0 <= up - Fraction(meant) + Fraction(1, 10**6) < Fraction(1, 8) + Fraction(1, 10**5)
    for lengths, unit_mm in (("cm", 10.0), ("in", INCH_MM)):
        mark_mm = halves_up(length_mm, lengths) * unit_mm  # type: ignore[arg-type]
        assert length_mm - 1e-6 <= mark_mm < length_mm + unit_mm / 2 + 1e-6


@pytest.mark.parametrize(
    ("at", "twelve", "twenty_four"),
    [
        (time(0, 5), "12:05 am", "00:05"),
        (time(9), "9:00 am", "09:00"),
        (time(12), "12:00 pm", "12:00"),
        (time(14, 30), "2:30 pm", "14:30"),
    ],
)
def test_hours_by_hand(at: time, twelve: str, twenty_four: str) -> None:
    assert Measures(clock=12).hour(at) == twelve
    assert Measures().hour(at) == twenty_four


@pytest.mark.parametrize(
    ("language", "clock", "said"),
    [
        ("en", None, "3:30 pm"),
        ("en", 12, "3:30 pm"),
        ("en", 24, "15:30"),
        ("es", None, "las 15:30"),
        ("es", 24, "las 15:30"),
        ("es", 12, "las 3:30 pm"),
    ],
)
def test_texts_tell_the_hour_by_the_practices_clock(language, clock, said) -> None:
    assert hour_words(time(15, 30), language, clock) == said
    assert hour_words(time(13), "es", 12) == "la 1 pm"


def test_every_rung_is_told_and_drawn_in_inches_alone() -> None:
    for rung in LADDER.rungs:
        for language in ("en", "es"):
            for words in (rung_short(rung, language, "in"), rung_sentence(rung, language, "in")):
                assert " cm" not in words
            drawn = rung_picture(rung, BODY, language, lengths="in", for_client=True)
            drawn += rung_picture(rung, BODY, language, lengths="in")
            assert " cm" not in drawn
    assert any(" in apart" in rung_short(rung, "en", "in") for rung in LADDER.rungs)


def test_what_is_usual_where() -> None:
    assert usual("US") == Measures("in", 12)
    assert usual("GB") == Measures("cm", 24)
    assert usual("AU") == Measures("cm", 12)
