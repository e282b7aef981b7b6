"""A text cut into units: the phrases of the word lists, and the tokens between them."""

from dataclasses import dataclass

from service.reply.lexicon import Lexicon
from service.reply.plain import Plain, plain
from service.reply.reading import Span
from service.reply.spelling import corrected
from service.reply.tokens import Tokens, tokenise

_NONE: frozenset[str] = frozenset()
_STOP = frozenset({"stop"})
_COMMA = frozenset({"comma"})
_MARK = frozenset({"mark"})
_DIGITS = frozenset({"digits"})
_UNKNOWN = frozenset({"unknown"})
_PUNCTUATION = {
    ".": _STOP,
    "!": _STOP,
    "?": frozenset({"stop", "asks"}),
    ";": _STOP,
    "\n": _STOP,
    ",": _COMMA,
}
# Corrections cost time: a reply is short, and what comes after this many tokens is no reply.
MOST_CORRECTED = 300


@dataclass(frozen=True, slots=True)
class Unit:
    """`words[start:end]` of the tokens, read as one thing."""

    tags: frozenset[str]
    value: str | None
    start: int
    end: int
    word: str


@dataclass(frozen=True, slots=True)
class Parse:
    """A reply ready to be read. `typos` counts words read as a likely other word."""

    plain: Plain
    tokens: Tokens
    units: list[Unit]
    typos: int
    unknown: int

    def span(self, first: int, last: int) -> Span:
        """The original text behind units first..last, both included."""
        tokens = self.tokens
        start = self.units[first].start
        end = self.units[last].end
        return self.plain.span(tokens.starts[start], tokens.ends[end - 1])


def _spelt(tokens: Tokens, lexicon: Lexicon) -> tuple[Tokens, int]:
    """The tokens with likely misspellings put right; one token may become several."""
    known, language = lexicon.known, lexicon.language
    changes: list[tuple[int, tuple[str, ...]]] = []
    for index, word in enumerate(tokens.words[:MOST_CORRECTED]):
        if len(word) > 1 and word not in known and word[0].isalpha():
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
    return Tokens(words, starts, ends), len(changes)


def _unmatched(word: str) -> frozenset[str]:
    mark = _PUNCTUATION.get(word)
    if mark is not None:
        return mark
    if word[-1].isdigit():
        return _DIGITS
    return _UNKNOWN if word[0].isalpha() else _MARK


def parse(text: str, lexicon: Lexicon) -> Parse:
    """Longest phrase first, from the left; linear in the text's length."""
    source = plain(text)
    tokens, typos = _spelt(tokenise(source.text), lexicon)
    words = tokens.words
    root = lexicon.phrases.following
    units: list[Unit] = []
    unknown = 0
    index, count = 0, len(words)
    while index < count:
        word = words[index]
        node = root.get(word)
        end, entry = index, None
        place = index
        while node is not None:
            place += 1
            if node.entry is not None:
                end, entry = place, node.entry
            node = node.following.get(words[place]) if place < count else None
        if entry is None:
            tags = _unmatched(word)
            unknown += tags is _UNKNOWN
            units.append(Unit(tags, None, index, index + 1, word))
            index += 1
        else:
            units.append(Unit(entry.tags, entry.value, index, end, word))
            index = end
    return Parse(source, tokens, units, typos, unknown)
