"""read(text, context): the whole reply reader, in the order in which it is read.

1. Plain text, tokens, phrases (units).   2. Safety, whatever else the text says.
3. The answer to what was asked.   4. Holds and sides.   5. Steadiness.   6. Kind.   7. Confidence.
8. Where the lists read no sign, whether the second reader suspects one.
"""

import re
from dataclasses import replace
from typing import Any, Literal

from rungwise.reply import beside, kinds, machine_made, practice
from rungwise.reply.answer_facts import MOST_FALLS
from rungwise.reply.answering import no_plain_no, with_answer
from rungwise.reply.events import FAMILIES
from rungwise.reply.lexicon import Lexicon, lexicon
from rungwise.reply.long_texts import worth_reading
from rungwise.reply.numbers import Quantity, has_tag, numbers
from rungwise.reply.pairs import WORST, pain_told
from rungwise.reply.reading import Context, Kind, Reading, Span
from rungwise.reply.safety import (
    Safety,
    perhaps_a_fall,
    perhaps_a_pain,
    place_of_pain,
    read_safety,
)
from rungwise.reply.second import doubted
from rungwise.reply.second.doubt import DOUBTFUL
from rungwise.reply.sides import Holds, read_holds
from rungwise.reply.steadiness import Steady, read_steadiness
from rungwise.reply.talk import Talk, talk
from rungwise.reply.units import Parse, parse

_DEFAULT = Context()
# "a 4", "about 7": no more than this many units is a number alone.
MOST_UNITS_ALONE = 3
_NET = frozenset({"net.loose", "body"})
# While one of these is open, a relative may answer from the client's phone.
_OF_HARM = frozenset(
    {"fall_yes_no", "hurt", "pain_yes_no", "dizzy_yes_no", "emergency_yes_no", "after_emergency"}
)
_PERSONS = frozenset({"other.person", "other.kin", "other.household", "other.animal"})
_NO_HOLDS = Holds()
# Asked about a pain, a bare number is how bad it is.
_SCORED = frozenset({"pain_yes_no", "worse_yes_no"})
_NO_STEADINESS = Steady()
# What a reading's confidence loses, beside a doubtful answer's share: a kind that no rule found, a
# corrected word, and, in proportion, words that no list knows.
NO_KIND, CORRECTED, ALL_UNKNOWN = 0.3, 0.9, 0.5


def read(text: str, context: Context | None = None, *, second: bool = True) -> Reading:
    """What a reply says. Any text gives a Reading; nothing raises; linear in the text's length.

    Without `second`, or where the practice does not want the second reader, only the lists read
    it; with it, statistics may doubt a text where the lists read no sign.
    """
    context = context or _DEFAULT
    words = lexicon(context.language)
    own = machine_made.own_part(worth_reading(text, words), context.our_texts)
    parsed = _heard(own.text, words, context)
    answering = context.asked != "result" or context.usual_pain is not None
    said = talk(parsed, answering)
    if "auto" in said.tables:
        own = machine_made.without_sentences(own, said)
        parsed = _heard(own.text, words, context)
        said = talk(parsed, answering)
    if own.bare:
        return Reading(kind="other", machine=own.machine, confidence=1.0)
    reading = _by_lists(parsed, said, context)
    if second and context.second_reader:
        reading = doubted(reading, parsed, context.asked)
    return replace(reading, machine=own.machine, own_words=own.words) if own.machine else reading


def _heard(text: str, words: Lexicon, context: Context) -> Parse:
    """The text in units. Where no other person is named, "he" and "she" are whom the question about
    harm was about, so a relative writes for the client.
    """
    parsed = parse(text, words)
    of_harm = context.asked in _OF_HARM and "other.pronoun" in parsed.seen
    if of_harm and parsed.seen.isdisjoint(_PERSONS):
        return replace(parsed, seen=parsed.seen | {"carer.phrase"})
    return parsed


