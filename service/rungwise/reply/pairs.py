"""Numbers that belong together: "1:15", "10/12", "12 of 20", "10 to 15", "3 x 20"."""

from collections.abc import Callable
from dataclasses import replace

from rungwise.reply.numbers import Quantity, counts, has_tag, numbers, word_at
from rungwise.reply.units import Parse

# "1:15" is a hold up to these minutes; beyond, it is a time of day.
MOST_MINUTES = 2
MOST_SETS = 6
# A pair from these on is a blood pressure.
SYSTOLIC, DIASTOLIC = 70, 40
_MONTHS, _DAYS, _HOURS = 12, 31, 12
WORST = 10  # of a pain
_LONGEST_IN_A_ROW = 60  # beyond, "20-25-99" is a number of something else
_AM_PM = frozenset({"am", "pm", "a", "p"})

# The index after all that a pair takes in, and what it comes to: None for no hold.
_Pair = tuple[int, Quantity | None]


def joined(parse: Parse, told: list[Quantity], index: int) -> _Pair:
    """The quantity that starts at told[index], and the index after all that it takes in."""
    one = told[index]
    if index + 1 >= len(told):
        return index + 1, _sets_after(parse, one)
    two = told[index + 1]
    gap = two.first - one.last - 1
    if gap == 0:
        clock = _time_of_day(parse, told, index)
        if clock is not None:
            return clock
    if gap == 1:
        for pair in _PAIRS:
            found = pair(parse, told, index)
            if found is not None:
                return found
    if one.value < two.value and (_twice_joined(parse, one, gap) or _between(parse, one, gap)):
        return index + 2, _both(one, two)
    return index + 1, _sets_after(parse, one)


def _twice_joined(parse: Parse, one: Quantity, gap: int) -> bool:
    """Two joining words: "12 or maybe 13"."""
    after = one.last + 1
    return (
        gap == 2 and has_tag(parse, after, "join.range") and has_tag(parse, after + 1, "join.range")
    )


def _both(one: Quantity, two: Quantity) -> Quantity:
    return replace(one, last=two.last, unit=one.unit or two.unit)


def _between(parse: Parse, one: Quantity, gap: int) -> bool:
    """ "between 10 and 15"; not "from 10", which may be where the client came from."""
    before = one.first - 1
    return gap <= 2 and has_tag(parse, before, "join.between") and word_at(parse, before) != "from"


