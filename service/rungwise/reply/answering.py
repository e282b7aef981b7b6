"""What an answer to a yes or no question about a fall, pain or dizziness grants.

Only a plain no, or a text about something else, leaves such a question at "no". An answer that
says how often, when, where or how much grants it; any other is asked about again.
"""

from dataclasses import replace
from typing import Literal

from rungwise.ladder.stance import Answer
from rungwise.reply import kinds, scope
from rungwise.reply.events import Event
from rungwise.reply.numbers import MOST_BRIEF, has_tag, number_at, numbers
from rungwise.reply.pairs import WORST
from rungwise.reply.reading import Context, Span
from rungwise.reply.safety import Found, Safety, place_of_pain
from rungwise.reply.units import Parse, Unit, clause, sentence

_Granted = tuple[Answer, Span] | None
# How much, how often, when.
# In a longer sentence "on Tuesday" or "a bit" belongs to the story it tells.
_LONGEST_ANSWER = 10
_PART = ("partly.phrase", "partly.often", "neg.slight")
_WHERE = ("away.place", "floor.wide", "floor.hard")
# Beside how often, when, where and how much, these add nothing: "just the one, in the garden".
_SMALL = frozenset(
    {
        *_PART,
        *_WHERE,
        "partly.when",
        "partly.only",
        "stop",
        "comma",
        "mark",
        "polite.word",
        "old.recent",
        "old.long",
        "scope.through",
        "scope.to_place",
        "scope.or",
        "join.and",
        "before.person",
        "set.twice",
        "set.thrice",
    }
)
# Beside a number that may say how bad a pain is: "a 6", "about 4 out of 10".
_WORDS_BESIDE = 4
_HELD = frozenset(
    {"steady.firm", "wobbly.word", "wobbly.touch", "done.full", "side", "exercise.word"}
)
_PUT_OFF = frozenset({"skip.later", "skip.phrase", "asks"})
# A denial, or something else that is told.
_ELSEWHERE = frozenset(
    {
        "neg.strong",
        "neg.after",
        "neg.no",
        "pain.none",
        "partly.slip",
        "done.phrase",
        "done.full",
        "skip.phrase",
        "skip.later",
        "skip.last",
        "topic.other",
        "notbody.back",
        "idiom.fall",
        "idiom.pain",
        "idiom.dizzy",
        "idiom.skip",
        "asks",
    }
)
_COMFORTING = frozenset(
    {
        "polite.word",
        "steady.praise",
        "steady.firm",
        "steady.denied",
        "accept.yes",
        "mark",
        "wobbly.neutral",
    }
)
# Thanks, greetings and comfort: "I'm fine, dear".
_COMFORT = _COMFORTING | {
    "stop",
    "comma",
    "self.i",
    "self.my",
    "other.it",
    "other.loose",
    "old.recent",
    "scope.through",
    "scope.or",
    "scope.but",
    "exercise.word",
    "carer.this",
    "join.and",
}


_BESIDE_A_NUMBER = frozenset({"stop", "comma", "mark", "polite.word", "away.place"})


def with_answer(
    parse: Parse,
    opened: kinds.Opening,
    answered: Literal["yes", "no"] | None,
    context: Context,
    safety: Safety,
) -> Safety:
    """What a yes, a no or a half yes to a question about a fall, pain or dizziness adds."""
    family = kinds.SAFETY_QUESTIONS.get(context.asked)
    if family is None:
        return safety
    known = safety.of(family)
    granted: _Granted = None
    if answered == "yes":
        granted = "yes", kinds.span_of(parse, opened)
    elif "keyword.help" in opened.tags or parse.places("help.plain"):
        return _help_in_answer(parse, safety, family)
    elif answered == "no" or known.spans:
        granted = _excepted(parse, opened) if known.answer == "no" else None
    elif known.answer == "no":
        granted = _partly(parse, opened, family, safety)
        if granted is None and family == "pain" and _may_be_a_score(parse):
            granted = "unsure", parse.span(0, len(parse.units) - 1)
    if granted is None:
        return safety
    answer, span = granted
    if answer == "yes" and "old.long" in parse.seen and "old.recent" not in parse.seen:
        answer = "unsure"
    safety = replace(safety, found={**safety.found, family: known.stronger(answer, span)})
    return place_of_pain(parse, safety) if family == "pain" else safety


def no_plain_no(
    parse: Parse,
    opened: kinds.Opening,
    answered: Literal["yes", "no"] | None,
    context: Context,
    safety: Safety,
) -> Safety:
    """An answer that no rule understood, and that is no plain no, leaves it in doubt."""
    family = kinds.SAFETY_QUESTIONS.get(context.asked)
    if family is None or answered is not None or safety.of(family).spans or not parse.units:
        return safety
    if "whole.skip" in opened.tags or not parse.seen.isdisjoint(_ELSEWHERE):
        return safety
    if "digits" in parse.units[0].tags and all(
        not unit.tags.isdisjoint(_BESIDE_A_NUMBER) for unit in parse.units[1:]
    ):
        return safety  # a number alone is unclear, and asked about again; it is no doubt of harm
    if family == "pain" and _anothers_part(parse):
        return safety
    if parse.seen.isdisjoint(_COMFORTING):
        strange = list(range(len(parse.units)))  # "both", "on Sunday": no word of comfort at all
    else:
        strange = [place for place, unit in enumerate(parse.units) if not unit.tags & _COMFORT]
    if not strange:
        return safety
    found = {**safety.found, family: Found("unsure", (parse.span(strange[0], strange[-1]),))}
    return replace(safety, found=found)