def _by_lists(parsed: Parse, said: Talk, context: Context) -> Reading:
    """The client's own words read."""
    opened = kinds.opening(parsed)
    answered = kinds.answer(parsed, said, opened, context)
    safety = with_answer(parsed, opened, answered, context, read_safety(parsed))
    if context.asked == "after_emergency":
        safety = beside.without_help_that_came(said, safety)
    if safety.reported and not opened.tags.isdisjoint({"keyword.help"}):
        safety = _alarm(parsed, opened, safety)
    if context.asked == "pain_score":
        return _pain_score(parsed, said, context, opened, safety, answered)
    scored = safety.of("pain").answer == "no" and _a_part_scored(parsed, context)
    if scored:
        safety = perhaps_a_pain(parsed, safety, answering=True)
        safety = place_of_pain(parsed, safety)
    holds = _NO_HOLDS if scored else _holds(parsed, context)
    about_safety = context.asked in kinds.ABOUT_SAFETY or context.asked == "retest"
    held_on = practice.support(said, context)
    steady = read_steadiness(parsed, holds, safety, comfort=about_safety, chosen=held_on.chosen)
    if about_safety and not holds.holds:
        steady = _NO_STEADINESS
    kind, behind = kinds.kind_of(parsed, opened, context, safety, holds, steady)
    heard = safety
    if kind == "other":
        heard = _perhaps(parsed, context, answered, safety)
        safety = no_plain_no(parsed, opened, answered, context, heard)
        kind = "safety_only" if safety.reported else kind
    if kind == "skipped" or (kind != "result" and steady.praise):
        steady = _NO_STEADINESS
    if held_on.told == "grabbed" and holds.holds:
        steady = replace(steady, overall="wobbly", praise=False)
    question = kind == "question" or "asks" in parsed.seen
    more = beside.told_beside(
        said, opened, answered, context, safety, heard, kind, holds.holds, question
    )
    if kind == "other" and "later_today" in more.get("asks", ()):
        kind = "skipped"
    if kind == "other" and more.get("done") and not about_safety:
        kind = "result"
    if held_on.told is not None:
        more["support"] = held_on.told
    return _reading(parsed, context, kind, behind, safety, holds, steady, answered, opened, more)


_OUT_OF_TEN = re.compile(r"\b(?:10|\d) ?(?:/|out of|de|sobre) ?10\b")


def _a_part_scored(parsed: Parse, context: Context) -> bool:
    """ "Left knee 8 out of 10 today": how bad it is, where 10 is not the hold asked for; of the
    usual pain "knee 3 today" is enough.
    """
    if "body" not in parsed.seen:
        return False
    held = {"unit.seconds", "steady.firm", "wobbly.word", "wobbly.touch", "count.hold_words"}
    if not parsed.seen.isdisjoint(held):
        return False
    out_of_ten = _OUT_OF_TEN.search(parsed.plain.text) is not None
    return (out_of_ten and context.target_s != WORST) or _usual_scored(parsed, context)


def _usual_scored(parsed: Parse, context: Context) -> bool:
    """Whether the part with the recorded pain is followed by one number up to ten, and no other."""
    told = numbers(parsed)
    if context.usual_pain is None or len(told) != 1 or told[0].unit or told[0].value > WORST:
        return False
    parts = [place for place in parsed.places("body") if place < told[0].first]
    return bool(parts) and parsed.units[parts[-1]].values["body"] == context.usual_pain


def _perhaps(
    parsed: Parse,
    context: Context,
    answered: kinds.YesNo | None,
    safety: Safety,
) -> Safety:
    """What may still be told of harm in a text that no rule understood."""
    if context.asked == "result" and not parsed.seen.isdisjoint(_NET):
        return perhaps_a_pain(parsed, perhaps_a_fall(parsed, safety))
    if answered is None and kinds.SAFETY_QUESTIONS.get(context.asked) == "pain":
        safety = perhaps_a_pain(parsed, safety, answering=True)
        told = safety.of("pain").answer == "yes"
        safety = place_of_pain(parsed, safety) if told else safety
    return safety


def _alarm(parsed: Parse, opened: kinds.Opening, safety: Safety) -> Safety:
    """HELP beside a report of harm is an alarm: "HELP I fell"."""
    known = safety.of("emergency")
    if known.answer == "yes":
        return safety
    found = {**safety.found, "emergency": known.stronger("yes", kinds.span_of(parsed, opened))}
    return replace(safety, found=found)


def _holds(parsed: Parse, context: Context) -> Holds:
    """No holds among the times of day in an answer about a visit, nor of a bare number after a
    question about harm.
    """
    alone = context.asked in kinds.ABOUT_SAFETY and len(parsed.units) <= MOST_UNITS_ALONE
    if context.asked == "fall_weekly":
        # More than anybody falls in the time is the day's result.
        alone = alone and all(each.value <= MOST_FALLS for each in numbers(parsed))
    if alone and parsed.seen.isdisjoint({"unit.seconds", "steady.firm", "wobbly.word", "side"}):
        return _NO_HOLDS
    if context.asked == "retest" and "unit.seconds" not in parsed.seen:
        return _NO_HOLDS
    return read_holds(parsed, context)


def _pain_score(
    parsed: Parse,
    said: Talk,
    context: Context,
    opened: kinds.Opening,
    safety: Safety,
    answered: kinds.YesNo | None,
) -> Reading:
    """An answer to "how bad, 0 to 10, and where?"."""
    told = _score_told(parsed)
    score = None if told is None else int(told.value)
    if score is None and answered == "no":
        score = 0
    if told is not None and score:
        found = dict(safety.found)
        found["pain"] = safety.of("pain").stronger("yes", parsed.span(told.first, told.last))
        safety = place_of_pain(parsed, replace(safety, found=found))
    kind, behind = kinds.kind_of(parsed, opened, context, safety, _NO_HOLDS, _NO_STEADINESS)
    more = beside.told_beside(
        said, opened, answered, context, safety, safety, kind, (), kind == "question"
    )
    if score is None and more.get("answer") == "no":
        score = 0
    reading = _reading(
        parsed,
        context,
        kind,
        behind,
        safety,
        _NO_HOLDS,
        _NO_STEADINESS,
        answered,
        opened,
        more,
    )
    because = {name: spans for name, spans in reading.because.items() if name != "pain_score"}
    if told is not None:
        because["pain_score"] = (parsed.span(told.first, told.last),)
    confidence = reading.confidence if score is None else max(reading.confidence, 0.9)
    return replace(reading, pain_score=score, because=because, confidence=confidence)


