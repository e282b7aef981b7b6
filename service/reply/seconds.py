"""Which of a reply's numbers are seconds held, and which are times, dates, ages or counts."""

from collections.abc import Callable
from dataclasses import replace

from service.reply import scope
from service.reply.numbers import Quantity, has_tag, numbers, word_at
from service.reply.units import Parse

# Without a unit, more than this is no hold; with one, this much is still believed.
LONGEST_BARE_S = 180.0
LONGEST_S = 600.0
# "1:15" is a hold up to these minutes; beyond, it is a time of day.
MOST_MINUTES = 2
# A number written in words up to this needs something to show that it counts seconds.
FEW = 4
MOST_SETS = 6
# "a 3 second wobble": up to this, the length of the wobble.
MOST_BRIEF_S = 5
# "I'm 84": from here on, a bare number after "I am" is an age.
LEAST_AGE = 55

_Joined = tuple[int, Quantity | None]


def holds_told(parse: Parse) -> list[Quantity]:
    """The seconds held, in the order told, with ranges, "of" pairs and sets each made one."""
    told = numbers(parse)
    kept: list[Quantity] = []
    index = 0
    while index < len(told):
        index, quantity = _joined(parse, told, index)
        if quantity is not None and _is_hold(parse, quantity):
            kept.append(quantity)
    today = [q for q in kept if not has_tag(parse, q.first - 1, "count.past")]
    return _settled(parse, _corrected(parse, today or kept))


def _joined(parse: Parse, told: list[Quantity], index: int) -> _Joined:
    """The quantity that starts at told[index], and the index after all that it takes in."""
    one = told[index]
    if index + 1 >= len(told):
        return index + 1, _sets_after(parse, one)
    two = told[index + 1]
    gap = two.first - one.last - 1
    if gap == 1:
        for join in (_colon, _slash, _out_of, _range, _times):
            found = join(parse, told, index)
            if found is not None:
                return found
    if gap == 2 and has_tag(parse, one.last + 1, "join.range") and one.value < two.value:
        if has_tag(parse, one.last + 2, "join.range"):
            return index + 2, _both(one, two)
    if gap <= 2 and _between(parse, one) and one.value < two.value:
        return index + 2, _both(one, two)
    return index + 1, _sets_after(parse, one)


def _both(one: Quantity, two: Quantity) -> Quantity:
    return replace(one, last=two.last, unit=one.unit or two.unit)


def _between(parse: Parse, one: Quantity) -> bool:
    return has_tag(parse, one.first - 1, "join.between") and word_at(parse, one.first - 1) != "from"


def _colon(parse: Parse, told: list[Quantity], index: int) -> _Joined | None:
    """ "1:15" is a hold, "9:30" a time of day, "set 1: 20" a label and a hold."""
    one, two = told[index], told[index + 1]
    if word_at(parse, one.last + 1) != ":":
        return None
    glued = parse.glued(one.last + 1) and parse.glued(two.first)
    if not glued or len(word_at(parse, two.first)) != 2:
        return index + 1, None
    clock = has_tag(parse, one.first - 1, "count.clock") or word_at(parse, two.last + 1) in (
        "am",
        "pm",
        "a",
        "p",
    )
    if clock or one.value > MOST_MINUTES or two.value >= 60:
        return index + 2, None
    return index + 2, Quantity(one.value * 60 + two.value, one.first, two.last, "s")


def _slash(parse: Parse, told: list[Quantity], index: int) -> _Joined | None:
    """ "10/12" is 10 of 12; "20/15" two holds; "130/80" and dates no holds."""
    one, two = told[index], told[index + 1]
    if word_at(parse, one.last + 1) != "/":
        return None
    if word_at(parse, two.last + 1) == "/" and has_tag(parse, two.last + 2, "digits"):
        return (index + 3, None) if told[index + 2].value > 99 else (index + 1, one)
    if one.value >= 70 and two.value >= 40 and one.value > two.value and not one.unit:
        return index + 2, None
    if _pain_score(parse, one, two):
        return index + 2, None
    if one.first == 0 and one.value <= 12 and two.value <= 31 and not one.unit:
        if has_tag(parse, two.last + 1, "digits", "number", "side") or (
            word_at(parse, two.last + 1) == ":"
        ):
            return index + 2, None
    if one.value <= two.value:
        return index + 2, _both(one, two)
    if index == 0 and one.value <= 31 and two.value <= 12 and len(told) > 2 and not one.unit:
        return index + 2, None
    return index + 1, one