def _may_be_a_score(parse: Parse) -> bool:
    """Whether bare numbers up to ten are all that is told: how bad it is, and not how long."""
    told = numbers(parse)
    if not told or any(one.unit or one.value > WORST for one in told):
        return False
    words = len(parse.units) - sum(one.last - one.first + 1 for one in told)
    return told[0].value > 0 and words <= _WORDS_BESIDE and parse.seen.isdisjoint(_HELD)


def _anothers_part(parse: Parse) -> bool:
    """Whether a part of the body is spoken of that is somebody else's: "my son's hand"."""
    return any(
        scope.others(parse, Event("pain", "noun", place, place), things=False) == "no"
        for place in parse.places("body")
    )


def _first(parse: Parse, *tags: str) -> int | None:
    places = (place for place, unit in enumerate(parse.units) if not unit.tags.isdisjoint(tags))
    return next(places, None)


def _partly(parse: Parse, opened: kinds.Opening, family: str, safety: Safety) -> _Granted:
    """ "a bit", "sometimes", "almost", "only when I bend", "twice, in the garden"."""
    if opened.whole and "whole.skip" in opened.tags:
        return None
    almost = _first(parse, "partly.almost")
    if almost is not None:
        return "unsure", parse.span(almost, almost)
    put_off = "whole.skip" in opened.tags or not parse.seen.isdisjoint(_PUT_OFF)
    # Beside other harm it belongs to that: "my knee hurts when I bend".
    when = None if put_off or safety.reported else _occasion(parse)
    granted = _first(parse, "partly.granted")
    if granted is not None and not _denied(parse, granted):
        return "yes", parse.span(granted, granted)
    story = len(sentence(parse, 0)) > _LONGEST_ANSWER
    part = (None if story else _first(parse, *_PART)) if when is None else when
    if family == "fall":
        return _part_of_a_fall(parse, part, when)
    part = _first(parse, "partly.doubt") if part is None else part
    return _taken_back(parse) if part is None else ("yes", parse.span(part, part))


def _taken_back(parse: Parse) -> _Granted:
    """A no that holds no longer: "not until today", "no but nearly"."""
    back = _first(parse, "scope.undone", "scope.close")
    return None if back is None else ("unsure", parse.span(back, back))


def _denied(parse: Parse, place: int) -> bool:
    before = range(clause(parse, place).start, place)
    return any(
        has_tag(parse, one, "neg.strong", "neg.no", "neg.doubt", "partly.doubt") for one in before
    )


def _part_of_a_fall(parse: Parse, part: int | None, when: int | None) -> _Granted:
    """A fall is certain where nothing but how often, when, where and how much is told."""
    where = _first(parse, *_WHERE, "set.twice", "set.thrice") if part is None else part
    small = all(_adds_nothing(parse, place, unit) for place, unit in enumerate(parse.units))
    told = where is not None and small and parse.units[where].tags != {"neg.slight"}
    if when is not None and parse.seen.isdisjoint({"wobbly.word", "wobbly.touch", "done.phrase"}):
        told = True
    if told and where is not None:
        return "yes", parse.span(where, where)
    doubt = _first(parse, "partly.doubt") if part is None else part
    return _taken_back(parse) if doubt is None else ("unsure", parse.span(doubt, doubt))


def _adds_nothing(parse: Parse, place: int, unit: Unit) -> bool:
    if not unit.tags.isdisjoint(_SMALL):
        return True
    number = number_at(parse, place)
    return number is not None and number.value <= MOST_BRIEF


def _occasion(parse: Parse) -> int | None:
    """Where an occasion is told: "when I bend", but not "when is my visit"."""
    for place in parse.places("partly.when"):
        if not has_tag(parse, place + 1, "question.opens", "question.word"):
            return place
    return None


def _excepted(parse: Parse, opened: kinds.Opening) -> _Granted:
    """A no taken back in part: "no, only when I bend", "no but nearly", "no, just a bit"."""
    back = _taken_back(parse)
    if back is not None or not parse.seen.isdisjoint(_PUT_OFF):
        return back
    last = len(parse.units) - 1
    while has_tag(parse, last, "stop", "mark"):
        last -= 1
    for only in parse.places("partly.only"):
        after = only + 1
        if has_tag(parse, after, "partly.when") or (
            after == last and has_tag(parse, after, *_PART)
        ):
            return "unsure", parse.span(only, after)
    rest = [place for place, unit in enumerate(parse.units) if unit.end > opened.end]
    if opened.end and all(_adds_nothing(parse, place, parse.units[place]) for place in rest):
        for place in rest:
            if has_tag(parse, place, *_PART) and not has_tag(parse, place, "old.recent"):
                return "unsure", parse.span(place, place)
    return None


def _help_in_answer(parse: Parse, safety: Safety, family: str) -> Safety:
    """HELP in answer to "are you hurt?" is an alarm."""
    span = parse.span(0, len(parse.units) - 1)
    found = dict(safety.found)
    found["emergency"] = safety.of("emergency").stronger("yes", span)
    found[family] = safety.of(family).stronger("unsure", span)
    return replace(safety, found=found)
