"""Which known word a misspelt one most likely is, without ever guessing wildly."""

import re
from functools import lru_cache

from rapidfuzz import process
from rapidfuzz.distance import OSA

from rungwise.reply.lexicon import Lexicon, lexicon

# Letters next to each other on a phone's keyboard, for a slip on the first letter.
_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
_LONG_RUN = re.compile(r"(.)\1{2,}")
_LONGEST = 24
_STEM = 4


def _near_keys() -> dict[str, str]:
    near: dict[str, str] = {}
    for row_index, row in enumerate(_ROWS):
        for place, letter in enumerate(row):
            beside = row[max(0, place - 1) : place + 2]
            for other in _ROWS[max(0, row_index - 1) : row_index + 2]:
                beside += other[max(0, place - 1) : place + 2]
            near[letter] = beside
    return near


_NEAR = _near_keys()


def _allowed(written: str, meant: str, edits: int) -> bool:
    """A first letter is seldom wrong: only a swap with the second, or a key next to it."""
    if written[0] == meant[0]:
        return True
    if written[:2] == meant[1::-1]:
        return True
    return edits == 1 and len(written) >= 5 and written[0] in _NEAR.get(meant[0], "")


@lru_cache(maxsize=8192)
def corrected(word: str, language: str) -> tuple[str, ...] | None:
    """The word or words meant by an unknown `word`, or None when it is best left alone.

    One edit for up to six letters, two from seven on (optimal string alignment: a swap of two
    neighbours counts once); two different words equally near are no answer.
    """
    words = lexicon(language)
    if word in words.slips:
        return words.slips[word]
    if _LONG_RUN.search(word):
        for kept in (r"\1\1", r"\1"):
            shorter = _LONG_RUN.sub(kept, word)
            if shorter in words.known or shorter in words.slips:
                return words.slips.get(shorter, (shorter,))
        word = _LONG_RUN.sub(r"\1", word)
    if not 4 <= len(word) <= _LONGEST or not word.isalpha():
        return None
    most = 1 if len(word) <= 6 else 2
    found = process.extract(word, words.targets, scorer=OSA.distance, score_cutoff=most, limit=8)
    likely = [
        (edits, meant)
        for meant, edits, _ in found
        if _allowed(word, meant, int(edits))
        and abs(len(meant) - len(word)) <= most
        and (len(meant) > 6 or edits <= 1)
    ]
    if not likely:
        return _parted(word, words)
    least = min(edits for edits, _ in likely)
    best = [meant for edits, meant in likely if edits == least]
    return (best[0],) if len(best) == 1 else _same_start(word, best)


def _parted(word: str, words: Lexicon) -> tuple[str, ...] | None:
    """Two words run together, one of them a target: "fellover", "ifell", "secwobbly"."""
    targets = frozenset(words.targets)
    for cut in range(1, len(word) - 1):
        one, two = word[:cut], word[cut:]
        if one in targets and (two in words.joined or two in targets):
            return one, two
        if (one in words.selves or one in words.spoken.counted) and two in targets:
            return one, two
    return None


def _same_start(word: str, best: list[str]) -> tuple[str, ...] | None:
    """Of equally near words, the only one that begins as written, if there is one."""
    alike = [meant for meant in best if meant[:2] == word[:2] and meant[-1] == word[-1]]
    if len(alike) == 1:
        return (alike[0],)
    stem = best[0][:_STEM]
    return (best[0],) if all(meant.startswith(stem) for meant in best) else None
