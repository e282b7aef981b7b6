"""Where the lists read no sign: whether statistics suspect one, and which words made them."""

from dataclasses import replace

import numpy as np

from rungwise.reply import kinds
from rungwise.reply.reading import Asked, Reading, Span
from rungwise.reply.second.ngrams import folded, places, stretches
from rungwise.reply.second.weights import FAMILIES, Weights, load
from rungwise.reply.units import Parse

# While one of these is open, the lists call any unclear answer a doubt, and a person is on it.
ABOUT_SAFETY = kinds.ABOUT_SAFETY | {"pain_score", "fall_weekly"}
# A text of nothing but these is a plain result.
_PLAIN = frozenset(
    {
        *("digits", "number", "span", "unit.seconds", "unit.minutes", "unit.half", "unit.point"),
        *("steady.firm", "steady.praise", "steady.denied"),
        *("wobbly.word", "wobbly.poor", "wobbly.touch", "wobbly.balance"),
        *("side", "stop", "comma", "mark", "polite.word", "self.i", "scope.through", "scope.but"),
        *("done.phrase", "done.full", "same.phrase", "set.twice", "set.thrice", "old.recent"),
        *("join.and", "join.out_of", "join.range", "join.times"),
        *("count.hold_words", "count.about"),
    }
)
_DOUBTED = ("fall", "pain", "dizzy")
# The lists know what the alarming words are: a figure of speech, or the sign denied.
_EXPLAINED = {
    "fall": frozenset({"idiom.fall"}),
    "pain": frozenset({"idiom.pain", "pain.none"}),
    "dizzy": frozenset({"idiom.dizzy"}),
}
_MOST_WORDS = 3
_LONGEST_WORD = 24  # one word that no list knows is mostly a slip of the hand
DOUBTFUL = 0.6  # what a doubt leaves of a reading's confidence


def doubted(
    reading: Reading, parse: Parse, asked: Asked, weights: Weights | None = None
) -> Reading:
    """The reading, doubtful of the likeliest sign where one is suspected and none was read.

    `weights` are the package's own unless given. An emergency is doubted beside the sign, because
    a text may be of both.
    """
    if not _silent(reading) or asked in ABOUT_SAFETY or reading.kind in ("help", "opt_in"):
        return reading
    if plain_result(parse) or _heard_otherwise(reading) or _one_word(parse):
        return reading
    weights = weights or load()
    text = folded(parse.plain)
    chances = dict(zip(FAMILIES, weights.chances(text).tolist(), strict=True))
    if chances["harm"] < weights.threshold:
        return reading
    sign = max(_DOUBTED, key=chances.__getitem__)
    if not parse.seen.isdisjoint(_EXPLAINED[sign]):
        return reading
    spans = _behind(parse, text, weights, "harm")
    return replace(
        reading,
        kind=reading.kind if reading.kind in ("result", "skipped", "opt_out") else "safety_only",
        because={**reading.because, sign: spans},
        doubted_by="statistics",
        emergency_doubt=chances["emergency"] >= chances[sign],
        confidence=round(reading.confidence * DOUBTFUL, 3),
        fall="unsure" if sign == "fall" else "no",
        pain="unsure" if sign == "pain" else "no",
        dizzy="unsure" if sign == "dizzy" else "no",
    )


def _heard_otherwise(reading: Reading) -> bool:
    """Whether the lists know what the text is about: news, a wish, a question, a thing done.

    The corpora that the weights were learnt from hold next to none of these, and such a text is
    answered and told to the trainer already where it is about harm.
    """
    told = (reading.news, reading.asks, reading.topic, reading.usual, reading.machine)
    return any(told) or reading.unsafe or reading.done or reading.later


def plain_result(parse: Parse) -> bool:
    """Whether a text is nothing but numbers, sides and words on steadiness: no harm to hear."""
    return all(not unit.tags.isdisjoint(_PLAIN) for unit in parse.units)


def _one_word(parse: Parse) -> bool:
    return len(parse.units) == 1 and len(parse.plain.text) <= _LONGEST_WORD


def _silent(reading: Reading) -> bool:
    """Whether the lists read no sign, sure or doubtful."""
    return (
        (reading.fall, reading.pain, reading.dizzy) == ("no", "no", "no")
        and not reading.emergency
        and not reading.emergency_doubt
    )


def _behind(parse: Parse, text: bytes, weights: Weights, family: str) -> tuple[Span, ...]:
    """The words that the weightiest stretches touch, at most three, in their order."""
    column = FAMILIES.index(family)
    weight = np.zeros(len(text))
    for slot, start, end in stretches(text):
        weight[start:end] += max(0, int(weights.table[slot, column])) / (end - start)
    words = [word for word in _words(text) if weight[word[0] : word[1]].any()]
    words.sort(key=lambda word: -float(weight[word[0] : word[1]].sum()))
    where = places(parse.plain)
    return tuple(
        parse.plain.span(where[start], where[end - 1] + 1)
        for start, end in sorted(words[:_MOST_WORDS])
    )


def _words(text: bytes) -> list[tuple[int, int]]:
    found, start = [], 1
    for word in text[1:-1].split(b" "):
        found.append((start, start + len(word)))
        start += len(word) + 1
    return found
