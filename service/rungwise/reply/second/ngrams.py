"""What the second reader looks at: short stretches of letters and of words, each in a slot.

A slot is a stretch's checksum (CRC-32, the same on every machine) cut to BITS bits. Two stretches
may share a slot; there are several times more slots than stretches that weigh anything.
"""

import re
from collections.abc import Iterator
from zlib import crc32

from rungwise.reply.plain import Plain

BITS = 18
SLOTS = 1 << BITS
LETTERS = (2, 3, 4, 5)
WORDS = (1, 2, 3)
_LAST = SLOTS - 1
_DIGIT = re.compile(r"\d")
_PART = re.compile(rb"[a-z0-9]+(?:'[a-z]+)?|[?!\x01]")
_STRANGE = re.compile(r"[^\x00-\x7f]")
_WORD_MARK = b"~"  # keeps the word "fall" apart from the letters f, a, l, l


def folded(plain: Plain) -> bytes:
    """One byte a character: any number is noughts, any blank one blank, any emoji the same mark.

    A blank stands at either end, so that a word's beginning and end look the same everywhere.
    """
    text = _DIGIT.sub("0", f" {' '.join(plain.text.split())} ")
    return (text if text.isascii() else _STRANGE.sub("\x01", text)).encode()


def slots(text: bytes) -> set[int]:
    """The slots of every stretch in a folded text; linear in its length."""
    length = len(text)
    found = {
        crc32(text[start : start + size]) & _LAST
        for size in LETTERS
        for start in range(length - size + 1)
    }
    parts = _PART.findall(text)
    found.update(
        crc32(_WORD_MARK + b" ".join(parts[start : start + size])) & _LAST
        for size in WORDS
        for start in range(len(parts) - size + 1)
    )
    return found


def stretches(text: bytes) -> Iterator[tuple[int, int, int]]:
    """Every stretch of a folded text as (slot, start, end)."""
    for size in LETTERS:
        for start in range(len(text) - size + 1):
            yield crc32(text[start : start + size]) & _LAST, start, start + size
    parts = list(_PART.finditer(text))
    for size in WORDS:
        for first in range(len(parts) - size + 1):
            words = parts[first : first + size]
            slot = crc32(_WORD_MARK + b" ".join(word[0] for word in words)) & _LAST
            yield slot, words[0].start(), words[-1].end()


def places(plain: Plain) -> list[int]:
    """For each byte of the folded text, the place in the plain text that it came from."""
    found = [0]
    for word in re.finditer(r"\S+", plain.text):
        found.extend(range(word.start(), word.end()))
        found.append(word.end())
    return found
