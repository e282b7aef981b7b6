"""The small notation of the word lists: "[a] (fall|bad tumble) on {the} {floor}".

[x|y] may be left out, (x|y) is one of them, {name} is one of the list `name` in the language's
[class] table; they may stand inside one another. All else is plain text, cut into words exactly
as replies are.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from rungwise.reply.plain import plain
from rungwise.reply.tokens import tokenise

Words = tuple[str, ...]
Classes = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several sequences; an empty one stands for leaving it out."""

    ways: tuple["Sequence_", ...]


Sequence_ = tuple["str | Choice", ...]

_PIECE = re.compile(r"[\[\](){}|]|[^\[\](){}|]+")
_CLOSING = {"[": "]", "(": ")", "{": "}"}


@cache
def words_of(phrase: str) -> Words:
    return tuple(tokenise(plain(phrase).text).words)


class _Reader:
    """Reads one pattern from left to right."""

    def __init__(self, pattern: str, classes: Classes) -> None:
        self.pattern = pattern
        self.pieces = _PIECE.findall(pattern)
        self.classes = classes
        self.place = 0

    def wrong(self) -> ValueError:
        return ValueError(f"Brackets don't pair in the pattern {self.pattern!r}.")

    def sequence(self, until: str) -> Sequence_:
        """Items up to one of the characters in `until`, or the end if that is empty."""
        items: list[str | Choice] = []
        while self.place < len(self.pieces):
            piece = self.pieces[self.place]
            if piece in until:
                return tuple(items)
            self.place += 1
            if piece in "[(":
                items.append(self.choice(_CLOSING[piece], optional=piece == "["))
            elif piece == "{":
                items.append(self.named())
            elif piece in "])}|":
                raise self.wrong()
            else:
                items.extend(words_of(piece))
        if until:
            raise self.wrong()
        return tuple(items)

    def choice(self, closing: str, optional: bool) -> Choice:
        ways: list[Sequence_] = [()] if optional else []
        while True:
            ways.append(self.sequence("|" + closing))
            self.place += 1
            if self.pieces[self.place - 1] == closing:
                return Choice(tuple(ways))

    def named(self) -> Choice:
        if self.pieces[self.place + 1 : self.place + 2] != ["}"]:
            raise self.wrong()
        name = self.pieces[self.place]
        self.place += 2
        return Choice(tuple(read_pattern(phrase, self.classes) for phrase in self.classes[name]))


def read_pattern(pattern: str, classes: Classes) -> Sequence_:
    """A pattern's items in order. ValueError for unpaired brackets, KeyError for no such class."""
    return _Reader(pattern, classes).sequence("")


def vocabulary(sequence: Sequence_) -> Iterator[str]:
    """Every word in a pattern."""
    for item in sequence:
        if isinstance(item, str):
            yield item
        else:
            for way in item.ways:
                yield from vocabulary(way)


def phrases(sequence: Sequence_) -> Iterator[Words]:
    """Every phrase that a pattern stands for."""
    if not sequence:
        yield ()
        return
    first, rest = sequence[0], sequence[1:]
    starts: Iterator[Words]
    if isinstance(first, str):
        starts = iter(((first,),))
    else:
        starts = (words for way in first.ways for words in phrases(way))
    tails = list(phrases(rest))
    for start in starts:
        for tail in tails:
            yield start + tail
