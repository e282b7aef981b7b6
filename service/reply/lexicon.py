"""The word lists of a language, compiled once for matching.

A language is a folder of TOML files under service/reply/languages. Every list stands under
[table] as `key = [...]` and gives its phrases the tag "table.key"; in the tables named in
VALUE_TABLES the tag is the table's name and the key is the phrases' value. In a phrase, [x] may be
left out and (x|y) stands for either.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from service.reply.plain import plain
from service.reply.tokens import tokenise

FOLDER = Path(__file__).parent / "languages"
LANGUAGES = tuple(sorted(path.name for path in FOLDER.iterdir() if path.is_dir()))
VALUE_TABLES = frozenset({"body", "number", "side", "span"})
# Lists that are not phrases: ordinary words that a slip of the finger must never be read as ours,
# slips too far off to be found by likeness, and borrowed words that mean something else here.
SPELLING_TABLE = "spelling"
# Tables matched only where the text begins: answers, and words that must be the whole message.
ANSWER_TABLES = frozenset({"keyword", "yes", "no"})

_CHOICE = re.compile(r"\[([^\[\]()]*)\]|\(([^\[\]()]*)\)")


@dataclass(frozen=True, slots=True)
class Entry:
    """What a phrase means: its tags, and its value if it has one."""

    tags: frozenset[str]
    value: str | None = None

    def joined(self, other: "Entry") -> "Entry":
        value = self.value if self.value is not None else other.value
        return Entry(self.tags | other.tags, value)


@dataclass(slots=True)
class Node:
    """A place in the phrase tree: which words may follow, and what the phrase so far means."""

    following: dict[str, "Node"]
    entry: Entry | None = None


@dataclass(frozen=True, slots=True)
class Lexicon:
    """One language, with the others' phrases added where they cannot be mistaken."""

    language: str
    phrases: Node
    answers: Node
    targets: tuple[str, ...]  # words that a misspelt word may be read as
    known: frozenset[str]  # words never to be corrected
    slips: Mapping[str, tuple[str, ...]]


def expand(pattern: str) -> Iterator[str]:
    """Every phrase that a pattern stands for: "a [b] (c|d)" gives four."""
    found = _CHOICE.search(pattern)
    if found is None:
        yield " ".join(pattern.split())
        return
    optional, either = found[1], found[2]
    choices = ["", *optional.split("|")] if optional is not None else either.split("|")
    for choice in choices:
        yield from expand(pattern[: found.start()] + choice + pattern[found.end() :])


def words_of(phrase: str) -> tuple[str, ...]:
    return tuple(tokenise(plain(phrase).text).words)


@cache
def tables(language: str) -> Mapping[str, Mapping[str, Any]]:
    """Every table of a language's files, by name."""
    merged: dict[str, dict[str, Any]] = {}
    for path in sorted((FOLDER / language).glob("*.toml")):
        for name, table in tomllib.loads(path.read_text(encoding="utf-8")).items():
            merged.setdefault(name, {}).update(table)
    return merged


def phrases(language: str) -> Iterator[tuple[tuple[str, ...], Entry]]:
    """Every phrase of a language's lists as words, with what it means."""
    for name, table in tables(language).items():
        if name == SPELLING_TABLE:
            continue
        for key, patterns in table.items():
            has_value = name in VALUE_TABLES
            entry = Entry(
                frozenset({name if has_value else f"{name}.{key}"}), key if has_value else None
            )
            for pattern in patterns:
                for phrase in expand(pattern):
                    yield words_of(phrase), entry


def _add(root: Node, words: tuple[str, ...], entry: Entry) -> None:
    node = root
    for word in words:
        node = node.following.setdefault(word, Node({}))
    node.entry = entry if node.entry is None else node.entry.joined(entry)


def _is_answer(entry: Entry) -> bool:
    return any(tag.partition(".")[0] in ANSWER_TABLES for tag in entry.tags)


def _slips(language: str) -> dict[str, tuple[str, ...]]:
    listed: Mapping[str, list[str]] = tables(language).get(SPELLING_TABLE, {}).get("slips", {})
    return {
        word: words_of(meant)
        for meant, written in listed.items()
        for pattern in written
        for word in words_of(pattern)
    }


def _listed(language: str, key: str) -> frozenset[str]:
    patterns = tables(language).get(SPELLING_TABLE, {}).get(key, [])
    return frozenset(word for pattern in patterns for word in words_of(pattern))


@cache
def lexicon(language: str) -> Lexicon:
    """The compiled lists of `language`; an unknown language is read as English."""
    if language not in LANGUAGES:
        return lexicon("en")
    root, answers = Node({}), Node({})
    own_words: set[str] = set()
    for words, entry in phrases(language):
        _add(answers if _is_answer(entry) else root, words, entry)
        own_words.update(words)
    ordinary = _listed(language, "ordinary")
    borrowed_words: set[str] = set()
    for other in LANGUAGES:
        if other == language:
            continue
        for words, entry in phrases(other):
            # A single word that also means something here keeps its own meaning.
            if len(words) == 1 and (words[0] in own_words or words[0] in ordinary):
                continue
            if words[0] in own_words and all(word in own_words for word in words):
                continue
            _add(answers if _is_answer(entry) else root, words, entry)
            borrowed_words.update(words)
        borrowed_words |= _listed(other, "ordinary")
    slips = _slips(language)
    known = frozenset(own_words | ordinary | borrowed_words)
    weak = _listed(language, "never_meant")
    targets = tuple(sorted(w for w in own_words - weak if len(w) >= 4 and w.isalpha()))
    return Lexicon(language, root, answers, targets, known, slips)
