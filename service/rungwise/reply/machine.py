"""One matcher for every phrase of a language, however many its patterns stand for.

Each word of a pattern is one state of an automaton, whatever the product of its choices. While
matching, sets of states are worked out as they are first met and kept, so that a word costs one
dictionary look-up.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rungwise.reply.patterns import Choice, Sequence_

# When this many sets have been met, they are forgotten: a bound on memory, not on meaning.
MOST_KEPT = 20_000


@dataclass(frozen=True, slots=True)
class Entry:
    """What a phrase means: its tags, what it stands for by table, and what a match is worth.

    `weak` phrases only set the scene; they never outbid the words of a report.
    """

    tags: frozenset[str]
    values: Mapping[str, str]
    weak: bool = False

    def joined(self, other: "Entry") -> "Entry":
        return Entry(
            self.tags | other.tags, {**other.values, **self.values}, self.weak and other.weak
        )

    def worth(self, length: int) -> int:
        return length if self.weak else length * length


class Place:
    """How far into which phrases a text has come; `entry` if one of them ends here."""

    __slots__ = ("entry", "following", "states")

    def __init__(self, states: tuple[int, ...], entry: Entry | None) -> None:
        self.states = states
        self.entry = entry
        self.following: dict[str, Place | None] = {}


class Machine:
    """Built with `add`, then only matched with: `start` and `step`."""

    def __init__(self) -> None:
        self._edges: list[dict[str, tuple[int, ...]]] = [{}]
        self._entries: dict[int, Entry] = {}
        self.words: set[str] = set()
        self.start = Place((0,), None)
        self._places: dict[tuple[int, ...], Place] = {}

    def add(self, sequence: Sequence_, entry: Entry) -> None:
        """Every phrase of a pattern, meaning `entry`; what it also means already is kept."""
        for state in self._walk({0}, sequence, None):
            if state:
                known = self._entries.get(state)
                self._entries[state] = entry if known is None else known.joined(entry)

    def step(self, place: Place, word: str) -> Place | None:
        """The place after one more word, or None when no phrase goes on so."""
        if word not in self.words:
            return None
        if word in place.following:
            return place.following[word]
        states: set[int] = set()
        for state in place.states:
            states.update(self._edges[state].get(word, ()))
        after = self._place(tuple(sorted(states))) if states else None
        place.following[word] = after
        return after

    def _place(self, states: tuple[int, ...]) -> Place:
        known = self._places.get(states)
        if known is not None:
            return known
        if len(self._places) >= MOST_KEPT:
            self._places.clear()
            self.start.following.clear()
        entry: Entry | None = None
        for state in states:
            more = self._entries.get(state)
            if more is not None:
                entry = more if entry is None else entry.joined(more)
        place = self._places[states] = Place(states, entry)
        return place

    def _state(self) -> int:
        self._edges.append({})
        return len(self._edges) - 1

    def _link(self, states: Iterable[int], word: str, target: int) -> None:
        self.words.add(word)
        for state in states:
            edges = self._edges[state]
            known = edges.get(word, ())
            if target not in known:
                edges[word] = (*known, target)

    def _walk(self, states: set[int], sequence: Sequence_, target: int | None) -> set[int]:
        """The states after `sequence`; its last item leads to `target`, a new state if None."""
        for index, item in enumerate(sequence):
            last = index == len(sequence) - 1
            end = target if last and target is not None else self._state()
            if isinstance(item, Choice):
                reached: set[int] = set()
                for way in item.ways:
                    reached |= self._walk(states, way, end) if way else states
                states = reached
            else:
                self._link(states, item, end)
                states = {end}
        return states
