"""The text as it is matched: lower case, no accents, plain quotes and digits, and the way back.

Every character of the plain text remembers which character of the original it came from, so that
what was read can be marked in the client's own words.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from rungwise.reply.reading import Span

_ASCII_CONTROL = re.compile("[\x00-\x09\x0b-\x1f\x7f]")
_QUOTES = dict.fromkeys("’‘ʼ′‛`´＇", "'") | dict.fromkeys("“”″„«»", '"')
_DASHES = dict.fromkeys("–—−‐‑‒―", "-")
_OTHERS = {"…": ".", "×": "x", "¿": "\n", "¡": " ", "\u2028": "\n", "\u2029": "\n", "\u0085": "\n"}
_BLANKS = dict.fromkeys("\t\r\x0b\x0c", " ")
_FRACTIONS = {"½": ".5", "¼": ".25", "¾": ".75"}
_FIXED = {**_QUOTES, **_DASHES, **_OTHERS, **_BLANKS, **_FRACTIONS, "\n": "\n"}
_SKIN_TONES = range(0x1F3FB, 0x1F400)
# Marks, formats (zero width, bidi), controls, surrogates, private use: nothing to read.
_DROPPED = frozenset({"Mn", "Me", "Mc", "Cf", "Cc", "Cs", "Co", "Cn"})


@dataclass(frozen=True, slots=True)
class Plain:
    """`text` to match, from `original`.

    `where[i]` is the original index of the text's character i; None when they are the same.
    """

    text: str
    original: str
    where: Sequence[int] | None = None

    def span(self, start: int, end: int) -> Span:
        """The original's stretch behind text[start:end]; start < end."""
        if self.where is None:
            return Span(start, end)
        return Span(self.where[start], self.where[end - 1] + 1)


@lru_cache(maxsize=4096)
def fold(character: str) -> str:
    """What one character is matched as: nothing, itself, or several plain characters."""
    fixed = _FIXED.get(character)
    if fixed is not None:
        return fixed
    if ord(character) in _SKIN_TONES or unicodedata.category(character) in _DROPPED:
        return ""
    digit = unicodedata.decimal(character, None)
    if digit is not None:
        return str(digit)
    spread = unicodedata.normalize("NFKD", character).casefold()
    return "".join(c for c in spread if unicodedata.category(c) not in _DROPPED)


def plain(text: str) -> Plain:
    """Never fails, whatever the text holds; linear in its length."""
    if text.isascii() and not _ASCII_CONTROL.search(text):
        return Plain(text.lower(), text)
    characters: list[str] = []
    where: list[int] = []
    for index, character in enumerate(text):
        folded = fold(character)
        characters.append(folded)
        where.extend([index] * len(folded))
    return Plain("".join(characters), text, where)