def _score_told(parsed: Parse) -> Quantity | None:
    told = [q for q in numbers(parsed) if 0 <= q.value <= WORST and q.value == int(q.value)]
    lone = told[0] if told and len(parsed.units) <= MOST_UNITS_ALONE else None  # "the one with .."
    return next((q for q in told if not q.word or q.value != 1), lone)


def _reading(
    parsed: Parse,
    context: Context,
    kind: Kind,
    behind: tuple[Span, ...],
    safety: Safety,
    holds: Holds,
    steady: Steady,
    answered: kinds.YesNo | None,
    opened: kinds.Opening,
    more: dict[str, Any],
) -> Reading:
    because = {name: found.spans for name, found in safety.found.items() if found.spans}
    for name, spans in (
        ("kind", behind),
        ("holds", holds.spans),
        ("steadiness", steady.spans),
        ("body_part", safety.body_spans),
    ):
        if spans:
            because[name] = spans
    if answered is not None and opened.tags:
        because["yes_no"] = (kinds.span_of(parsed, opened),)
    score = pain_told(parsed) if safety.of("pain").answer == "yes" else None
    if score is None and not holds.holds:
        answers = more.get("answer") == "yes" and context.asked in _SCORED
        told = safety.of("pain").answer == "yes" and _a_part_scored(parsed, context)
        score = _score_told(parsed) if answers or told else None
    if score is not None:
        because["pain_score"] = (parsed.span(score.first, score.last),)
    same = kind == "result" and not holds.holds and "same.phrase" in parsed.seen
    return Reading(
        kind=kind,
        holds=holds.holds,
        steadiness=steady.overall,
        steadiness_by_side=steady.by_side,
        fall=safety.of("fall").answer,
        pain=safety.of("pain").answer,
        dizzy=safety.of("dizzy").answer,
        emergency=beside.emergency_of(more, safety) == "yes",
        body_part=safety.body_part,
        confidence=_confidence(parsed, kind, safety),
        because=because,
        yes_no=answered,
        pain_score=None if score is None else int(score.value),
        correction=kind == "result" and _corrects(parsed, opened),
        same_as_before=same,
        effort=_effort(parsed),
        question=kind == "question" or "asks" in parsed.seen,
        later=kind == "skipped"
        and ("skip.later" in parsed.seen or "later_today" in more.get("asks", ())),
        to_target="done.full" in parsed.seen,
        about_task=kind == "question" and not parsed.lexicon.task.isdisjoint(parsed.tokens.words),
        own_words=parsed.plain.original.strip(),
        unsure_number=_unclear(parsed, holds),
        **more,
    )


def _unclear(parsed: Parse, holds: Holds) -> bool:
    """Whether a hold's number may have been another."""
    return bool(parsed.unclear) and any(
        not parsed.unclear.isdisjoint(range(parsed.units[first].start, parsed.units[last].end))
        for first, last in holds.places
    )


def _corrects(parsed: Parse, opened: kinds.Opening) -> bool:
    """Whether the result puts an earlier one right: "no, 25", "I meant the left", "18 not 15"."""
    instead = any(
        has_tag(parsed, place - 1, "digits", "number")
        and has_tag(parsed, place + 1, "digits", "number")
        for place in parsed.places("join.not")
    )
    return instead or bool(parsed.places("fix.phrase")) or "no.word" in opened.tags


def _effort(parsed: Parse) -> Literal["too_hard", "too_easy"] | None:
    if "effort.too_hard" in parsed.seen:
        return "too_hard"
    return "too_easy" if "effort.too_easy" in parsed.seen else None


def _doubtful(safety: Safety) -> bool:
    return any(safety.of(family).answer == "unsure" for family in FAMILIES)


def _confidence(parsed: Parse, kind: Kind, safety: Safety) -> float:
    confidence = NO_KIND if kind == "other" else 1.0
    confidence *= CORRECTED ** min(parsed.typos, 5)
    if _doubtful(safety):
        confidence *= DOUBTFUL
    if "unknown" in parsed.seen:
        unknown = sum("unknown" in unit.tags for unit in parsed.units)
        confidence *= 1 - ALL_UNKNOWN * unknown / len(parsed.units)
    return round(confidence, 3)
