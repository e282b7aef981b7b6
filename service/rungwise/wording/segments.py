"""How many SMS segments a text takes, by 3GPP TS 23.038 (alphabets) and TS 23.040 (joining)."""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Encoding = Literal["GSM-7", "UCS-2"]

# 3GPP TS 23.038 section 6.2.1, codes 0x00 to 0x7F in order. Code 0x1B is the escape to the
# extension table and stands for no character of its own.
_DEFAULT_ALPHABET = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ"
    " !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
# Section 6.2.1.1: escape and a second septet each.
_EXTENSION = "\f^{}\\[~]|€"

GSM7_CHARACTERS = frozenset(_DEFAULT_ALPHABET.replace("\x1b", ""))
GSM7_EXTENSION = frozenset(_EXTENSION)
_GSM7 = GSM7_CHARACTERS | GSM7_EXTENSION

# TS 23.040: 140 octets of user data; a joined part gives 6 of them to its header.
ONE_PART_UNITS: dict[Encoding, int] = {"GSM-7": 160, "UCS-2": 70}
JOINED_PART_UNITS: dict[Encoding, int] = {"GSM-7": 153, "UCS-2": 67}
MOST_PARTS = 255


@dataclass(frozen=True, slots=True)
class Segments:
    """A text as it leaves: `units` are septets in GSM-7 and 16-bit units in UCS-2.

    `parts` joined again give the text; `part_units` has the units of each, headers not counted.
    A text of more than 255 parts cannot be joined by a phone, so it is not `sendable`.
    """

    encoding: Encoding
    units: int
    parts: tuple[str, ...]
    part_units: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many segments the text takes; an empty text takes one."""
        return len(self.parts)

    @property
    def sendable(self) -> bool:
        return self.count <= MOST_PARTS


def segments(text: str) -> Segments:
    """How `text` divides into SMS segments: greedy filling, by TS 23.038 and TS 23.040.

    A character of two septets or a surrogate pair is never split between parts. A lone surrogate,
    which no phone can show, counts and is kept as U+FFFD; two surrogates that make a pair become
    their character.
    """
    text = _whole_characters(text)
    encoding: Encoding = "GSM-7" if gsm7_safe(text) else "UCS-2"
    units = _all_units(text, encoding)
    if units <= ONE_PART_UNITS[encoding]:
        return Segments(encoding, units, (text,), (units,))
    sizes = [_units(character, encoding) for character in text]
    cuts = list(_cuts(sizes, JOINED_PART_UNITS[encoding]))
    parts = tuple(text[start:end] for start, end in cuts)
    part_units = tuple(sum(sizes[start:end]) for start, end in cuts)
    return Segments(encoding, units, parts, part_units)


def fits_one(text: str) -> bool:
    """Whether the text goes out as a single segment."""
    text = _whole_characters(text)
    encoding: Encoding = "GSM-7" if gsm7_safe(text) else "UCS-2"
    return _all_units(text, encoding) <= ONE_PART_UNITS[encoding]


def gsm7_safe(text: str) -> bool:
    """Whether every character is in GSM-7 (TS 23.038's default alphabet or its extension)."""
    return _GSM7.issuperset(text)


def _whole_characters(text: str) -> str:
    if text.isascii():
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def _all_units(text: str, encoding: Encoding) -> int:
    """What the characters of a text come to; most texts are one part, and need no more."""
    if encoding == "UCS-2":
        return len(text.encode("utf-16-le")) // 2
    return len(text) + sum(map(text.count, GSM7_EXTENSION))


def _units(character: str, encoding: Encoding) -> int:
    if encoding == "GSM-7":
        return 2 if character in GSM7_EXTENSION else 1
    return 2 if ord(character) > 0xFFFF else 1


def _cuts(sizes: list[int], room: int) -> Iterator[tuple[int, int]]:
    start = used = 0
    for place, size in enumerate(sizes):
        if used + size > room:
            yield start, place
            start, used = place, 0
        used += size
    yield start, len(sizes)


# What has a near equal in GSM-7 but does not come apart into letter and accent by itself.
_NEAR_EQUALS = str.maketrans(
    {
        "‘": "'", "’": "'", "‚": "'", "‛": "'", "′": "'", "`": "'", "´": "'", "ʼ": "'",
        "“": '"', "”": '"', "„": '"', "‟": '"', "″": '"', "«": '"', "»": '"',
        "‹": "'", "›": "'",
        "‐": "-", "‑": "-", "‒": "-", "–": "-", "—": "-", "―": "-", "−": "-",
        "…": "...", "•": "-", "·": "-", "×": "x", "÷": "/", "⁄": "/", "→": "->",
        "½": "1/2", "¼": "1/4", "¾": "3/4", "°": " deg", "º": "o", "ª": "a",
        "\t": " ", "\u2028": "\n", "\u2029": "\n", "\u0085": "\n",
        "Ł": "L", "ł": "l", "Đ": "D", "đ": "d", "Ð": "D", "ð": "d", "Þ": "Th", "þ": "th",
        "Œ": "Oe", "œ": "oe", "ı": "i", "ħ": "h", "Ħ": "H", "ŋ": "n", "Ŋ": "N", "ẞ": "ß",
        "©": "(c)", "®": "(R)", "™": "TM",
        # Greek capitals that look Latin have no code of their own.
        "Α": "A", "Β": "B", "Ε": "E", "Ζ": "Z", "Η": "H", "Ι": "I", "Κ": "K", "Μ": "M",
        "Ν": "N", "Ο": "O", "Ρ": "P", "Τ": "T", "Υ": "Y", "Χ": "X",
    }
)  # fmt: skip


def to_gsm7(text: str) -> str:
    """The text with its punctuation and accents brought into GSM-7 where a near equal exists.

    Curly quotes, dashes, the ellipsis and odd spaces become plain ones, accents that GSM-7 lacks
    are dropped (é stays, á becomes a), Greek goes to capitals, and symbols with no equal, emoji
    among them, are left out. Letters of other scripts stay as they are, because a name must stay
    readable: such a text then goes out in UCS-2.
    """
    text = _whole_characters(text)
    if gsm7_safe(text):
        return text
    return "".join(_near_equal(character) for character in unicodedata.normalize("NFC", text))


def left_out(text: str) -> str:
    """What `to_gsm7` leaves out of a text, such as emoji, each once and in order."""
    text = unicodedata.normalize("NFC", _whole_characters(text))
    lost = (one for one in text if not gsm7_safe(one) and not _near_equal(one))
    return "".join(one for one in dict.fromkeys(lost) if unicodedata.category(one) != "Mn")


@lru_cache(4096)
def _near_equal(character: str) -> str:
    if gsm7_safe(character):
        return character
    swapped = character.translate(_NEAR_EQUALS)
    if gsm7_safe(swapped):
        return swapped
    if unicodedata.category(character).startswith("Z"):
        return " "
    if "GREEK" in unicodedata.name(character, ""):
        character = character.upper()
    plain = unicodedata.normalize("NFKD", character)
    bare = "".join(c for c in plain if not unicodedata.combining(c)).translate(_NEAR_EQUALS)
    if bare and gsm7_safe(bare):
        return bare
    return character if unicodedata.category(character)[0] in "LMN" else ""