def _pain_score(parse: Parse, one: Quantity, two: Quantity) -> bool:
    """ "knee pain 4/10": out of ten, with a pain told just before or after."""
    if two.value != 10 or one.value > 10 or one.unit:
        return False
    near = (*range(one.first - 4, one.first), *range(two.last + 1, two.last + 4))
    return any(has_tag(parse, place, "pain.noun", "pain.verb", "pain.phrase") for place in near)


def _out_of(parse: Parse, told: list[Quantity], index: int) -> _Joined | None:
    one, two = told[index], told[index + 1]
    if has_tag(parse, one.last + 1, "join.out_of") and _pain_score(parse, one, two):
        return index + 2, None
    if has_tag(parse, one.last + 1, "join.out_of") and one.value <= two.value:
        if word_at(parse, one.last + 1) == "of" and one.value <= MOST_SETS and one.word:
            return None
        return index + 2, _both(one, two)
    if has_tag(parse, one.last + 1, "join.over") and one.value >= 70 and two.value >= 40:
        return index + 2, None
    return None


def _range(parse: Parse, told: list[Quantity], index: int) -> _Joined | None:
    """ "10-15" and "10 or 12" give the lower; "2026-11-25" is no hold."""
    one, two = told[index], told[index + 1]
    if not has_tag(parse, one.last + 1, "join.range") or _counts(parse, one):
        return None
    if word_at(parse, one.last + 1) == "-":
        if word_at(parse, two.last + 1) == "-" and has_tag(parse, two.last + 2, "digits"):
            return index + 3, None
        if max(len(word_at(parse, one.first)), len(word_at(parse, two.first))) > 2 and not two.unit:
            return index + 2, None
    if one.value < two.value:
        return index + 2, _both(one, two)
    return None


def _times(parse: Parse, told: list[Quantity], index: int) -> _Joined | None:
    """Sets: "3 x 20", "20s x 3", "two sets of 15"."""
    one, two = told[index], told[index + 1]
    if not has_tag(parse, one.last + 1, "join.times"):
        return None
    fewer, hold = (one, two) if one.value <= two.value and not one.unit else (two, one)
    if fewer.unit or fewer.value > MOST_SETS or fewer.value != int(fewer.value):
        return None
    return index + 2, Quantity(
        hold.value, one.first, two.last, hold.unit, hold.word, max(1, int(fewer.value))
    )


def _sets_after(parse: Parse, one: Quantity) -> Quantity:
    """ "20 twice"."""
    for tag, times in (("set.twice", 2), ("set.thrice", 3)):
        if has_tag(parse, one.last + 1, tag):
            return replace(one, times=times)
    return one


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


def _is_hold(parse: Parse, quantity: Quantity) -> bool:
    longest = LONGEST_S if quantity.unit else LONGEST_BARE_S
    if not quantity.value <= longest or (quantity.value == 0 and not quantity.unit):
        return False
    tests = _WITH_UNIT if quantity.unit else _BARE
    return not any(test(parse, quantity) for test in tests)


