"""A text cut into units: the phrases of the word lists, and the tokens between them."""

from collections.abc import Mapping
from dataclasses import dataclass

from rungwise.reply.dictation import undictated
from rungwise.reply.lexicon import Lexicon
from rungwise.reply.machine import Entry, Machine, Place
from rungwise.reply.plain import Plain, plain
from rungwise.reply.reading import Span
from rungwise.reply.spelling import corrected
from rungwise.reply.tokens import Tokens, tokenise

STOP = frozenset({"stop"})
COMMA = frozenset({"comma"})
MARK = frozenset({"mark"})
DIGITS = frozenset({"digits"})
UNKNOWN = frozenset({"unknown"})
_PUNCTUATION = dict.fromkeys(".!;\n", STOP) | {"?": frozenset({"stop", "asks"}), ",": COMMA}
# Corrections cost time: a reply is short, and what comes after this many tokens is no reply.
MOST_CORRECTED = 300
_UNMET = Place((), None)
_NO_VALUES: Mapping[str, str] = {}


@dataclass(frozen=True, slots=True)
class Unit:
    """`words[start:end]` of the tokens, read as one thing."""

    tags: frozenset[str]
    values: Mapping[str, str]
    start: int
    end: int
    word: str


@dataclass(frozen=True, slots=True)
class Parse:
    """A reply ready to be read.

    `seen` is every tag in it; `typos` counts corrected words; `unclear` are tokens that are numbers
    and may have been others ("2 0", "ate seconds").
    """

    plain: Plain
    tokens: Tokens
    units: list[Unit]
    lexicon: Lexicon
    seen: frozenset[str]
    typos: int
    unclear: frozenset[int] = frozenset()

    def span(self, first: int, last: int) -> Span:
        """The original text behind units first..last, both included."""
        tokens = self.tokens
        start = self.units[first].start
        end = self.units[last].end
        return self.plain.span(tokens.starts[start], tokens.ends[end - 1])

    def places(self, tag: str) -> list[int]:
        """The units with a tag, in order."""
        if tag not in self.seen:
            return []
        return [index for index, unit in enumerate(self.units) if tag in unit.tags]

    def capital(self, index: int) -> bool:
        """Whether unit `index` begins with a capital and goes on in small letters: a name."""
        if not 0 <= index < len(self.units):
            return False
        start = self.tokens.starts[self.units[index].start]
        where = start if self.plain.where is None else self.plain.where[start]
        return self.plain.original[where : where + 1].isupper() and (
            self.plain.original[where + 1 : where + 2].islower()
        )

    def glued(self, index: int) -> bool:
        """Whether unit `index` touches the one before it, with no blank between."""
        if index <= 0 or index >= len(self.units):
            return False
        start = self.units[index].start
        return self.tokens.ends[start - 1] == self.tokens.starts[start]


def _spelt(tokens: Tokens, lexicon: Lexicon) -> tuple[Tokens, int]:
    """The tokens with likely misspellings put right; one token may become several."""
    known, language = lexicon.known, lexicon.language
    changes: list[tuple[int, tuple[str, ...]]] = []
    for index, word in enumerate(tokens.words[:MOST_CORRECTED]):
        if word not in known and len(word) > 1 and word[0].isalpha():
            better = corrected(word, language)
            if better is not None:
                changes.append((index, better))
    if not changes:
        return tokens, 0
    words, starts, ends = list(tokens.words), list(tokens.starts), list(tokens.ends)
    for index, better in reversed(changes):
        words[index : index + 1] = better
        starts[index : index + 1] = [starts[index]] * len(better)
        ends[index : index + 1] = [ends[index]] * len(better)
    return Tokens(words, starts, ends), sum(bool(better) for _, better in changes)


def _unmatched(word: str) -> frozenset[str]:
    """What a token is that no phrase begins with."""
    mark = _PUNCTUATION.get(word)
    if mark is not None:
        return mark
    if word[-1].isdigit():
        return DIGITS
    return UNKNOWN if word[0].isalpha() else MARK


def parse(text: str, lexicon: Lexicon) -> Parse:
    """The reply cut into the longest phrases that fit together; linear in its length."""
    source = plain(text)
    tokens, typos = _spelt(tokenise(source.text), lexicon)
    tokens, unclear = undictated(tokens, lexicon)
    units = _units(tokens.words, lexicon.phrases)
    seen = frozenset[str]().union(*{unit.tags for unit in units})
    return Parse(source, tokens, units, lexicon, seen, typos, unclear)


def _units(words: list[str], machine: Machine) -> list[Unit]:
    """From all phrases found, those whose lengths, each squared, add up to most."""
    count = len(words)
    worth = [0] * (count + 1)
    chosen: list[tuple[int, Entry | None]] = [(0, None)] * count
    for index in range(count - 1, -1, -1):
        best = worth[index + 1]
        choice: tuple[int, Entry | None] = (index + 1, None)
        for end, entry in _phrases_at(words, index, machine):
            value = entry.worth(end - index) + worth[end]
            if value >= best:
                best, choice = value, (end, entry)
        worth[index], chosen[index] = best, choice
    units: list[Unit] = []
    index = 0
    while index < count:
        end, meant = chosen[index]
        word = words[index]
        if meant is None:
            units.append(Unit(_unmatched(word), _NO_VALUES, index, end, word))
        else:
            units.append(Unit(meant.tags, meant.values, index, end, word))
        index = end
    return units


def _phrases_at(words: list[str], index: int, machine: Machine) -> list[tuple[int, Entry]]:
    """Every phrase that begins at a token: where it ends and what it means."""
    found: list[tuple[int, Entry]] = []
    step, count = machine.step, len(words)
    place: Place | None = machine.start
    while index < count and place is not None:
        word = words[index]
        after = place.following.get(word, _UNMET)
        place = step(place, word) if after is _UNMET else after
        index += 1
        if place is not None and place.entry is not None:
            found.append((index, place.entry))
    return found


def sentence(parse: Parse, index: int) -> range:
    """The units of the sentence around `index`, at most 30 either way."""
    units = parse.units
    first = index
    while first > 0 and index - first < 30 and "stop" not in units[first - 1].tags:
        first -= 1
    last = index
    while last + 1 < len(units) and last - index < 30 and "stop" not in units[last + 1].tags:
        last += 1
    return range(first, last + 1)


def clause(parse: Parse, index: int) -> range:
    """The units around `index` between stops and commas, at most 30 either way."""
    around = sentence(parse, index)
    first = index
    while first > around.start and "comma" not in parse.units[first - 1].tags:
        first -= 1
    last = index
    while last + 1 < around.stop and "comma" not in parse.units[last + 1].tags:
        last += 1
    return range(first, last + 1)
