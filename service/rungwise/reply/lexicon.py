"""The word lists of a language, compiled once for matching.

A language is a folder of TOML files under languages/ here. A list `key = [...]` under [table]
gives its phrases the tag "table.key"; in the tables named in VALUE_TABLES the tag is the table's
name and the key is what the phrase stands for. The notation is that of patterns.py.
"""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from rungwise.reply.machine import Entry, Machine
from rungwise.reply.patterns import Words, read_pattern, vocabulary, words_of

FOLDER = Path(__file__).parent / "languages"
LANGUAGES = tuple(sorted(path.name for path in FOLDER.iterdir() if any(path.glob("*.toml"))))
VALUE_TABLES = frozenset({"body", "number", "side", "span"})
# Matched only where a text begins: answers, and words that must be the whole message.
ANSWER_TABLES = frozenset({"keyword", "yes", "no", "whole"})
# Phrases that only set the scene and never outbid the words of a report.
WEAK_TABLES = frozenset({"topic", "exercise", "accept"})
# Not phrases: named lists for patterns, spelling, and pairs of tags that mean something together.
OTHER_TABLES = frozenset(
    {"class", "spelling", "slips", "together", "subject", "pairs", "dictated", "sounds"}
)
# What a text says beside the hold and harm; found apart, so that it never hides a report's words.
TALK_TABLES = frozenset(
    {"news", "figure", "wish", "fixed", "unsafe", "held", "reply", "dated", "talk", "auto"}
)


# Words for a second that also count which of several: "second try".
ORDINALS = frozenset({"second", "segundo", "count"})


@dataclass(frozen=True, slots=True)
class Together:
    """Two tags that make one meaning when `then` follows `first` within so many units.

    With `plain`, only words that carry no meaning of their own may stand between.
    """

    means: str
    first: str
    then: str
    within: int
    plain: bool


@dataclass(frozen=True, slots=True)
class Pair:
    """Two things said that mean something together, in either order, so many words apart."""

    means: str
    one: str
    other: str
    within: int


@dataclass(frozen=True, slots=True)
class Spoken:
    """What dictation writes: marks spoken out, words that sound like others, and their company."""

    marks: tuple[tuple[Words, str], ...]  # longest first
    sounds: tuple[tuple[Words, str], ...]
    opens: frozenset[str]  # every word that one of these begins with
    numbers: frozenset[str]
    counted: frozenset[str]  # words for seconds that are no ordinals
    sides: frozenset[str]  # sides of one letter


@dataclass(frozen=True, slots=True)
class Lexicon:
    """One language, with the others' phrases added where they cannot be mistaken."""

    language: str
    phrases: Machine
    answers: Machine
    talk: Machine
    replies: Machine
    pairs: tuple[Pair, ...]
    together: Mapping[str, tuple[Together, ...]]  # by first tag
    targets: tuple[str, ...]  # words that a misspelt word may be read as
    known: frozenset[str]  # words never to be corrected
    joined: frozenset[str]  # words often run together with a target
    slips: Mapping[str, Words]
    opens: frozenset[str]  # words that open a new statement before a part of the body
    task: frozenset[str]  # what a question about how to stand speaks of
    selves: frozenset[str]  # words for the client
    owners: frozenset[str]  # of those, "my" and its kin
    theirs: frozenset[str]  # words for someone else
    spoken: Spoken


@cache
def tables(language: str) -> Mapping[str, Mapping[str, Any]]:
    """Every table of a language's files, by name."""
    merged: dict[str, dict[str, Any]] = {}
    for path in sorted((FOLDER / language).glob("*.toml")):
        for name, table in tomllib.loads(path.read_text(encoding="utf-8")).items():
            for key, content in table.items():
                if key in merged.setdefault(name, {}):
                    raise ValueError(f"{path.name} gives {name}.{key}, which another file has.")
                merged[name][key] = content
    return merged


def lists(language: str) -> Iterator[tuple[str, Entry, list[str]]]:
    """Every list of phrases: its table, what its phrases mean, and its patterns."""
    for name, table in tables(language).items():
        if name in OTHER_TABLES:
            continue
        for key, patterns in table.items():
            if name in VALUE_TABLES:
                yield name, Entry(frozenset({name}), {name: key}), patterns
            else:
                tags = frozenset({f"{name}.{key}"})
                yield name, Entry(tags, {}, name in WEAK_TABLES), patterns


def _which(table: str) -> tuple[int, ...]:
    """Which of (phrases, answers, talk, replies) a table's phrases go into."""
    if table == "figure":
        return (2, 3)
    if table in TALK_TABLES:
        return (3,) if table == "reply" else (2,)
    return (int(table in ANSWER_TABLES),)


