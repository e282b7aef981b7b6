"""Which hold, and which word on steadiness, belongs to which side.

Either side may come first: "L12 R9", "20 on the left 15 right". The reply is cut into segments at
pauses and joining words; a segment with one side gives it to all it holds, one with several pairs
them in the order in which the first two come.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from rungwise.reply.numbers import Quantity, has_tag, word_at
from rungwise.reply.reading import Context, Hold, Span
from rungwise.reply.seconds import holds_told
from rungwise.reply.units import Parse

MOST_HOLDS = 40
# More than this many holds, sides and words are no reply; it bounds the work.
MOST_ITEMS = 200
SideName = Literal["left", "right", "both"]
STEADINESS = frozenset(
    {
        "steady.firm",
        "steady.praise",
        "steady.denied",
        "wobbly.word",
        "wobbly.touch",
        "wobbly.balance",
        "wobbly.poor",
    }
)
_PAUSES = frozenset({"stop", "comma", "mark", "join.and", "scope.but"})


@dataclass(frozen=True, slots=True)
class Told:
    """A hold, a side, or a word on steadiness, at unit `place`..`last`.

    A side's `value` is its name, "" for a leg only called good or bad. A hold without a
    `quantity` is "the same", as the hold before it.
    """

    what: Literal["hold", "side", "word"]
    place: int
    last: int
    value: str = ""
    quantity: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Holds:
    """Holds with the words behind them; the side of each word on steadiness, by unit."""

    holds: tuple[Hold, ...] = ()
    spans: tuple[Span, ...] = ()
    word_sides: tuple[tuple[int, SideName], ...] = ()
    places: tuple[tuple[int, int], ...] = ()


def read_holds(parse: Parse, context: Context) -> Holds:
    quantities = holds_told(parse)[:MOST_HOLDS]
    letter = None if context.sided else _stray_letter(parse)
    if letter is not None:
        quantities = [_with_a_one(parse, letter, quantity) for quantity in quantities]
    items = _items(parse, quantities, context, letter)
    sides = _bound(*_segments(parse, items))
    _in_order(parse, items, sides)
    _where(parse, items, sides)
    if _swapped(parse, items, sides):
        sides = {place: _OTHER[side] for place, side in sides.items()}
    holds: list[Hold] = []
    spans: list[Span] = []
    places: list[tuple[int, int]] = []
    for item in items:
        if item.what != "hold":
            continue
        if item.quantity is None and not holds:
            continue
        seconds = item.quantity.value if item.quantity is not None else holds[-1].seconds
        for _ in range(item.quantity.times if item.quantity is not None else 1):
            holds.append(Hold(seconds, sides.get(item.place)))
            spans.append(parse.span(item.place, item.last))
            places.append((item.place, item.last))
    words = tuple((i.place, sides[i.place]) for i in items if i.what == "word" and i.place in sides)
    return Holds(tuple(holds[:MOST_HOLDS]), tuple(spans[:MOST_HOLDS]), words, tuple(places))


_OTHER: dict[SideName, SideName] = {"left": "right", "right": "left", "both": "both"}


def _swapped(parse: Parse, items: list[Told], sides: dict[int, SideName]) -> bool:
    """ "left 20 right 15. Other way round sorry": said once both sides have their holds."""
    places = parse.places("swap.sides")
    holds = [item for item in items if item.what == "hold"]
    if not places or not holds or places[-1] < holds[-1].place:
        return False
    return {"left", "right"} <= {sides.get(item.place) for item in holds}


def _in_order(parse: Parse, items: list[Told], sides: dict[int, SideName]) -> None:
    """ "L/R 20/15", "20 and 14, right, left": the sides in an order, and a hold for each."""
    named = [item for item in items if item.what == "side"]
    holds = [item for item in items if item.what == "hold"]
    if len(holds) != 2 or not named:
        return
    told = [item.value for item in named[:2]]
    if len(named) == 1:
        tags = {f"order.{order[0]}": order for order in _ORDERS}
        order = next((o for tag, o in tags.items() if has_tag(parse, named[0].place, tag)), None)
    else:
        after = holds[1].place < named[0].place
        order = next((o for o in _ORDERS if after and told == list(o)), None)
    if order is not None:
        sides.update({hold.place: side for hold, side in zip(holds, order, strict=True)})


_ORDERS: tuple[tuple[SideName, SideName], ...] = (("left", "right"), ("right", "left"))


def _stray_letter(parse: Parse) -> int | None:
    """The one letter that could name a side, in a text that names no other: "l5", "20 i firme"."""
    places = parse.places("side")
    return places[0] if len(places) == 1 and word_at(parse, places[0]) in _STRAY else None


def _with_a_one(parse: Parse, letter: int, quantity: Quantity) -> Quantity:
    """15 for "l5": where no side was asked, an L or an I before one digit is a one."""
    if letter != quantity.first - 1 or not parse.glued(quantity.first) or quantity.value >= 10:
        return quantity
    if quantity.word or quantity.times > 1:
        return quantity
    return replace(quantity, value=quantity.value + 10, first=letter)


_STRAY = frozenset({"l", "i"})

# "on the right" says where the word just before it was: "steady on the left".
_AT = frozenset({"on", "with", "for", "in", "con", "en", "para", "sobre"})


def _where(parse: Parse, items: list[Told], sides: dict[int, SideName]) -> None:
    """Gives a word on steadiness the side that is told right after it as a place."""
    for word, side in pairwise(items):
        if word.what != "word" or side.what != "side" or side.place - word.last > 3:
            continue
        between = range(word.last + 1, side.place)
        if any(has_tag(parse, place, *_PAUSES) for place in between):
            continue
        if word_at(parse, side.place) in _AT and side.value in ("left", "right", "both"):
            sides[word.place] = side.value  # type: ignore[assignment]


def _items(
    parse: Parse, quantities: list[Quantity], context: Context, letter: int | None
) -> list[Told]:
    starts = {quantity.first: quantity for quantity in quantities}
    items: list[Told] = []
    named: list[str] = []
    after = 0
    for index, unit in enumerate(parse.units):
        if len(items) >= MOST_ITEMS:
            break
        if index < after:
            continue
        quantity = starts.get(index)
        if quantity is not None:
            items.append(Told("hold", index, quantity.last, "", quantity))
            after = quantity.last + 1
        elif "side" in unit.tags and index != letter and not _of_something(parse, index):
            side = _side_named(unit.values["side"], context, named)
            if side is not None:
                items.append(Told("side", index, index, side))
                named.append(side)
        elif "same.phrase" in unit.tags and starts and _same_for_side(parse, index):
            items.append(Told("hold", index, index))
        elif not unit.tags.isdisjoint(STEADINESS):
            if unit.word in ("left", "right") and "wobbly.poor" in unit.tags:
                items.append(Told("side", index, index, unit.word))  # "left one not"
            items.append(Told("word", index, index))
    return items


def _of_something(parse: Parse, index: int) -> bool:
    """Whether the word for a side speaks of something other than a hold's side."""
    return _hurting(parse, index) or _opens(parse, index)


