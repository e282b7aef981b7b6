"""Whether a mention is feared, supposed or asked about rather than told."""

from rungwise.reply.events import Event, is_event
from rungwise.reply.scope import AHEAD
from rungwise.reply.units import Parse, Unit, sentence

_ON = frozenset({"scope.through", "self.i", "self.my", "near.before", "body", "unknown"})


def supposed(parse: Parse, event: Event) -> bool:
    """Whether it is feared, asked about or supposed, not told.

    A past tense ("avoided the dog and fell") is only undone by an "if"; a wording that could be
    either ("end up on the floor") also by a fear right before it.
    """
    units = parse.units
    noun = event.form not in ("verb", "phrase", "last")
    unknown = 0
    for place in range(event.first - 1, max(-1, event.first - 8), -1):
        tags = units[place].tags
        if not tags.isdisjoint({"stop", "comma"}):
            return False
        if "suppose.if" in tags or ("suppose.any" in tags and event.form != "verb"):
            return True
        if "suppose.si" in tags and _an_if(parse, place, event):
            return True
        if event.form == "noun" and event.family == "fall" and "suppose.fall" in tags:
            return not unknown
        unknown += "unknown" in tags
        if unknown > noun or not _carries_on(units, place):
            return False
    return False


def _an_if(parse: Parse, place: int, event: Event) -> bool:
    """Whether "si" is an "if", not the "sí" that grants something: "sí me mareé ayer".

    What happened ("si me caí") is never supposed; what opens a sentence grants it, unless the
    sentence asks.
    """
    if event.form != "noun" and event.family == "fall":
        return False
    around = sentence(parse, place)
    asks = around.stop < len(parse.units) and "asks" in parse.units[around.stop].tags
    opens = all(
        not parse.units[p].tags.isdisjoint({"polite.word", "comma"})
        for p in range(around.start, place)
    )
    return asks or not opens


def _carries_on(units: list[Unit], place: int) -> bool:
    """Whether a fear before `place` may still be about what comes after it."""
    tags = units[place].tags
    if "scope.or" in tags:
        return place > 0 and is_event(units[place - 1])
    return not tags.isdisjoint(_ON) or is_event(units[place])


def asked(parse: Parse, event: Event) -> bool:
    """Whether its sentence is a question, by its mark or its first word."""
    if parse.seen.isdisjoint({"asks", "question.word"}):
        return False
    first = sentence(parse, event.first)[0]
    for place in range(first, min(first + 4, event.first)):
        tags = parse.units[place].tags
        if "question.word" in tags:
            # Without its accent "como" is also an "about": "como 14".
            counts = parse.units[place + 1].tags
            return counts.isdisjoint({"digits", "number"}) or "asks" in parse.seen
        if tags.isdisjoint({"polite.word", "comma", "scope.but", "scope.or", "mark"}):
            break
    for place in range(event.last + 1, min(len(parse.units), event.last + AHEAD)):
        tags = parse.units[place].tags
        if "stop" in tags:
            return "asks" in tags
        if "question.word" in tags:
            return False  # "20 steady, can I rest now?": the question opens after it
    return False
