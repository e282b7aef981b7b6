"""Every number in a reply, in digits or words, and which of them are seconds held."""

from dataclasses import dataclass, replace

from service.reply.units import Parse, Unit

# Without a unit, more than this is no hold; with one, this much is still believed.
LONGEST_BARE_S = 180
LONGEST_S = 600
# "1:15" is a hold up to these minutes; beyond, it is a time of day.
MOST_MINUTES = 2


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number over units first..last; `said_s` when seconds or minutes were named."""

    value: float
    first: int
    last: int
    said_s: bool = False
    word: bool = False
    times: int = 1


def _float(word: str) -> float:
    return float(word) if len(word) <= 12 else float("inf")


def _glued(parse: Parse, index: int) -> bool:
    """Whether unit index touches the one before it."""
    units, tokens = parse.units, parse.tokens
    return index > 0 and tokens.ends[units[index - 1].end - 1] == tokens.starts[units[index].start]


def raw_numbers(parse: Parse) -> list[Quantity]:
    """Numbers with compound words joined: "twenty five", "20,5", "1:15", "1m20"."""
    units = parse.units
    found: list[Quantity] = []
    index, count = 0, len(units)
    while index < count:
        tags = units[index].tags
        if "digits" in tags or units[index].word == "0":
            quantity = _digits(parse, index)
        elif "number" in tags:
            quantity = _word_number(parse, index)
        elif "span" in tags:
            quantity = Quantity(
                float(units[index].value or 0), index, index, said_s=True, word=True
            )
        else:
            index += 1
            continue
        quantity = _with_unit(parse, quantity)
        found.append(quantity)
        index = quantity.last + 1
    return found


def _digits(parse: Parse, index: int) -> Quantity:
    units = parse.units
    word = units[index].word
    value = _float(word)
    if (
        index + 2 < len(units)
        and units[index + 1].word == ","
        and "digits" in units[index + 2].tags
        and len(units[index + 2].word) == 1
        and _glued(parse, index + 1)
        and _glued(parse, index + 2)
        and word.isdigit()
    ):
        return Quantity(_float(f"{word}.{units[index + 2].word}"), index, index + 2)
    return Quantity(value, index, index)


def _word_number(parse: Parse, index: int) -> Quantity:
    units = parse.units
    value = float(units[index].value or 0)
    after = index + 1
    if after < len(units) and units[after].word == "-" and _glued(parse, after):
        after += 1
    if after < len(units) and "number" in units[after].tags:
        more = float(units[after].value or 0)
        if value >= 20 and value % 10 == 0 and value < 100 and 1 <= more <= 9:
            return Quantity(value + more, index, after, word=True)
        if value < 10 and more == 100:
            return Quantity(value * 100, index, after, word=True)
    return Quantity(value, index, index, word=True)


def _tag_at(units: list[Unit], index: int, tag: str) -> bool:
    return index < len(units) and tag in units[index].tags


def _with_unit(parse: Parse, quantity: Quantity) -> Quantity:
    units = parse.units
    value, last = quantity.value, quantity.last
    after = last + 1
    if _tag_at(units, after, "unit.half") and value < 100:
        value, last, after = value + 0.5, after, after + 1
    if after < len(units) and units[after].word == "-":
        after += _tag_at(units, after + 1, "unit.seconds")
    if _tag_at(units, after, "unit.seconds"):
        if _tag_at(units, after + 1, "unit.half"):
            return Quantity(value + 0.5, quantity.first, after + 1, True, quantity.word)
        return Quantity(value, quantity.first, after, True, quantity.word)
    if _tag_at(units, after, "unit.minutes"):
        return _minutes(parse, quantity, value, after)
    return replace(quantity, value=value, last=last)


def _minutes(parse: Parse, quantity: Quantity, value: float, unit: int) -> Quantity:
    """Minutes, and the seconds that may follow them: "1m20", "1 min 20 secs"."""
    units = parse.units
    after = unit + 1
    if _tag_at(units, after, "unit.half"):
        return Quantity(value * 60 + 30, quantity.first, after, True, quantity.word)
    if _tag_at(units, after, "join.and"):
        after += 1
    if after < len(units) and not units[after].tags.isdisjoint({"digits", "number"}):
        more = (
            _digits(parse, after) if "digits" in units[after].tags else _word_number(parse, after)
        )
        glued = after == unit + 1 and _glued(parse, after)
        named = _tag_at(units, more.last + 1, "unit.seconds")
        if more.value < 60 and (named or glued):
            return Quantity(value * 60 + more.value, quantity.first, more.last + named, True)
    return Quantity(value * 60, quantity.first, unit, True, quantity.word)


def holds_among(parse: Parse, numbers: list[Quantity]) -> list[Quantity]:
    """The numbers that are seconds held, with ranges and "of" pairs made one, in order."""
    kept: list[Quantity] = []
    index = 0
    while index < len(numbers):
        index, quantity = _joined(parse, numbers, index)
        if quantity is not None and _plausible(quantity) and _is_hold(parse, quantity):
            kept.append(quantity)
    return kept


def _plausible(quantity: Quantity) -> bool:
    if quantity.said_s:
        return quantity.value <= LONGEST_S
    return quantity.value <= LONGEST_BARE_S


def _joined(parse: Parse, numbers: list[Quantity], index: int) -> tuple[int, Quantity | None]:
    """The quantity that starts at numbers[index], and the index after all that it takes in."""
    units = parse.units
    one = numbers[index]
    two = numbers[index + 1] if index + 1 < len(numbers) else None
    if two is None:
        return index + 1, one
    between = units[one.last + 1 : two.first]
    if len(between) == 1:
        link = between[0]
        if link.word == ":":
            return _colon(parse, one, two, index)
        if link.word == "/":
            return _slash(numbers, one, two, index)
        if "join.out_of" in link.tags and not one.word:
            return index + 2, replace(one, last=two.last, said_s=one.said_s or two.said_s)
        if "join.range" in link.tags and one.value < two.value:
            if link.word == "-" and _third(parse, numbers, index):
                return index + 3, None
            return index + 2, replace(one, last=two.last, said_s=one.said_s or two.said_s)
        if link.word == "-" and (one.value > 1900 or len(units[one.first].word) > 2):
            return index + 2, None
        if "join.times" in link.tags and min(one.value, two.value) <= 5:
            return index + 2, _times(one, two)
        if link.word == "'":
            return index + 2, None
    elif len(between) == 2 and "set.of" in between[0].tags:
        return index + 2, _times(one, two)
    return index + 1, one


def _third(parse: Parse, numbers: list[Quantity], index: int) -> bool:
    if index + 2 >= len(numbers):
        return False
    gap = parse.units[numbers[index + 1].last + 1 : numbers[index + 2].first]
    return len(gap) == 1 and gap[0].word == "-"


def _colon(parse: Parse, one: Quantity, two: Quantity, index: int) -> tuple[int, Quantity | None]:
    after = parse.units[two.last + 1] if two.last + 1 < len(parse.units) else None
    before = parse.units[one.first - 1] if one.first else None
    clock = (after is not None and after.word in ("am", "pm")) or (
        before is not None and before.word in ("at", "@", "around", "by")
    )
    if not _glued(parse, one.last + 1):
        return index + 1, None
    if len(parse.units[two.first].word) != 2:
        return index + 1, None
    if clock or one.value > MOST_MINUTES or two.value >= 60:
        return index + 2, None
    return index + 2, Quantity(one.value * 60 + two.value, one.first, two.last, said_s=True)


def _slash(
    numbers: list[Quantity], one: Quantity, two: Quantity, index: int
) -> tuple[int, Quantity | None]:
    if one.value >= 70 and two.value >= 40 and one.value > two.value:
        return index + 2, None
    if one.value <= two.value:
        return index + 2, replace(one, last=two.last, said_s=one.said_s or two.said_s)
    return index + 1, one


def _times(one: Quantity, two: Quantity) -> Quantity:
    """Sets: "3 x 20", "20s x 3"."""
    fewer, hold = (one, two) if one.value <= two.value and not one.said_s else (two, one)
    times = int(fewer.value) if 1 <= fewer.value <= 5 else 1
    return Quantity(hold.value, one.first, two.last, hold.said_s, hold.word, times)


_SMALL_WORD = 4
_ENDS = frozenset(
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
        "wobbly.word",
        "wobbly.touch",
        "set.twice",
    }
)


def _is_hold(parse: Parse, quantity: Quantity) -> bool:
    units = parse.units
    before = units[quantity.first - 1] if quantity.first else None
    after = units[quantity.last + 1] if quantity.last + 1 < len(units) else None
    if quantity.said_s:
        return not _aside(before) and not (after is not None and "count.short" in after.tags)
    if after is not None and "count.after" in after.tags and not _is_side_word(after):
        return False
    if before is not None and ("count.before" in before.tags or _age(parse, quantity)):
        return False
    if before is not None and "count.clock" in before.tags and _clock(parse, quantity):
        return False
    if quantity.word and quantity.value <= _SMALL_WORD:
        return after is None or not after.tags.isdisjoint(_ENDS)
    if after is not None and "unknown" in after.tags and after.word.endswith("s"):
        return False
    return True


def _is_side_word(unit: Unit) -> bool:
    return "side" in unit.tags


def _aside(before: Unit | None) -> bool:
    return (
        before is not None
        and "count.before" in before.tags
        and before.word in ("target", "goal", "aim", "yesterday")
    )


def _age(parse: Parse, quantity: Quantity) -> bool:
    """ "I'm 84": an age, unless a hold follows from the rest."""
    before = parse.units[quantity.first - 1]
    return before.word in ("'m", "im", "am") and quantity.value >= 55


def _clock(parse: Parse, quantity: Quantity) -> bool:
    """Whether "at 10" is a time of day: not after stopping, and with a day's business near."""
    units = parse.units
    if quantity.value > 12 or quantity.value != int(quantity.value):
        return False
    for place in range(max(0, quantity.first - 6), quantity.first):
        if (
            "count.stopped_at" in units[place].tags
            or "wobbly.touch" in units[place].tags
            or ("wobbly.word" in units[place].tags)
        ):
            return False
    lo, hi = max(0, quantity.first - 8), min(len(units), quantity.last + 6)
    for place in range(lo, hi):
        tags = units[place].tags
        if not tags.isdisjoint({"count.day_words", "old.recent", "other.professional"}):
            return True
    return False
