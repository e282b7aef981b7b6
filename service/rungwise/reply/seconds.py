"""Which of a reply's numbers are seconds held, and which are times, dates, ages or counts."""

from collections.abc import Callable

from rungwise.reply.clock_words import of_the_clock, still_to_come
from rungwise.reply.corrections import corrected
from rungwise.reply.events import is_event
from rungwise.reply.numbers import MOST_BRIEF, Quantity, counts, has_tag, numbers, word_at
from rungwise.reply.others_numbers import age, someone_elses
from rungwise.reply.pairs import MOST_SETS, joined
from rungwise.reply.units import Parse, sentence

# Without a unit, more than this is no hold; with one, this much is still believed.
LONGEST_BARE_S = 180.0
LONGEST_S = 600.0
# A number written in words up to this needs something to show that it counts seconds.
FEW = 4


def holds_told(parse: Parse) -> list[Quantity]:
    """The seconds held, in the order told, with ranges, "of" pairs and sets each made one."""
    told = numbers(parse)
    kept: list[Quantity] = []
    index = 0
    while index < len(told):
        index, quantity = joined(parse, told, index)
        if quantity is not None and _is_hold(parse, quantity):
            kept.append(quantity)
    if _a_list_of_things(parse, told):
        return []
    today = [q for q in _counted_out(kept) if not _another_days(parse, q)]
    return _settled(parse, corrected(parse, today or kept))


def _counted_out(held: list[Quantity]) -> list[Quantity]:
    """Without the counting that leads to the hold: "one, two, three... up to 20"."""
    first = [one.value for one in held[:2]]
    if len(held) < 3 or first != [1, 2]:
        return held
    run = next((n for n, one in enumerate(held) if one.value != n + 1), len(held) - 1)
    return held[run:]


_TOLD = frozenset(
    {"unit.seconds", "count.hold_words", "side", "steady.firm", "wobbly.word", "wobbly.touch"}
)


def _a_list_of_things(parse: Parse, told: list[Quantity]) -> bool:
    """Whether the text only counts things: "eggs 12, spuds 5lb, 3 onions"."""
    if len(told) < 3 or not parse.seen.isdisjoint(_TOLD):
        return False
    things = sum(counts(parse, one) or _unknown_things(parse, one) for one in told)
    return things >= 2


def _another_days(parse: Parse, quantity: Quantity) -> bool:
    """ "yesterday 9", "9 yesterday"."""
    if has_tag(parse, quantity.first - 1, "count.past"):
        return True
    after = quantity.last + 1
    if has_tag(parse, after, "scope.through"):
        after += 1  # "the 13 was yesterday"
    return has_tag(parse, after, "count.past") and has_tag(parse, after, "old.recent")


_FREE = frozenset(
    {
        "stop",
        "comma",
        "mark",
        "join.and",
        "scope.but",
        "side",
        "digits",
        "number",
        "steady.firm",
        "steady.praise",
        "steady.denied",
        "wobbly.word",
        "wobbly.touch",
        "wobbly.balance",
        "wobbly.poor",
        "set.twice",
        "set.thrice",
        "fix.phrase",
        "fall.near",
        "neg.no",
    }
)


_ENDS = frozenset({"stop", "comma", "mark", "join.and", "scope.but", "side"})


def _is_hold(parse: Parse, quantity: Quantity) -> bool:
    longest = LONGEST_S if quantity.unit else LONGEST_BARE_S
    if not quantity.value <= longest or (quantity.value == 0 and _nothing_counted(parse, quantity)):
        return False
    tests = _WITH_UNIT if quantity.unit else _BARE
    return not any(test(parse, quantity) for test in tests)


def _nothing_counted(parse: Parse, quantity: Quantity) -> bool:
    """Whether a nought speaks of falls or pain, not of seconds: "pain 0", "0 falls"."""
    beside = (quantity.first - 1, quantity.last + 1)
    return any(
        0 <= place < len(parse.units)
        and (is_event(parse.units[place]) or has_tag(parse, place, *_BESIDE))
        for place in beside
    )


_BESIDE = frozenset({"wobbly.word", "wobbly.touch", "scope.or", "neg.no", "unknown"})


def _labelled(parse: Parse, quantity: Quantity) -> bool:
    """ "set 2: 15": the number of a try, not a hold; "second try 14" is a hold."""
    if not has_tag(parse, quantity.first - 1, "count.label"):
        return False
    if has_tag(parse, quantity.first - 2, "count.ordinal"):
        return False
    after = word_at(parse, quantity.last + 1)
    return after in (":", "-", "=", ".", ")", "was") or has_tag(
        parse, quantity.last + 1, "digits", "number"
    )