def _opens(parse: Parse, index: int) -> bool:
    """Whether "right" only opens the text: "Right, that's done, 20"."""
    if index or parse.units[0].word != "right" or not has_tag(parse, 1, "comma"):
        return False
    return not any(has_tag(parse, 2, tag) for tag in ("digits", "number", "side"))


def _same_for_side(parse: Parse, index: int) -> bool:
    """Whether "same" speaks of the other side: a side stands next to it."""
    return any(has_tag(parse, place, "side") for place in range(index - 3, index + 4))


def _hurting(parse: Parse, index: int) -> bool:
    """Whether the side names what hurts, not a hold's side: "left leg sore"."""
    for place in range(index + 1, index + 4):
        if has_tag(parse, place, "pain.noun", "pain.verb", "pain.phrase"):
            return True
        if not has_tag(parse, place, "scope.through"):
            break
    for place in range(index - 1, max(-1, index - 4), -1):
        if has_tag(parse, place, "pain.noun", "pain.verb", "pain.phrase"):
            return has_tag(parse, index, "body") or place == index - 1
        if not has_tag(parse, place, "scope.through", "scope.to_place", "self.my"):
            break
    return False


def _side_named(value: str, context: Context, named: list[str]) -> str | None:
    """The side that a word stands for, given the sides named before and the order asked."""
    if value in ("left", "right", "both"):
        return value
    if value == "none":
        return ""
    last = next((name for name in reversed(named) if name in ("left", "right")), None)
    if value == "other":
        if last is not None:
            return "right" if last == "left" else "left"
        return str(context.leads[1]) if len(context.leads) > 1 and "" not in named else ""
    return str(context.leads[0]) if context.leads else ""


def _segments(parse: Parse, items: list[Told]) -> tuple[list[list[Told]], set[int]]:
    """Items between pauses, and which segments an "and" or "but" alone joins to the one before.

    A pause right after a lone side ("left: ", "right leg,") is none.
    """
    segments: list[list[Told]] = [[]]
    joined: set[int] = set()
    place = 0
    for number, item in enumerate(items):
        if _same_for_next(items, number) and any(i.what == "hold" for i in segments[-1]):
            segments.append([])
        for between in range(place, item.place):
            if segments[-1] and has_tag(parse, between, *_PAUSES):
                if word_at(parse, between) in (":", "=", "-", "(", ")"):
                    continue
                if word_at(parse, between) == "." and _letter(parse, between - 1):
                    continue
                segments.append([])
                if has_tag(parse, between, "join.and", "scope.but"):
                    joined.add(len(segments) - 1)
        segments[-1].append(item)
        place = item.last + 1
    return segments, joined


