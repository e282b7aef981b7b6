"""What kind of message a reply is, and how it answers what was asked."""

from dataclasses import dataclass
from typing import Literal

from rungwise.reply.events import Event
from rungwise.reply.machine import Place
from rungwise.reply.numbers import has_tag
from rungwise.reply.reading import Context, Kind, Span
from rungwise.reply.safety import Safety, closes
from rungwise.reply.scope import denied
from rungwise.reply.sides import Holds
from rungwise.reply.steadiness import Steady
from rungwise.reply.talk import Talk
from rungwise.reply.units import Parse

YesNo = Literal["yes", "no"]
SAFETY_QUESTIONS = {
    "fall_yes_no": "fall",
    "pain_yes_no": "pain",
    "dizzy_yes_no": "dizzy",
    "hurt": "pain",
    "fall_weekly": "fall",
}
# Questions and safety texts after which a text is no result unless it tells of a hold.
ABOUT_SAFETY = frozenset(
    {
        *SAFETY_QUESTIONS,
        "emergency_yes_no",
        "today_yes_no",
        "worse_yes_no",
        "fall_day",
        "after_emergency",
        "after_distress",
    }
)
_FILLER = frozenset({"stop", "comma", "mark", "polite.word", "asks"})


@dataclass(frozen=True, slots=True)
class Opening:
    """The answer or keyword that a text opens with, and whether it is the whole message."""

    tags: frozenset[str] = frozenset()
    start: int = 0
    end: int = 0
    whole: bool = False


_NONE = Opening()


def opening(parse: Parse) -> Opening:
    """The longest answer or keyword after any greeting, as tokens start..end."""
    words = parse.tokens.words
    machine = parse.lexicon.answers
    start = 0
    for unit in parse.units:
        if machine.step(machine.start, unit.word) or unit.tags.isdisjoint(_FILLER):
            break
        start = unit.end
    end, tags = start, frozenset[str]()
    place: Place | None = machine.start
    at = start
    while at < len(words) and place is not None:
        place = machine.step(place, words[at])
        at += 1
        if place is not None and place.entry is not None:
            end, tags = at, place.entry.tags
    if not tags:
        return _NONE
    said = words[start:end]
    rest = [unit for unit in parse.units if unit.end > end]
    whole = len(rest) <= 8 and all(
        not unit.tags.isdisjoint(_FILLER) or (unit.word in said and unit.start >= end)
        for unit in rest
    )
    return Opening(tags, start, end, whole)


def span_of(parse: Parse, opened: Opening) -> Span:
    tokens = parse.tokens
    return parse.plain.span(tokens.starts[opened.start], tokens.ends[opened.end - 1])


def answer(parse: Parse, said: Talk, opened: Opening, context: Context) -> YesNo | None:
    """yes or no to what was asked; None where neither was said."""
    if context.asked == "retest":
        return _accepted(parse, opened)
    if "yes.word" in opened.tags and context.asked in ABOUT_SAFETY:
        instead = _longer(said, opened)
        if instead:
            return "no" if instead in _DENIALS else None
    if "yes.word" in opened.tags:
        return "yes"
    if "no.word" in opened.tags:
        return "no"
    return None


_DENIALS = frozenset({"reply.no", "reply.doubt_no"})
_NO_YES = ("reply.no", "reply.doubt_no", "reply.comfort", "reply.unknown", "reply.cannot")


def _longer(said: Talk, opened: Opening) -> str | None:
    """What a yes only begins: "I am" of "I am fine", "sadly" of "sadly not"; a thumb is comfort."""
    for tag in _NO_YES:
        for first, last in said.places.get(tag, ()):
            if first == opened.start and (last + 1 > opened.end or tag == "reply.comfort"):
                return tag
    return None


def _accepted(parse: Parse, opened: Opening) -> YesNo | None:
    """Whether a visit offered is accepted or refused."""
    if parse.places("accept.no") or "no.word" in opened.tags:
        return "no"
    if "yes.word" in opened.tags or parse.places("accept.yes"):
        return "yes"
    return None


_KEYWORDS: dict[str, Kind] = {
    "keyword.opt_out": "opt_out",
    "keyword.opt_in": "opt_in",
    "keyword.help": "help",
}


def kind_of(
    parse: Parse, opened: Opening, context: Context, safety: Safety, holds: Holds, steady: Steady
) -> tuple[Kind, tuple[Span, ...]]:
    """The first kind that fits, and the words that make it so."""
    if opened.whole:
        for tag, kind in _KEYWORDS.items():
            if tag in opened.tags and not (kind == "help" and safety.reported):
                return kind, (span_of(parse, opened),)
    wished = parse.places("opt_out.plain")
    if wished and not parse.places("opt_out.never"):
        return "opt_out", tuple(parse.span(place, place) for place in wished)
    wished = [p for p in parse.places("opt_in.plain") if not has_tag(parse, p - 1, "neg.strong")]
    if wished:
        return "opt_in", tuple(parse.span(place, place) for place in wished)
    if context.asked == "fall_weekly" and not (holds.holds or safety.of("fall").spans):
        skipped = _of_practice(parse, safety, steady)
        if skipped:
            return "skipped", skipped
    if context.asked in ABOUT_SAFETY or context.asked in ("retest", "pain_score"):
        return _kind_of_answer(parse, safety, holds), ()
    return _kind_of_report(parse, opened, safety, holds, steady)