def _labelled(parse: Parse, quantity: Quantity) -> bool:
    """ "set 2: 15": the number of a try, not a hold; "second try 14" is a hold."""
    if not has_tag(parse, quantity.first - 1, "count.label"):
        return False
    if has_tag(parse, quantity.first - 2, "count.ordinal", "unit.seconds"):
        return False
    after = word_at(parse, quantity.last + 1)
    return after in (":", "-", "=", ".", ")", "was") or has_tag(
        parse, quantity.last + 1, "digits", "number"
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


def _counts(parse: Parse, quantity: Quantity) -> bool:
    """Whether it counts something that follows, or belongs to something before it."""
    after = quantity.last + 1
    if word_at(parse, after) == "-" and has_tag(parse, after + 1, "count.after"):
        after += 1
    if has_tag(parse, after, "count.after") and not has_tag(parse, after, "side"):
        return True
    return has_tag(parse, quantity.first - 1, "count.before")


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


def _age(parse: Parse, quantity: Quantity) -> bool:
    """Whether it is an age, as in "I'm 84" or "not bad for 86"."""
    if quantity.value < LEAST_AGE:
        return False
    if has_tag(parse, quantity.first - 1, "count.am"):
        return True
    return word_at(parse, quantity.first - 1) == "for" and not has_tag(
        parse, quantity.first - 2, "count.hold_words"
    )


def _clock(parse: Parse, quantity: Quantity) -> bool:
    """Whether "at 10" is a time of day: the day's business is near, and no stopping at 10."""
    if not has_tag(parse, quantity.first - 1, "count.clock") or quantity.value > 12:
        return False
    if quantity.value != int(quantity.value):
        return False
    for place in range(max(0, quantity.first - 7), quantity.first):
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
        return not has_tag(parse, quantity.first - 1, "count.hold_words", "side")
    after = quantity.last + 1
    return after < len(parse.units) and not has_tag(parse, after, *_FREE)


def _someone_elses(parse: Parse, quantity: Quantity) -> bool:
    """ "my husband did 30"."""
    if parse.seen.isdisjoint({"other.person", "other.pronoun"}) or scope.for_another(parse):
        return False
    held = False
    for place in range(quantity.first - 1, max(-1, quantity.first - 8), -1):
        if has_tag(parse, place, "stop", "comma", "self.i", "self.my", "digits", "side"):
            return False
        if has_tag(parse, place, "other.person", "other.pronoun"):
            return held and not has_tag(parse, place - 1, "before.person")
        held = held or has_tag(parse, place, "count.hold_words")
    return False


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
    """Feet and inches: 5'4"."""
    after, before = word_at(parse, quantity.last + 1), word_at(parse, quantity.first - 1)
    if before in ("foot", "ft", "feet") and has_tag(parse, quantity.first - 2, "digits", "number"):
        return True
    return (after in ("'", '"') and quantity.value < 9 and parse.glued(quantity.last + 1)) or (
        before == "'" and parse.glued(quantity.first)
    )


def _aim(parse: Parse, quantity: Quantity) -> bool:
    """What was aimed for, or held another time."""
    return has_tag(parse, quantity.first - 1, "count.before")


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
    if has_tag(parse, after, "count.brief"):
        return quantity.value <= MOST_BRIEF_S
    return has_tag(parse, after, "count.compared")


_Test = Callable[[Parse, Quantity], bool]
_WITH_UNIT: tuple[_Test, ...] = (_aim, _activity, _moment, _someone_elses)
_BARE: tuple[_Test, ...] = (
    _labelled,
    _listed,
    _counts,
    _unknown_things,
    _age,
    _dotted_clock,
    _clock,
    _few,
    _phone,
    _height,
    _someone_elses,
)


def _corrected(parse: Parse, held: list[Quantity]) -> list[Quantity]:
    """ "20, sorry 25" is 25; "25 not 20" is 25; "not 20 but 25" is 25."""
    kept: list[Quantity] = []
    for number, quantity in enumerate(held):
        before = quantity.first - 1
        if has_tag(parse, before, "comma"):
            before -= 1
        if kept and has_tag(parse, before, "join.not") and number:
            continue
        if kept and _swapped(parse, kept[-1].last + 1, quantity.first):
            kept.pop()
        kept.append(quantity)
    return kept


def _swapped(parse: Parse, first: int, last: int) -> bool:
    """Whether only words of correction stand between two numbers."""
    found = False
    for place in range(first, last):
        if has_tag(parse, place, "join.swap"):
            found = True
        elif not has_tag(
            parse, place, "comma", "stop", "mark", "scope.through", "scope.but", "polite.word"
        ):
            return False
    return found


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
    for earlier in range(place - 1, max(-1, place - 5), -1):
        if has_tag(parse, earlier, "wobbly.word", "wobbly.touch", "wobbly.balance", "pain.noun"):
            return True
        if not has_tag(parse, earlier, "scope.through", "unknown"):
            return False
    return False
