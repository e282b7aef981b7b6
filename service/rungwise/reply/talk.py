"""What a text says beside the hold and harm: news, wishes, questions, answers in plain words.

Found apart from the phrases of a report, and every phrase counts, also where two overlap: that
somebody asks for a call never hides that they fell.
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

from rungwise.reply import scope
from rungwise.reply.events import Event
from rungwise.reply.machine import Machine, Place
from rungwise.reply.reading import Span
from rungwise.reply.units import Parse

_ENDS = frozenset(".!?;\n")
# What comes after this many words is no reply; it bounds the pairs looked at.
MOST_WORDS = 400
MOST_PAIRED = 12
_UNMET = Place((), None)

Where = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Talk:
    """Each tag's places as (first, last) token, both included, in order."""

    parse: Parse
    places: Mapping[str, list[Where]]
    tables: frozenset[str] = frozenset()  # the lists' tables that any place is from

    def __contains__(self, tag: str) -> bool:
        return tag in self.places

    def any(self, *tags: str) -> bool:
        return any(tag in self.places for tag in tags)

    def span(self, where: Where) -> Span:
        tokens = self.parse.tokens
        return self.parse.plain.span(tokens.starts[where[0]], tokens.ends[where[1]])

    def event(self, where: Where) -> Event:
        """The units around a place, to ask what the words around them do to it."""
        units = self.parse.units
        starts = [unit.start for unit in units]
        first, last = (bisect_right(starts, token) - 1 for token in where)
        return Event("talk", "noun", first, last)

    def told(self, tag: str) -> Where | None:
        """The first place of a tag that is neither denied nor somebody else's, if any."""
        for where in self.places.get(tag, ()):
            if not self.denied(where) and not self.others(where):
                return where
        return None

    def denied(self, where: Where) -> bool:
        return scope.denied(self.parse, self.event(where)) is not None

    def others(self, where: Where) -> bool:
        return scope.others(self.parse, self.event(where), things=False) is not None


def talk(parse: Parse, answering: bool = True) -> Talk:
    """Everything of the talk lists in a text, answers only with `answering`; linear in length."""
    words = parse.tokens.words[:MOST_WORDS]
    places: dict[str, list[Where]] = {}
    _find(parse.lexicon.talk, words, places)
    if answering:
        _find(parse.lexicon.replies, words, places)
    if places:
        _pair(parse, words, places)
        _excuse(places)
    return Talk(parse, places, frozenset([tag.partition(".")[0] for tag in places]))


def everywhere(parse: Parse) -> Talk:
    """Every place of the talk lists in a text of any length, each by itself."""
    places: dict[str, list[Where]] = {}
    _find(parse.lexicon.talk, parse.tokens.words, places)
    return Talk(parse, places)


def _find(machine: Machine, words: list[str], places: dict[str, list[Where]]) -> None:
    start, step, count = machine.start, machine.step, len(words)
    known = machine.words
    for index, opening in enumerate(words):
        if opening not in known:
            continue
        place: Place | None = start
        at = index
        while at < count and place is not None:
            word = words[at]
            after = place.following.get(word, _UNMET)
            place = step(place, word) if after is _UNMET else after
            if place is not None and place.entry is not None:
                for tag in place.entry.tags:
                    places.setdefault(tag, []).append((index, at))
            at += 1


def _pair(parse: Parse, words: list[str], places: dict[str, list[Where]]) -> None:
    found: dict[str, list[Where]] = {}
    for rule in parse.lexicon.pairs:
        ones = places.get(rule.one, ())[:MOST_PAIRED]
        others = places.get(rule.other, ())[:MOST_PAIRED]
        if not ones or not others:
            continue
        for one in ones:
            for other in others:
                first, second = (one, other) if one <= other else (other, one)
                gap = second[0] - first[1] - 1
                if gap > rule.within:
                    continue
                if gap > 0 and not _ENDS.isdisjoint(words[first[1] + 1 : second[0]]):
                    continue
                found.setdefault(rule.means, []).append((first[0], max(first[1], second[1])))
    for means, where in found.items():
        places[means] = sorted({*places.get(means, ()), *where})


def _excuse(places: dict[str, list[Where]]) -> None:
    """Takes out what stands inside a figure of speech: "dying for a cup of tea"."""
    for figure in [tag for tag in places if tag.startswith("figure.")]:
        name = figure.removeprefix("figure.")
        named = (name, "perhaps_" + name, name + "_alone")
        for tag in [tag for tag in places if tag.partition(".")[2] in named and tag != figure]:
            left = [
                (first, last)
                for first, last in places[tag]
                if not any(f <= last and first <= end for f, end in places[figure])
            ]
            if left:
                places[tag] = left
            else:
                del places[tag]