def _fill(language: str, machines: tuple[Machine, ...], taken: frozenset[str]) -> set[str]:
    """Adds a language's phrases to (phrases, answers, talk, replies); gives back the words used.

    A phrase all of whose words are `taken` by the language read belongs to that one, and is left
    out.
    """
    words: set[str] = set()
    classes = tables(language).get("class", {})
    for name, entry, patterns in lists(language):
        into = [machines[index] for index in _which(name)]
        for pattern in patterns:
            sequence = read_pattern(pattern, classes)
            used = set(vocabulary(sequence))
            if taken and used <= taken:
                continue
            words |= used
            for machine in into:
                machine.add(sequence, entry)
    return words


def listed(language: str, table: str, key: str) -> frozenset[str]:
    """The words of a list that holds no phrases."""
    patterns = tables(language).get(table, {}).get(key, [])
    return frozenset(word for pattern in patterns for word in words_of(pattern))


def single(language: str, table: str, key: str) -> frozenset[str]:
    """The phrases of a list that are one word."""
    phrases = (words_of(p) for p in tables(language).get(table, {}).get(key, []))
    return frozenset(words[0] for words in phrases if len(words) == 1)


def _slips(language: str) -> dict[str, Words]:
    table: Mapping[str, list[str]] = tables(language).get("slips", {})
    return {
        word: words_of(meant)
        for meant, written in table.items()
        for line in written
        for word in words_of(line)
    }


def _together(language: str) -> dict[str, tuple[Together, ...]]:
    found: dict[str, tuple[Together, ...]] = {}
    for means, pairs in tables(language).get("together", {}).items():
        for pair in pairs:
            rule = Together(
                means.replace("_", ".", 1),
                pair["first"],
                pair["then"],
                pair.get("within", 4),
                pair.get("plain", False),
            )
            found[rule.first] = (*found.get(rule.first, ()), rule)
    return found


def _pairs(language: str) -> Iterator[Pair]:
    for means, pairs in tables(language).get("pairs", {}).items():
        for pair in pairs:
            yield Pair(means.replace("_", ".", 1), pair["one"], pair["other"], pair["within"])


def _heard(language: str, table: str) -> tuple[tuple[Words, str], ...]:
    told = tables(language).get(table, {})
    pairs = [(words_of(line), meant) for meant, lines in told.items() for line in lines]
    return tuple(sorted(pairs, key=lambda pair: (-len(pair[0]), pair)))


# Written as letters for digits before seconds: "ll secs", "lo seg".
_LETTERS = ("lo", "ll", "il", "io", "li", "ii", "q", "i")


def _spoken(language: str) -> Spoken:
    marks, sounds = _heard(language, "dictated"), _heard(language, "sounds")
    numbers = {
        word for key in tables(language)["number"] for word in single(language, "number", key)
    }
    seconds = single(language, "unit", "seconds")
    return Spoken(
        marks=marks,
        sounds=sounds,
        opens=frozenset({phrase[0] for phrase, _ in (*marks, *sounds)} | set(_LETTERS)),
        numbers=frozenset(numbers),
        counted=frozenset(
            word for word in seconds if len(word) > 2 and word[0] == "s" and word not in ORDINALS
        ),
        sides=frozenset(
            word
            for side in ("left", "right")
            for word in single(language, "side", side)
            if len(word) == 1
        ),
    )


@cache
def lexicon(language: str) -> Lexicon:
    """The compiled lists of `language`; an unknown language is read as English."""
    if language not in LANGUAGES:
        return lexicon("en")
    machines = (Machine(), Machine(), Machine(), Machine())
    own = _fill(language, machines, frozenset())
    ordinary = listed(language, "spelling", "ordinary")
    borrowed: set[str] = set()
    taken = frozenset(own | ordinary)
    together = _together(language)
    pairs = dict.fromkeys(_pairs(language))
    for other in LANGUAGES:
        if other != language:
            borrowed |= _fill(other, machines, taken) | listed(other, "spelling", "ordinary")
            pairs.update(dict.fromkeys(_pairs(other)))
            for tag, rules in _together(other).items():
                together[tag] = tuple(dict.fromkeys((*together.get(tag, ()), *rules)))
    return Lexicon(
        language=language,
        phrases=machines[0],
        answers=machines[1],
        talk=machines[2],
        replies=machines[3],
        pairs=tuple(pairs),
        together=together,
        targets=tuple(sorted(listed(language, "spelling", "meant"))),
        known=frozenset(own | ordinary | borrowed),
        joined=listed(language, "spelling", "joined"),
        slips=_slips(language),
        opens=listed(language, "subject", "opens"),
        task=listed(language, "subject", "task"),
        selves=single(language, "self", "i") | single(language, "self", "my"),
        owners=single(language, "self", "my"),
        theirs=single(language, "other", "pronoun"),
        spoken=_spoken(language),
    )
