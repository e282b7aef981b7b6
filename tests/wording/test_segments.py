"""Segment counts against 3GPP TS 23.038 and TS 23.040, and against another library."""

import json
import unicodedata

import pytest
import smsutil
from hypothesis import example, given
from hypothesis import strategies as st

from rungwise.wording.segments import (
    GSM7_CHARACTERS,
    GSM7_EXTENSION,
    Segments,
    fits_one,
    gsm7_safe,
    segments,
    to_gsm7,
)

FACE = "\U0001f600"

# Text, alphabet, units, units of each part: greedy filling by TS 23.038 and TS 23.040.
BY_THE_STANDARD = [
    ("a" * 160, "GSM-7", 160, (160,)),
    ("a" * 161, "GSM-7", 161, (153, 8)),
    ("a" * 306, "GSM-7", 306, (153, 153)),
    ("a" * 307, "GSM-7", 307, (153, 153, 1)),
    ("a" * 459, "GSM-7", 459, (153, 153, 153)),
    ("a" * 460, "GSM-7", 460, (153, 153, 153, 1)),
    ("a" * 158 + "€", "GSM-7", 160, (160,)),
    ("a" * 159 + "€", "GSM-7", 161, (153, 8)),
    ("€" * 80, "GSM-7", 160, (160,)),
    ("€" * 81, "GSM-7", 162, (152, 10)),
    ("a" * 152 + "€" + "a" * 152, "GSM-7", 306, (152, 153, 1)),
    ("ê" * 70, "UCS-2", 70, (70,)),
    ("ê" * 71, "UCS-2", 71, (67, 4)),
    ("ê" * 134, "UCS-2", 134, (67, 67)),
    ("ê" * 135, "UCS-2", 135, (67, 67, 1)),
    ("ê" * 68 + FACE, "UCS-2", 70, (70,)),
    ("ê" * 69 + FACE, "UCS-2", 71, (67, 4)),
    ("ê" * 66 + FACE + "ê" * 66, "UCS-2", 134, (66, 67, 1)),
    ("a" * 159 + "ê", "UCS-2", 160, (67, 67, 26)),
    ("Don't hold", "GSM-7", 10, (10,)),
    ("Don’t hold", "UCS-2", 10, (10,)),
    ("café", "GSM-7", 4, (4,)),
    ("garçon", "UCS-2", 6, (6,)),
    ("GARÇON", "GSM-7", 6, (6,)),
    ("año", "GSM-7", 3, (3,)),
    ("está", "UCS-2", 4, (4,)),
    ("90°", "UCS-2", 3, (3,)),
    ("hold ½ min", "UCS-2", 10, (10,)),
    ("10–15", "UCS-2", 5, (5,)),
    ("[x]", "GSM-7", 5, (5,)),
    ("`", "UCS-2", 1, (1,)),
    ("a\tb", "UCS-2", 3, (3,)),
    ("a\u00a0b", "UCS-2", 3, (3,)),
]


@pytest.mark.parametrize(("text", "encoding", "units", "part_units"), BY_THE_STANDARD)
def test_a_text_divides_as_the_standard_says(
    text: str, encoding: str, units: int, part_units: tuple[int, ...]
) -> None:
    counted = segments(text)
    assert (counted.encoding, counted.units, counted.part_units) == (encoding, units, part_units)
    assert counted.count == len(counted.parts) == len(part_units)
    assert "".join(counted.parts) == text
    assert fits_one(text) is (len(part_units) == 1)


def test_the_alphabet_has_127_characters_and_ten_of_two_septets() -> None:
    assert len(GSM7_CHARACTERS) == 127
    assert set("\f^{}\\[~]|€") == GSM7_EXTENSION
    assert not GSM7_CHARACTERS & GSM7_EXTENSION


def test_an_empty_text_is_one_empty_segment() -> None:
    assert segments("") == Segments("GSM-7", 0, ("",), (0,))


def test_an_extension_character_is_kept_whole_at_the_cut() -> None:
    counted = segments("a" * 152 + "€" + "a" * 10)
    assert counted.parts == ("a" * 152, "€" + "a" * 10)


