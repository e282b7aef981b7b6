"""What is read of a text that is longer than anybody types: its ends, and what sounds of harm.

Reading costs more than its length, and while a text is read nobody else's can be stored. The rest
is blanked out, so that what is read keeps its place.
"""

from collections.abc import Iterator

from rungwise.reply.events import is_event
from rungwise.reply.lexicon import Lexicon
from rungwise.reply.talk import everywhere
from rungwise.reply.units import parse

# 26 segments of 153 letters; a text may have 255 (3GPP TS 23.040). Common practice, no source.
LONGEST_READ = 4000
# Together no more words than `talk` looks at.
_EACH_END = 600
_MOST_OF_HARM = 600
_AROUND = 200
_ENDS = ".!?\n"


def is_long(text: str) -> bool:
    return len(text) > LONGEST_READ


def worth_reading(text: str, words: Lexicon) -> str:
    """The text as it came, or as long with all blanked that is not read."""
    if not is_long(text):
        return text
    kept = [(0, _EACH_END)]
    room = _MOST_OF_HARM
    for first, last in _of_harm(text, words):
        start, end = max(first, kept[-1][1]), min(last, len(text) - _EACH_END)
        if start >= end:
            continue
        kept.append((start, min(end, start + room)))
        room -= end - start
        if room <= 0:
            break
    kept.append((len(text) - _EACH_END, len(text)))
    return _only(text, kept)


def _of_harm(text: str, words: Lexicon) -> Iterator[tuple[int, int]]:
    """The sentences that mention harm or bad news, in order."""
    parsed = parse(text, words)
    places = {parsed.span(at, at).start for at, unit in enumerate(parsed.units) if is_event(unit)}
    said = everywhere(parsed)
    for tag, where in said.places.items():
        if tag.startswith("news."):
            places |= {said.span(one).start for one in where}
    for place in sorted(places):
        yield _sentence(text, place)


def _sentence(text: str, place: int) -> tuple[int, int]:
    """The sentence at a place, at most so many letters to either side."""
    low, high = max(0, place - _AROUND), min(len(text), place + _AROUND)
    start = max(text.rfind(mark, low, place) for mark in _ENDS) + 1
    ends = [at for at in (text.find(mark, place, high) for mark in _ENDS) if at >= 0]
    return start or low, min(ends, default=high - 1) + 1


def _only(text: str, kept: list[tuple[int, int]]) -> str:
    pieces, at = [], 0
    for start, end in kept:
        if start > at:
            # A full stop: what stands on either side of a gap never belonged together.
            pieces.append("." + " " * (start - at - 1))
        pieces.append(text[max(start, at) : end])
        at = max(at, end)
    return "".join(pieces)