def _of_an_age(parse: Parse, quantity: Quantity) -> bool:
    """ "as a girl of 12"."""
    return has_tag(parse, quantity.first - 1, "join.out_of") and has_tag(
        parse, quantity.first - 2, "old.long"
    )


def _listed(parse: Parse, quantity: Quantity) -> bool:
    """ "1) 20 2) 15": a numbered list."""
    after = word_at(parse, quantity.last + 1)
    if after == ")":
        return word_at(parse, quantity.first - 1) != "("
    apart = after == "." and parse.glued(quantity.last + 1) and not parse.glued(quantity.last + 2)
    return (
        apart
        and quantity.value <= MOST_SETS
        and has_tag(parse, quantity.last + 2, "digits", "number")
    )


def _in_code(parse: Parse, quantity: Quantity) -> bool:
    """ "alert(1)": glued into brackets after a word."""
    before, after = quantity.first - 1, quantity.last + 1
    return (
        word_at(parse, before) == "("
        and word_at(parse, after) == ")"
        and parse.glued(before)
        and parse.glued(quantity.first)
        and word_at(parse, before - 1).isalpha()
    )


def _unknown_things(parse: Parse, quantity: Quantity) -> bool:
    """Whether an unknown plural follows: "14 begonias"."""
    after = word_at(parse, quantity.last + 1)
    if not has_tag(parse, quantity.last + 1, "unknown"):
        return False
    if after.endswith("s") and len(after) > 3:
        return True
    return has_tag(parse, quantity.first - 1, "count.clock") or parse.capital(quantity.last + 1)


def _dotted_clock(parse: Parse, quantity: Quantity) -> bool:
    """ "10.30": a time of day written with a dot."""
    whole, _, part = word_at(parse, quantity.first).partition(".")
    if len(part) != 2 or not whole.isdecimal() or int(whole[:4]) > 23:
        return False
    return int(part) < 60 and int(part) % 5 == 0


def _clock(parse: Parse, quantity: Quantity) -> bool:
    """Whether "at 10" is a time of day: the day's business is near, and no stopping at 10."""
    if not has_tag(parse, quantity.first - 1, "count.clock") or quantity.value > 12:
        return False
    if quantity.value != int(quantity.value):
        return False
    for place in range(quantity.first - 1, max(-1, quantity.first - 8), -1):
        if has_tag(parse, place, "other.professional", "stop"):
            break
        if has_tag(
            parse, place, "count.stopped_at", "wobbly.touch", "wobbly.word", "wobbly.balance"
        ):
            return False
    near = range(quantity.first - 9, quantity.last + 7)
    return any(
        has_tag(parse, place, "count.day_words", "old.recent", "other.professional", "other.person")
        for place in near
    )


def _few(parse: Parse, quantity: Quantity) -> bool:
    """ "two" or "one" that nothing shows to be seconds."""
    if not quantity.word or quantity.value > FEW:
        return False
    if quantity.value == 1 and len(parse.units) > 1:
        if not has_tag(parse, quantity.first - 1, "count.hold_words", "side"):
            return True
        next_ = quantity.last + 1
        return next_ < len(parse.units) and not has_tag(parse, next_, *_ENDS)
    after = quantity.last + 1
    return after < len(parse.units) and not has_tag(parse, after, *_FREE)


def _pressure(parse: Parse, quantity: Quantity) -> bool:
    """The second number of a blood pressure: "la tensión 13 8"."""
    before = quantity.first - 1
    if not has_tag(parse, before, "digits", "number"):
        before -= 1
    if not has_tag(parse, before, "digits", "number") or before < 1:
        return False
    return has_tag(parse, before - 1, "count.pressure") or (
        has_tag(parse, before - 2, "count.pressure") and not has_tag(parse, before - 1, "stop")
    )


def _phone(parse: Parse, quantity: Quantity) -> bool:
    """Part of a long row of digits, such as a phone number."""
    word = word_at(parse, quantity.first)
    if len(word) >= 4 and word.isdecimal():
        return True
    before, after = word_at(parse, quantity.first - 1), word_at(parse, quantity.last + 1)
    if before == "-" and len(word_at(parse, quantity.first - 2)) >= 3:
        return word_at(parse, quantity.first - 2).isdecimal()
    return (len(before) >= 3 and before.isdecimal()) or (len(after) >= 3 and after.isdecimal())


def _height(parse: Parse, quantity: Quantity) -> bool:
    """Feet and inches, stones and pounds: 5'4", 11 stone 4."""
    after, before = word_at(parse, quantity.last + 1), word_at(parse, quantity.first - 1)
    if before in ("foot", "ft", "feet", "stone", "st") and has_tag(
        parse, quantity.first - 2, "digits", "number"
    ):
        return True
    return (after in ("'", '"') and quantity.value < 9 and parse.glued(quantity.last + 1)) or (
        before == "'" and parse.glued(quantity.first)
    )


