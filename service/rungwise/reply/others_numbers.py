"""Numbers that tell of a person: ages, and what somebody else held."""

from rungwise.reply import scope
from rungwise.reply.numbers import Quantity, has_tag, word_at
from rungwise.reply.units import Parse

# "I'm 84": from here on, a bare number after "I am" is an age.
LEAST_AGE = 55
# "doing this at 84": from here on, a number after "at" with no word of a hold.
AGE_AT = 65


def age(parse: Parse, quantity: Quantity) -> bool:
    """Whether it is an age, as in "I'm 84" or "not bad for 86"."""
    if quantity.value < LEAST_AGE:
        return False
    if has_tag(parse, quantity.first - 1, "count.am"):
        return True
    if has_tag(parse, quantity.first - 1, "count.aged_at") and quantity.value >= AGE_AT:
        return not _of_a_hold(parse, quantity)
    return word_at(parse, quantity.first - 1) == "for" and not has_tag(
        parse, quantity.first - 2, "count.hold_words"
    )


_HOLDING = (
    "count.stopped_at",
    "count.hold_words",
    "wobbly.word",
    "wobbly.touch",
    "wobbly.balance",
    "steady.firm",
    "side",
)


def _of_a_hold(parse: Parse, quantity: Quantity) -> bool:
    """Whether a word of holding, or a fall of the client's, leads up to it: "stopped at 80"."""
    others = False
    for place in range(quantity.first - 2, max(-1, quantity.first - 9), -1):
        if has_tag(parse, place, "stop", "comma"):
            break
        if has_tag(parse, place, *_HOLDING):
            return True
        others = others or has_tag(parse, place, "other.person", "other.kin", "other.pronoun")
    around = range(max(0, quantity.first - 9), quantity.first)
    return not others and any(has_tag(parse, p, "fall.verb", "fall.phrase") for p in around)


_PERSONS = ("other.person", "other.pronoun")


def _own_beside(parse: Parse) -> bool:
    """Whether the client's own number is told apart from another's: "me 15 her 20"."""
    return any(
        has_tag(parse, place + 1, "digits", "number")
        for tag in ("self.i", "self.my")
        for place in parse.places(tag)
    )


_SELF = frozenset({"i", "me", "mine", "myself", "yo", "mio"})


def own_told(parse: Parse) -> bool:
    """Whether the client's own number is told as theirs: "I did 12", "me 20"."""
    units, words = parse.units, parse.tokens.words
    return any(
        not _SELF.isdisjoint(words[unit.start : unit.end])
        and any(has_tag(parse, p, "digits", "number") for p in range(index + 1, index + 4))
        for index, unit in enumerate(units)
    )


def _of_a_name(parse: Parse, quantity: Quantity) -> bool:
    """ "Joan did 20 and I did 12": beside the client's own, a name's number is that person's."""
    for place in range(quantity.first - 1, max(-1, quantity.first - 4), -1):
        if has_tag(parse, place, "stop", "comma", "self.i", "self.my", "digits", "side"):
            return False
        if has_tag(parse, place, "unknown") and parse.capital(place):
            led_up = has_tag(parse, place - 1, "before.person")
            joined = has_tag(parse, place - 1, "join.and")
            return (joined or not led_up) and own_told(parse)
    return False


_FOR = ("for", "para")


def _for_somebody(parse: Parse, quantity: Quantity) -> bool:
    """ "20 for me, 35 for him"; not "15 for the nurse", who held the watch."""
    after = quantity.last + 1
    if word_at(parse, after) not in _FOR or not has_tag(parse, after + 1, *_PERSONS):
        return False
    return any(
        word_at(parse, place - 1) in _FOR
        for tag in ("self.i", "self.my")
        for place in parse.places(tag)
    )


def someone_elses(parse: Parse, quantity: Quantity) -> bool:
    """ "my husband did 30"."""
    if scope.for_another(parse):
        return False
    if parse.seen.isdisjoint(_PERSONS) or ("unknown" in parse.seen and _of_a_name(parse, quantity)):
        return "unknown" in parse.seen and _of_a_name(parse, quantity)
    if has_tag(parse, quantity.first - 1, *_PERSONS):
        return not has_tag(parse, quantity.first - 2, "before.person") and _own_beside(parse)
    return _for_somebody(parse, quantity) or _held_by_somebody(parse, quantity)


def _held_by_somebody(parse: Parse, quantity: Quantity) -> bool:
    """A person and a word of holding lead up to it."""
    held = False
    for place in range(quantity.first - 1, max(-1, quantity.first - 8), -1):
        if has_tag(parse, place, "stop", "comma", "self.i", "self.my", "digits", "side"):
            return False
        if has_tag(parse, place, *_PERSONS):
            return held and not has_tag(parse, place - 1, "before.person")
        held = held or has_tag(parse, place, "count.hold_words")
    return False
