"""Numbers of the clock and of what is still to come: "I'll do it at 3" tells of no hold."""

from itertools import pairwise

from rungwise.reply.numbers import Quantity, has_tag
from rungwise.reply.units import Parse, clause

LAST_HOUR = 12
_AT = frozenset(
    {"at", "by", "around", "about", "before", "after", "until", "till", "til", "from", "since"}
    | {"las", "la", "sobre", "hacia", "half"}
)
_TO_COME = frozenset(
    {"'ll", "ill", "will", "gonna", "going", "tomorrow", "later", "tonight", "shall", "plan"}
    | {"hope", "hoping", "try", "aim", "aiming", "off", "bus", "train", "appointment", "appt"}
    | {"see", "meet", "meeting", "leaving", "leave", "visit", "coming", "collect", "pick"}
    | {"ring", "call", "llame", "llameme", "llamame"}
    | {"back", "out", "church", "lunch", "dinner", "tea", "bed", "hospital", "doctor", "dentist"}
    | {"voy", "vamos", "ire", "hare", "hago", "manana", "luego", "despues", "cita", "nos"}
    | {"vemos", "vienen", "viene", "salgo", "estare", "intentare", "misa", "comer", "cenar"}
    | {"autobus", "medico", "tarde", "noche", "comida", "probare"}
)
_PLANNED = frozenset(
    {"'ll", "ill", "will", "gonna", "shall", "hare", "ire", "intentare", "probare", "estare"}
)
_PLANNING = frozenset(
    {"going", "plan", "hope", "hoping", "aim", "aiming", "voy", "vamos", "quiero"}
)
_TO = frozenset({"to", "a", "on", "for"})
_DONE = (
    "count.hold_words",
    "count.stopped_at",
    "steady.firm",
    "wobbly.word",
    "wobbly.touch",
    "wobbly.balance",
    "done.phrase",
)


def of_the_clock(parse: Parse, quantity: Quantity) -> bool:
    """Whether "at 3" is an hour: something of the day goes before it in its clause."""
    if quantity.value > LAST_HOUR or quantity.value != int(quantity.value):
        return False
    first = parse.units[quantity.first].start
    words = parse.tokens.words
    if first == 0 or words[first - 1] not in _AT:
        return False
    if first > 1 and words[first - 2 : first] == ["a", "las"]:
        return True  # seconds would be masculine: "a los 8"
    around = clause(parse, quantity.first)
    before = words[parse.units[around.start].start : first]
    if _TO_COME.isdisjoint(before):
        return False
    return not any(has_tag(parse, place, *_DONE) for place in range(around.start, quantity.first))


def still_to_come(parse: Parse, quantity: Quantity) -> bool:
    """Whether the number is of a hold or a wait that is only planned: "will try for 25"."""
    around = clause(parse, quantity.first)
    first = parse.units[quantity.first].start
    before = parse.tokens.words[parse.units[around.start].start : first]
    planned = not _PLANNED.isdisjoint(before) or any(
        one in _PLANNING and then in _TO for one, then in pairwise(before)
    )
    if not planned:
        return False
    held = ("count.stopped_at", "steady.firm", "wobbly.word", "done.phrase")
    return not any(has_tag(parse, place, *held) for place in around)