def test_more_parts_than_a_phone_can_join_are_not_sendable() -> None:
    assert segments("a" * 153 * 255).sendable
    assert not segments("a" * (153 * 255 + 1)).sendable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\ud83d", "a\ufffd"),
        ("\ude00b", "\ufffdb"),
        ("\ude00\ud83d", "\ufffd\ufffd"),
        ("\ud83d\ude00", FACE),
        ("x\ud83d\ud83d\ude00y", "x\ufffd" + FACE + "y"),
    ],
)
def test_a_lone_surrogate_counts_as_the_mark_a_phone_shows(text: str, shown: str) -> None:
    counted = segments(text)
    assert counted.parts == (shown,)
    assert counted.encoding == "UCS-2"
    assert counted.units == len(shown.encode("utf-16-be")) // 2


# Where the other library (smsutil 1.1.3) differs: it takes the escape code for a character of its
# own, which TS 23.038 does not; it calls an empty text UCS-2; it cannot take lone surrogates.
_GSM = st.sampled_from(sorted(GSM7_CHARACTERS | GSM7_EXTENSION))
_ANY = st.characters(exclude_categories=("Cs",), exclude_characters="\x1b")
_TWO_SEPTETS = st.sampled_from(sorted(GSM7_EXTENSION))


def _runs(character: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Texts long enough to be cut: characters, each repeated up to 160 times."""
    run = st.builds(str.__mul__, character, st.integers(1, 160))
    return st.lists(run, min_size=1, max_size=8).map("".join)


@given(
    st.one_of(
        _runs(_GSM),
        _runs(st.one_of(_GSM, _TWO_SEPTETS, st.just("ê"), st.just(FACE))),
        st.text(st.one_of(_GSM, _ANY), min_size=1, max_size=400),
    )
)
@example("a" * 152 + "€" * 2)
@example("ê" * 66 + FACE * 3)
def test_counts_equal_another_library(text: str) -> None:
    ours, other = segments(text), smsutil.split(text)
    assert (ours.encoding == "GSM-7") is (other.encoding == "gsm0338")
    assert list(ours.parts) == [part.content for part in other.parts]
    per_unit = 1 if ours.encoding == "GSM-7" else 2
    assert [n * per_unit for n in ours.part_units] == [part.bytes for part in other.parts]
    assert ours.units * per_unit == other.total_bytes


def test_the_escape_code_is_no_character() -> None:
    assert segments("\x1b").encoding == "UCS-2"
    assert not gsm7_safe("\x1b")


@given(st.text(st.characters(), max_size=400))
def test_no_part_is_too_long_and_none_is_lost(text: str) -> None:
    counted = segments(text)
    joined = "".join(counted.parts)
    assert joined == text.encode("utf-16-be", "surrogatepass").decode("utf-16-be", "replace")
    room = {"GSM-7": (160, 153), "UCS-2": (70, 67)}[counted.encoding]
    assert all(units <= room[counted.count > 1] for units in counted.part_units)
    assert counted.count == 1 or all(counted.parts)
    assert fits_one(text) == (counted.count == 1)
    json.dumps(counted.parts).encode()
    "".join(counted.parts).encode("utf-8")


@pytest.mark.parametrize(
    ("text", "sent"),
    [
        ("Don’t “lean” – hold…", 'Don\'t "lean" - hold...'),
        ("¿Está más fácil? Señor, qué día", "¿Esta mas facil? Señor, qué dia"),
        ("10\u00a0s, 20\u202fs,\u2009then\trest", "10 s, 20 s, then rest"),
        ("90° ½ 3×2 −4", "90 deg 1/2 3x2 -4"),
        ("Zoë Łukasz Ødegård François Dvořák", "Zoe Lukasz Ødegård Francois Dvorak"),
        ("Γιώργος", "ΓIΩPΓOΣ"),
        ("e\u0301 n\u0303 a\u0301", "é ñ a"),
        ("steady 👍🏽!", "steady !"),
        ("ＡＢ１２", "AB12"),
        ("a\u200bb\u202ec", "abc"),
        ("plain [x] €5 text\n", "plain [x] €5 text\n"),
        ("line\u2028next", "line\nnext"),
    ],
)
def test_marks_and_accents_come_into_gsm7(text: str, sent: str) -> None:
    assert to_gsm7(text) == sent
    assert gsm7_safe(sent)


def test_a_name_in_another_script_stays_readable() -> None:
    assert to_gsm7("Hello Иван") == "Hello Иван"


@given(st.text(st.characters(), max_size=60))
def test_only_letters_and_digits_without_an_equal_stay_outside_gsm7(text: str) -> None:
    sent = to_gsm7(text)
    outside = [c for c in sent if not gsm7_safe(c)]
    assert all(unicodedata.category(c)[0] in "LMN" for c in outside)
    assert to_gsm7(sent) == sent
