"""Every number in a reply, in digits or words, with the unit it was given."""

from dataclasses import dataclass, replace

from rungwise.reply.units import Parse

NEVER = float("inf")
# "2 wobbles", "a 3 second wobble": up to this, how many or how long, not a hold.
MOST_BRIEF = 5


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number over units first..last.

    `unit` is "s" when seconds or minutes were named (then `value` is in seconds), else "".
    `word` when it was written in words. `times` how many sets of it were told.
    """

    value: float
    first: int
    last: int
    unit: str = ""
    word: bool = False
    times: int = 1


def has_tag(parse: Parse, index: int, *tags: str) -> bool:
    """Whether unit `index` is there and has one of the tags."""
    return 0 <= index < len(parse.units) and not parse.units[index].tags.isdisjoint(tags)


def word_at(parse: Parse, index: int) -> str:
    """The first word of unit `index`, "" outside the text."""
    return parse.units[index].word if 0 <= index < len(parse.units) else ""


def _float(word: str) -> float:
    return float(word) if len(word) <= 12 else NEVER


def numbers(parse: Parse) -> list[Quantity]:
    """Numbers in order, compound ones joined: "twenty five", "20,5", "1m20", "half a minute"."""
    if parse.seen.isdisjoint({"digits", "number", "span", "neg.no"}):
        return []
    found: list[Quantity] = []
    index, count = 0, len(parse.units)
    while index < count:
        quantity = number_at(parse, index)
        if quantity is None:
            index += 1
            continue
        quantity = _with_unit(parse, quantity)
        found.append(quantity)
        index = quantity.last + 1
    return found


def number_at(parse: Parse, index: int) -> Quantity | None:
    """The bare number that starts at unit `index`."""
    unit = parse.units[index]
    tags = unit.tags
    if "span" in tags:
        return Quantity(float(unit.values["span"]), index, index, "s", True)
    if "digits" in tags or unit.word[0].isdecimal():
        if "digits" in tags or unit.end == unit.start + 1:
            return _digits(parse, index)
        return None
    if "number" in tags:
        return _words(parse, index)
    return None


def _digits(parse: Parse, index: int) -> Quantity:
    """A number in digits; a comma before one last digit is a decimal comma."""
    word = word_at(parse, index)
    tail = word_at(parse, index + 2)
    if (
        word_at(parse, index + 1) == ","
        and len(tail) == 1
        and tail.isdecimal()
        and word.isdecimal()
        and parse.glued(index + 1)
        and parse.glued(index + 2)
        and not parse.glued(index + 3)
    ):
        return Quantity(_float(f"{word}.{tail}"), index, index + 2)
    whole, dot, part = word.partition(".")
    if dot and not int(whole or 0) and len(part) == 2 and not _of_a_minute(parse, index + 1):
        return Quantity(_float(part), index, index, "s")  # "0.20", ".20": as a stopwatch shows it
    if _minutes_with_a_comma(parse, index):
        return Quantity(_float(word) + _float(tail) / 60, index, index + 2)
    return _pointed(parse, Quantity(_float(word), index, index))


def _of_a_minute(parse: Parse, index: int) -> bool:
    return has_tag(parse, index, "unit.minutes", "join.out_of", "span")


def _minutes_with_a_comma(parse: Parse, index: int) -> bool:
    """ "1,30 min": two figures of seconds after a comma."""
    tail = word_at(parse, index + 2)
    return (
        word_at(parse, index + 1) == ","
        and has_tag(parse, index + 3, "unit.minutes")
        and parse.glued(index + 1)
        and parse.glued(index + 2)
        and len(tail) == 2
        and tail.isdecimal()
        and int(tail) < 60
    )


def _words(parse: Parse, index: int) -> Quantity:
    """A number in words: "twenty five", "twenty-five", "treinta y cinco", "two hundred"."""
    value = float(parse.units[index].values["number"])
    after = index + 1
    if (word_at(parse, after) == "-" and parse.glued(after)) or has_tag(parse, after, "join.tens"):
        after += 1
    if has_tag(parse, after, "number"):
        more = float(parse.units[after].values["number"])
        tens = 20 <= value < 100 and value % 10 == 0
        if tens and 1 <= more <= 9 and not _counted_one(parse, after):
            return _pointed(parse, Quantity(value + more, index, after, "", True))
        if value < 10 and more == 100:
            return Quantity(value * 100, index, after, "", True)
    return _pointed(parse, Quantity(value, index, index, "", True))


def _counted_one(parse: Parse, index: int) -> bool:
    """Whether "one" there counts something else: "twenty one wobble"."""
    return has_tag(parse, index + 1, "wobbly.word", "wobbly.touch")


def _pointed(parse: Parse, quantity: Quantity) -> Quantity:
    """ "nineteen point five", "19 point 5"."""
    after = quantity.last + 2
    if has_tag(parse, quantity.last + 1, "unit.point") and after < len(parse.units):
        digit = (
            parse.units[after].values["number"]
            if has_tag(parse, after, "number")
            else word_at(parse, after)
        )
        if digit is not None and len(digit) == 1 and digit.isdecimal():
            return replace(quantity, value=quantity.value + int(digit) / 10, last=after)
    return quantity


def _with_unit(parse: Parse, quantity: Quantity) -> Quantity:
    if quantity.unit:
        return _minutes(parse, quantity, 1, quantity.last) if quantity.value == 60 else quantity
    value, last = quantity.value, quantity.last
    if has_tag(parse, last + 1, "unit.half") and value < 100:
        value, last = value + 0.5, last + 1
    after = last + 1
    between = word_at(parse, after) == "-" or has_tag(parse, after, "unit.whole")
    if between and has_tag(parse, after + 1, "unit.seconds", "unit.minutes"):
        after += 1
    if has_tag(parse, after, "unit.seconds") and not _ordinal(parse, after):
        if has_tag(parse, after + 1, "unit.half"):
            return Quantity(value + 0.5, quantity.first, after + 1, "s", quantity.word)
        return Quantity(value, quantity.first, after, "s", quantity.word)
    if has_tag(parse, after, "unit.minutes"):
        return _minutes(parse, quantity, value, after)
    return replace(quantity, value=value, last=last)


def _ordinal(parse: Parse, index: int) -> bool:
    """Whether "second" is the one after the first: "20, second try 15"."""
    return word_at(parse, index) == "second" and has_tag(
        parse, index + 1, "count.try", "count.label"
    )


def _minutes(parse: Parse, quantity: Quantity, value: float, unit: int) -> Quantity:
    """Minutes, and the seconds that may follow them: "1m20", "1 min and 20 secs"."""
    after = unit + 1
    clock = _as_on_a_clock(parse, quantity)
    if clock is not None:
        return Quantity(clock, quantity.first, unit, "s")
    if has_tag(parse, after, "unit.half"):
        return Quantity(value * 60 + 30, quantity.first, after, "s", quantity.word)
    less = number_at(parse, after + 1) if after + 1 < len(parse.units) else None
    if less is not None and has_tag(parse, after, "join.less") and less.value < 60:
        named = has_tag(parse, less.last + 1, "unit.seconds")
        last = less.last + named
        return Quantity(value * 60 - less.value, quantity.first, last, "s", quantity.word)
    joined = has_tag(parse, after, "join.and")
    more = number_at(parse, after + joined) if after + joined < len(parse.units) else None
    if more is not None and more.value < 60 and not more.unit:
        named = has_tag(parse, more.last + 1, "unit.seconds")
        if named or not _goes_on(parse, more, joined):
            return Quantity(value * 60 + more.value, quantity.first, more.last + named, "s")
    return Quantity(value * 60, quantity.first, unit, "s", quantity.word)


def _as_on_a_clock(parse: Parse, quantity: Quantity) -> float | None:
    """The seconds of "1.30 min", two figures after the dot as on a stopwatch; "1.5 min" is 90."""
    whole, _, part = word_at(parse, quantity.first).partition(".")
    if quantity.word or len(part) != 2 or not whole.isdecimal() or not part.isdecimal():
        return None
    return int(whole) * 60.0 + int(part) if len(whole) < 3 and int(part) < 60 else None


def _goes_on(parse: Parse, more: Quantity, joined: bool) -> bool:
    """Whether the number after the minutes is a hold of its own: "1 min and 20 on the left"."""
    after = more.last + 1
    if has_tag(parse, after, "side"):
        return True
    return joined and after < len(parse.units) and not has_tag(parse, after, "comma", "stop")


def counts(parse: Parse, quantity: Quantity) -> bool:
    """Whether it counts something that follows, or belongs to something before it."""
    after = quantity.last + 1
    if word_at(parse, after) == "-" and has_tag(parse, after + 1, "count.after"):
        after += 1
    if has_tag(parse, after, "count.after") and not has_tag(parse, after, "side"):
        return True
    if has_tag(parse, quantity.last + 1, "count.brief") and quantity.value <= MOST_BRIEF:
        return True
    return has_tag(parse, quantity.first - 1, "count.before")