def _colon(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """A hold in "1:15", a time of day in "9:30", a label and a hold in "set 1: 20"."""
    one, two = told[index], told[index + 1]
    if word_at(parse, one.last + 1) != ":":
        return None
    glued = parse.glued(one.last + 1) and parse.glued(two.first)
    if glued and one.value == 0 and word_at(parse, two.last + 1) == ":":
        return index + 1, None  # the hours of "00:00:20"
    if not glued or len(word_at(parse, two.first)) != 2:
        return index + 1, None
    clock = has_tag(parse, one.first - 1, "count.clock") or word_at(parse, two.last + 1) in _AM_PM
    if clock or one.value > MOST_MINUTES or two.value >= 60:
        return index + 2, None
    return index + 2, Quantity(one.value * 60 + two.value, one.first, two.last, "s")


def _primes(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """A minute and seconds in `1'10"`; from three on it is a height, 5'4"."""
    one, two = told[index], told[index + 1]
    if word_at(parse, one.last + 1) != "'" or one.unit or one.value > MOST_MINUTES:
        return None
    if not (parse.glued(one.last + 1) and parse.glued(two.first)) or two.value >= 60:
        return None
    last = two.last + (word_at(parse, two.last + 1) == '"')
    return index + 2, Quantity(one.value * 60 + two.value, one.first, last, "s")


def _slash(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """10 of 12 in "10/12", two holds in "20/15", none in "130/80" and dates."""
    one, two = told[index], told[index + 1]
    if word_at(parse, one.last + 1) != "/":
        return None
    if word_at(parse, two.last + 1) == "/" and has_tag(parse, two.last + 2, "digits"):
        return (index + 3, None) if told[index + 2].value > 99 else (index + 1, one)
    if _pressure(one, two) or counts(parse, one) or _pain_score(parse, one, two):
        return index + 2, None
    if _date(parse, told, index):
        return index + 2, None
    each = has_tag(parse, one.first - 1, "order.left", "order.right")  # "L/R 12/18"
    return (index + 2, _both(one, two)) if one.value <= two.value and not each else (index + 1, one)


def _pressure(one: Quantity, two: Quantity) -> bool:
    return not one.unit and one.value >= SYSTOLIC and DIASTOLIC <= two.value < one.value


def _date(parse: Parse, told: list[Quantity], index: int) -> bool:
    """Whether a pair that opens the text is a date: holds follow it at once."""
    one, two = told[index], told[index + 1]
    if one.first or one.unit:
        return False
    after = two.last + 1
    follows = has_tag(parse, after, "digits", "number", "side") or word_at(parse, after) == ":"
    if one.value <= _MONTHS and two.value <= _DAYS and follows:
        return True
    backwards = one.value > two.value and one.value <= _DAYS and two.value <= _MONTHS
    return backwards and len(told) > 2


def _pain_score(parse: Parse, one: Quantity, two: Quantity) -> bool:
    """ "knee pain 4/10": out of ten, with a pain told just before or after."""
    if two.value != WORST or one.value > WORST or one.unit:
        return False
    near = (*range(one.first - 4, one.first), *range(two.last + 1, two.last + 4))
    return any(has_tag(parse, place, "pain.noun", "pain.verb", "pain.phrase") for place in near)


def pain_told(parse: Parse) -> Quantity | None:
    """A pain score told without having been asked: "knee pain 4/10", "pain level 4"."""
    if parse.seen.isdisjoint({"digits", "number"}):
        return None
    told = numbers(parse)
    for place, one in enumerate(told):
        if one.value > WORST or one.unit or one.value != int(one.value):
            continue
        if has_tag(parse, one.first - 1, "count.before") and has_tag(
            parse, one.first - 1, "pain.noun"
        ):
            return one
        two = told[place + 1] if place + 1 < len(told) else None
        if two is None or two.first - one.last != 2 or not _pain_score(parse, one, two):
            continue
        if has_tag(parse, one.last + 1, "join.out_of"):
            return one
    return None


def _out_of(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """The first of "12 out of 20"; no hold in "130 over 80"."""
    one, two = told[index], told[index + 1]
    if has_tag(parse, one.last + 1, "join.out_of") and _pain_score(parse, one, two):
        return index + 2, None
    if has_tag(parse, one.last + 1, "join.out_of") and one.value <= two.value:
        if word_at(parse, one.last + 1) == "of" and one.value <= MOST_SETS and one.word:
            return None
        return index + 2, _both(one, two)
    if has_tag(parse, one.last + 1, "join.over") and _pressure(one, two):
        return index + 2, None
    return None


def _range(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """The lower of "10-15" and "10 or 12"; no hold in "2026-11-25" or "555-0199"."""
    one, two = told[index], told[index + 1]
    grown = has_tag(parse, one.first - 1, "join.grown")  # "improved from 12 to 18"
    if has_tag(parse, one.last + 1, "join.grown") or (
        grown and has_tag(parse, one.last + 1, "join.range")
    ):
        return index + 1, None
    if not has_tag(parse, one.last + 1, "join.range") or counts(parse, one):
        return None
    if word_at(parse, one.last + 1) == "-":
        if word_at(parse, two.last + 1) == "-" and has_tag(parse, two.last + 2, "digits"):
            return index + 3, None
        longest = max(len(word_at(parse, one.first)), len(word_at(parse, two.first)))
        if longest > 2 and not two.unit:
            return index + 2, None
    if one.value > two.value and two.value <= _HOURS and word_at(parse, one.last + 1) == "to":
        return index + 2, None  # "10 to 9" is a time of day
    return (index + 2, _both(one, two)) if one.value < two.value else None


def _times(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
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
    """ "20 twice", "twice for 20"."""
    before = one.first - 1
    if has_tag(parse, before, "scope.through") and not has_tag(parse, before, "scope.to_place"):
        before -= 1
    counted = has_tag(parse, before - 1, "digits", "number", "unit.seconds")
    for tag, times in (("set.twice", 2), ("set.thrice", 3)):
        if has_tag(parse, one.last + 1, tag) or (has_tag(parse, before, tag) and not counted):
            return replace(one, times=times)
    return one


def _in_a_row(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """The first of the tries in "20-20-18" or "20/20/18": three or more, which is no date."""
    mark = word_at(parse, told[index].last + 1)
    if mark not in ("-", "/"):
        return None
    first = last = index
    while first and _marked(parse, told, first - 1, mark):
        first -= 1
    while last + 1 < len(told) and _marked(parse, told, last, mark):
        last += 1
    row = told[first : last + 1]
    hours = [one for one in row[:2] if one.value <= _MONTHS]
    if len(row) < 3 or hours or any(one.unit or one.value > _LONGEST_IN_A_ROW for one in row):
        return None
    return index + 1, told[index]


def _marked(parse: Parse, told: list[Quantity], index: int, mark: str) -> bool:
    one, two = told[index], told[index + 1]
    return two.first == one.last + 2 and word_at(parse, one.last + 1) == mark


def _time_of_day(parse: Parse, told: list[Quantity], index: int) -> _Pair | None:
    """ "leaves at 10 30": two figures of minutes after an hour, with "at" before and no seconds."""
    one, two = told[index], told[index + 1]
    minutes = word_at(parse, two.first)
    if not has_tag(parse, one.first - 1, "count.clock") or len(minutes) != 2 or two.unit:
        return None
    hour = not one.unit and not one.word and 1 <= one.value <= 23 and one.value == int(one.value)
    held = any(
        has_tag(parse, place, "count.hold_words", "count.stopped_at")
        for place in range(one.first - 4, one.first)
    )
    if not hour or held or two.word or two.value >= 60 or parse.glued(two.first):
        return None
    return index + 2, None


_PAIRS: tuple[Callable[[Parse, list[Quantity], int], _Pair | None], ...] = (
    _in_a_row,
    _colon,
    _primes,
    _slash,
    _out_of,
    _range,
    _times,
)