def _kind_of_answer(parse: Parse, safety: Safety, holds: Holds) -> Kind:
    """The kind of an answer to a question that was not about the hold."""
    if holds.holds:
        return "result"
    if safety.reported:
        return "safety_only"
    return "question" if _asks(parse) else "other"


def _kind_of_report(
    parse: Parse, opened: Opening, safety: Safety, holds: Holds, steady: Steady
) -> tuple[Kind, tuple[Span, ...]]:
    if holds.holds:
        return "result", ()
    skipped = _skipped(parse, opened, safety, steady)
    if skipped:
        return "skipped", skipped
    if steady.overall is not None and (not steady.praise or _only_praise(parse)):
        return "result", ()
    if safety.reported:
        return "safety_only", ()
    kind, behind = _kind_of_the_rest(parse)
    refused = kind == "other" and not safety.reported and _refuses(parse, opened)
    return ("skipped", (span_of(parse, opened),)) if refused else (kind, behind)


def _of_practice(parse: Parse, safety: Safety, steady: Steady) -> tuple[Span, ...]:
    """ "Not today, sorry" is no answer about falls; "not this week" is one."""
    week = any("old.recent" in unit.tags and unit.tags.isdisjoint(_FILLER) for unit in parse.units)
    return () if week else tuple(parse.span(p, p) for p in sorted(_skips(parse, safety, steady)))


def _refuses(parse: Parse, opened: Opening) -> bool:
    """ "Nah, visitors came": a no to the day's text, and why."""
    if opened.tags.isdisjoint({"no.word", "whole.skip"}) or opened.whole:
        return False
    after = [unit.tags for unit in parse.units if opened.end <= unit.start < opened.end + 3]
    return any(not tags.isdisjoint({"comma", "stop"}) for tags in after)


def _skipped(parse: Parse, opened: Opening, safety: Safety, steady: Steady) -> tuple[Span, ...]:
    """The words that say it was not done, or will be later; none if nothing does."""
    if opened.whole and "whole.skip" in opened.tags:
        return (span_of(parse, opened),)
    skips = sorted(_skips(parse, safety, steady))
    return tuple(parse.span(place, place) for place in skips)


def _kind_of_the_rest(parse: Parse) -> tuple[Kind, tuple[Span, ...]]:
    """Nothing told of a hold, of steadiness or of harm."""
    for tag in ("done.phrase", "done.full", "same.phrase"):
        places = parse.places(tag)
        if places:
            return "result", tuple(parse.span(place, place) for place in places)
    helps = parse.places("help.plain")
    if helps and not parse.places("help.with_it"):
        return "help", tuple(parse.span(place, place) for place in helps)
    return ("question" if _asks(parse) else "other"), ()


def _skips(parse: Parse, safety: Safety, steady: Steady) -> list[int]:
    """Where it is said."""
    skips = [p for p in parse.places("skip.phrase") if "idiom.skip" not in parse.units[p].tags]
    if not _asks(parse):
        skips = skips + parse.places("skip.later")
    skips += [place for place in parse.places("done.phrase") if _undone(parse, place)]
    if not skips and not safety.reported:
        skips = [place for place in parse.places("skip.last") if closes(parse, place)]
    told = steady.overall is not None and not steady.praise
    return [] if told and not parse.places("skip.phrase") else skips


def _undone(parse: Parse, place: int) -> bool:
    """Whether a word for having done it is denied: "haven't managed it"."""
    return denied(parse, Event("done", "noun", place, place)) == "no"


_PRAISE_ALLOWS = frozenset(
    {
        "stop",
        "comma",
        "mark",
        "polite.word",
        "scope.through",
        "scope.or",
        "scope.but",
        "self.i",
        "self.my",
        "side",
        "steady.praise",
        "steady.firm",
        "steady.denied",
        "old.recent",
        "done.phrase",
        "done.full",
        "join.and",
        "other.it",
        "count.hold_words",
        "exercise.word",
        "exercise.during",
        "same.phrase",
        "effort.too_easy",
        "effort.too_hard",
        "neg.strong",
        "number",
        "wobbly.neutral",
    }
)


def _only_praise(parse: Parse) -> bool:
    """Whether a text of praise without a hold says nothing else that the praise could be about."""
    if "asks" in parse.seen:
        return False
    strange = sum(unit.tags.isdisjoint(_PRAISE_ALLOWS) for unit in parse.units)
    return strange == 0 or (strange <= 1 and len(parse.units) >= 4 and "done.phrase" in parse.seen)


def _asks(parse: Parse) -> bool:
    """Whether it is a question: by its mark, or by the word it opens with."""
    if "asks" in parse.seen:
        return True
    for unit in parse.units:
        if "question.word" in unit.tags:
            return True
        if unit.tags.isdisjoint(_FILLER | {"scope.but", "scope.or", "self.i", "scope.through"}):
            break
    return False