def _same_for_next(items: list[Told], number: int) -> bool:
    """Whether "ditto" is of the side named right after it: "L 20 ditto right"."""
    item, after = items[number], items[number + 1 : number + 2]
    same = item.what == "hold" and item.quantity is None
    return same and bool(after) and after[0].what == "side" and after[0].place == item.last + 1


def _letter(parse: Parse, index: int) -> bool:
    """Whether the unit is a side written as one letter: "R. 18"."""
    return has_tag(parse, index, "side") and len(word_at(parse, index)) == 1


def _bound(segments: list[list[Told]], joined: set[int]) -> dict[int, SideName]:
    """The side of each hold and steadiness word, by unit."""
    sides: dict[int, str] = {}
    carried = ""
    led = _side_leads(segments)
    for number, segment in enumerate(segments):
        named = [item.value for item in segment if item.what == "side"]
        if len(set(named)) == 2 and "" in named:
            named = [name for name in named if name]
        if len(set(named)) > 1:
            carried = _pairs(segment, sides)
        elif named:
            _give(segment, named[0], sides)
            if not led and number and segment[0].what == "hold":
                _take_back(segments[number - 1], named[0], sides)
            carried = named[0]
        elif (
            led
            and carried
            and (_goes_on(segments, number, sides) or _of_last(segments, number, joined, sides))
        ):
            _give(segment, carried, sides)
    return {place: side for place, side in sides.items() if side}  # type: ignore[misc]


def _side_leads(segments: list[list[Told]]) -> bool:
    """Whether the first side comes before the first hold."""
    for segment in segments:
        for item in segment:
            if item.what != "word":
                return item.what == "side"
    return False


def _goes_on(segments: list[list[Told]], number: int, bound: dict[int, str]) -> bool:
    """Whether a segment without a side belongs to the side before it.

    So it does right after a side alone ("left:" then "20"), for a word on steadiness, and in a
    row of holds when another side follows or the row is a long one ("left 20, 18, right 15, 12").
    """
    before = segments[number - 1] if number else []
    if not any(item.what == "hold" for item in before):
        return bool(before) and (
            all(item.what == "side" for item in before) or _alternates(segments, number)
        )
    if not any(item.what == "hold" for item in segments[number]):
        sides = {i.value for s in segments for i in s if i.what == "side"}
        return (
            len(sides) > 1
            and number + 1 < len(segments)
            and any(item.what == "side" for item in segments[number + 1])
        )
    if not any(item.what == "hold" and item.place in bound for item in before):
        return False  # "steady left, wobbly right. 20 and 12"
    sides = {item.value for s in segments for item in s if item.what == "side"}
    return len(sides) > 1


def _of_last(
    segments: list[list[Told]], number: int, joined: set[int], bound: dict[int, str]
) -> bool:
    """ "left 20 firm, right 9 and shaking": the last word is of the last side.

    After a comma too, where the other side has had its word: "left 20 firm, right 9, shaking".
    """
    if not number or any(item.what == "hold" for item in segments[number]):
        return False
    worded = any(i.what == "word" and i.place in bound for s in segments[: number - 1] for i in s)
    if number not in joined and not worded:
        return False
    sides = {item.value for s in segments for item in s if item.what == "side"}
    return len(sides) > 1 and {"side", "hold"} <= {item.what for item in segments[number - 1]}


def _alternates(segments: list[list[Told]], number: int) -> bool:
    """ "wobbly on the right, 9. Left 20": a side, its hold, and only then the other side."""
    earlier = segments[number - 2] if number > 1 else []
    later = segments[number + 1] if number + 1 < len(segments) else []
    if earlier and not any(item.what == "hold" for item in earlier):
        return False
    return not later or any(item.what == "side" for item in later)


def _give(segment: list[Told], side: str, sides: dict[int, str]) -> None:
    for item in segment:
        if item.what != "side":
            sides[item.place] = side


def _take_back(segment: list[Told], side: str, sides: dict[int, str]) -> None:
    """ "20 and 18 left": the side told last also covers a bare hold just before."""
    if len(segment) == 1 and segment[0].what == "hold" and segment[0].place not in sides:
        if side == "both":
            return
        sides[segment[0].place] = side


def _pairs(segment: list[Told], sides: dict[int, str]) -> str:
    """Several sides without a pause: whatever comes first, side or hold, opens each pair."""
    opener = next(item.what for item in segment if item.what != "word")
    held = any(item.what == "hold" for item in segment)
    closer = "side" if opener != "side" else "hold" if held else "word"
    groups: list[list[Told]] = [[]]
    for item in segment:
        if item.what == opener and any(i.what == closer for i in groups[-1]):
            groups.append([])
        groups[-1].append(item)
    words = sum(item.what == "word" for item in segment)
    last = ""
    for group in groups:
        named = [item.value for item in group if item.what == "side"]
        if not named:
            continue
        last = named[0] if opener == "hold" else named[-1]
        for item in group:
            if item.what == "hold" or (
                item.what == "word" and (words > 1 or group is not groups[-1])
            ):
                sides[item.place] = last
    return last