_SHORT = ("short", "shy")


def _aim(parse: Parse, quantity: Quantity) -> bool:
    """What was aimed for, or held another time, or is missing: "5 short of 30"."""
    return has_tag(parse, quantity.first - 1, "count.before") or _missing(parse, quantity)


def _missing(parse: Parse, quantity: Quantity) -> bool:
    after = quantity.last + 1
    return word_at(parse, after) in _SHORT and has_tag(parse, after, "count.before")


def _asked_about(parse: Parse, quantity: Quantity) -> bool:
    """A number in a question that tells of no hold: "can we change the texts to 11?"."""
    if parse.seen.isdisjoint({"asks", "question.word"}) or quantity.unit:
        return False
    around = sentence(parse, quantity.first)
    first = next((p for p in around if not has_tag(parse, p, "polite.word", "comma")), around.start)
    marked = around.stop < len(parse.units) and has_tag(parse, around.stop, "asks")
    if first > quantity.first or not has_tag(parse, first, "question.word", "question.opens"):
        return False
    if not marked and not {"question.word", "question.opens"} <= parse.units[first].tags:
        return False
    return not any(has_tag(parse, place, "count.hold_words", "side") for place in around)


def _on_the_floor(parse: Parse, quantity: Quantity) -> bool:
    """How long, or since when: "lying here since 6"."""
    if "emergency.floor" not in parse.seen:
        return False
    around = sentence(parse, quantity.first)
    return any(has_tag(parse, place, "emergency.floor") for place in around)


def _activity(parse: Parse, quantity: Quantity) -> bool:
    """Minutes of walking or practice: whole minutes, with that activity near."""
    if quantity.value < 120 or quantity.value % 60:
        return False
    return quantity.value > 180 or any(
        has_tag(parse, place, "count.activity")
        for place in range(quantity.first - 6, quantity.last + 5)
    )


def _moment(parse: Parse, quantity: Quantity) -> bool:
    """ "give me 10 minutes", "10 seconds longer": no hold."""
    after = quantity.last + 1
    if quantity.word and quantity.value == 60 and word_at(parse, quantity.first - 1) == "for":
        held = range(quantity.first - 5, quantity.first)
        return not any(has_tag(parse, place, "count.hold_words") for place in held)
    if has_tag(parse, after, "count.brief"):
        return quantity.value <= MOST_BRIEF
    if has_tag(parse, after + 1, "steady.praise", "steady.firm"):
        return False  # "20 secs less easy"
    return has_tag(parse, after, "count.compared")


_Test = Callable[[Parse, Quantity], bool]
_WITH_UNIT: tuple[_Test, ...] = (_aim, _activity, _moment, someone_elses, still_to_come)
_BARE: tuple[_Test, ...] = (
    _labelled,
    _listed,
    _in_code,
    counts,
    _unknown_things,
    age,
    _dotted_clock,
    _clock,
    of_the_clock,
    still_to_come,
    _few,
    _pressure,
    _phone,
    _height,
    _missing,
    someone_elses,
    _on_the_floor,
    _asked_about,
    _of_an_age,
)


_AT = frozenset({"count.clock", "scope.through"})


def _settled(parse: Parse, held: list[Quantity]) -> list[Quantity]:
    """Without the moments of a wobble inside a longer hold: "20, wobbled at 12"."""
    if len(held) < 2:
        return held
    longest = max(quantity.value for quantity in held)
    return [q for q in held if q.value >= longest or not _moment_of_wobble(parse, q)]


def _moment_of_wobble(parse: Parse, quantity: Quantity) -> bool:
    place = quantity.first - 1
    if has_tag(parse, place, "join.and") and has_tag(parse, place - 1, "digits"):
        place -= 2
    if not has_tag(parse, place, "count.clock"):
        return False
    while has_tag(parse, place - 1, "count.clock"):
        place -= 1
    for earlier in range(place - 1, max(-1, place - 5), -1):
        if has_tag(parse, earlier, *_HAPPENED):
            return True
        if not has_tag(parse, earlier, "scope.through", "unknown", "body", "scope.to_place"):
            break
    return _then_shook(parse, quantity)


_HAPPENED = (
    "wobbly.word",
    "wobbly.touch",
    "wobbly.balance",
    "pain.noun",
    "pain.verb",
    "pain.phrase",
    "steady.firm",
    "steady.praise",
)


def _then_shook(parse: Parse, quantity: Quantity) -> bool:
    """ "fine till 15 then I shook": the number only says when."""
    after = quantity.last + 1
    if has_tag(parse, after, "comma"):
        after += 1
    if not has_tag(parse, after, "scope.but", "join.and"):
        return False
    return any(has_tag(parse, place, *_HAPPENED[:3]) for place in range(after + 1, after + 5))
