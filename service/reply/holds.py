"""Which hold belongs to which side: "L12 R9", "left 20 right 15", "20 on the left 15 right"."""

from dataclasses import dataclass

from service.reply.numbers import Quantity, holds_among, raw_numbers
from service.reply.reading import Context, Hold, Span
from service.reply.units import Parse

MOST_HOLDS = 40


@dataclass(frozen=True, slots=True)
class Told:
    """One thing in a segment: a hold, a side, or a word on steadiness."""

    what: str
    place: int
    value: str | float
    quantity: Quantity | None = None


@dataclass(frozen=True, slots=True)
class Holds:
    holds: tuple[Hold, ...] = ()
    spans: tuple[Span, ...] = ()
    side_of: tuple[tuple[int, str], ...] = ()  # steadiness unit index -> side
    doubtful: bool = False


def read_holds(parse: Parse, context: Context) -> Holds:
    quantities = holds_among(parse, raw_numbers(parse))[:MOST_HOLDS]
    items = _items(parse, quantities, context)
    if not items:
        return Holds()
    segments = _segments(parse, items)
    sides: dict[int, str] = {}
    word_sides: list[tuple[int, str]] = []
    _bind(segments, sides, word_sides)
    holds: list[Hold] = []
    spans: list[Span] = []
    last_s: float | None = None
    for item in items:
        if item.what != "hold":
            continue
        seconds = float(item.value) if item.quantity is not None else last_s
        if seconds is None:
            continue
        last_s = seconds
        side = sides.get(item.place)
        times = item.quantity.times if item.quantity is not None else 1
        last = item.quantity.last if item.quantity is not None else item.place
        first = item.quantity.first if item.quantity is not None else item.place
        for _ in range(times):
            holds.append(Hold(seconds, side))  # type: ignore[arg-type]
            spans.append(parse.span(first, last))
    return Holds(tuple(holds), tuple(spans), tuple(word_sides))


def _items(parse: Parse, quantities: list[Quantity], context: Context) -> list[Told]:
    by_first = {q.first: q for q in quantities}
    inside = {place for q in quantities for place in range(q.first, q.last + 1)}
    items: list[Told] = []
    for index, unit in enumerate(parse.units):
        quantity = by_first.get(index)
        if quantity is not None:
            items.append(Told("hold", index, quantity.value, quantity))
        elif index in inside:
            continue
        elif "side" in unit.tags and not _of_body(parse, index):
            side = _named(str(unit.value), context, items)
            if side is not None:
                items.append(Told("side", index, side))
        elif "same.phrase" in unit.tags and any(i.what == "hold" for i in items):
            items.append(Told("hold", index, 0.0, None))
        elif not unit.tags.isdisjoint(
            {"steady.firm", "steady.praise", "wobbly.word", "wobbly.touch"}
        ):
            items.append(Told("word", index, "steady"))
    return items


def _of_body(parse: Parse, index: int) -> bool:
    """Whether the side names an aching part ("right knee"), not a hold's side."""
    units = parse.units
    after = units[index + 1] if index + 1 < len(units) else None
    return after is not None and (
        "body" in after.tags or any(t.startswith("pain.") for t in after.tags)
    )


def _named(value: str, context: Context, items: list[Told]) -> str | None:
    if value in ("left", "right", "both"):
        return value
    told = [str(i.value) for i in items if i.what == "side" and i.value in ("left", "right")]
    if value == "other" and told:
        return "right" if told[-1] == "left" else "left"
    if len(context.leads) and value == "first":
        return str(context.leads[0].value)
    if len(context.leads) > 1 and value == "other":
        return str(context.leads[1].value)
    return None


def _segments(parse: Parse, items: list[Told]) -> list[list[Told]]:
    segments: list[list[Told]] = [[]]
    place = 0
    for item in items:
        for between in range(place, item.place):
            tags = parse.units[between].tags
            if segments[-1] and not tags.isdisjoint({"stop", "comma", "join.and", "scope.but"}):
                segments.append([])
        segments[-1].append(item)
        place = item.quantity.last + 1 if item.quantity else item.place + 1
    return segments


def _bind(segments: list[list[Told]], sides: dict[int, str], words: list[tuple[int, str]]) -> None:
    carried: str | None = None
    for number, segment in enumerate(segments):
        named = [i for i in segment if i.what == "side"]
        held = [i for i in segment if i.what == "hold"]
        if len({i.value for i in named}) == 1:
            side = str(named[0].value)
            for item in segment:
                if item.what == "hold":
                    sides[item.place] = side
                elif item.what == "word":
                    words.append((item.place, side))
            carried = side if not held else None
            if (
                held
                and number
                and not _has_side(segments[number - 1])
                and (segment[0].what == "hold" and _only_hold(segments[number - 1]))
            ):
                pass
        elif named:
            _bind_run(segment, sides, words)
            carried = None
        elif carried is not None and held:
            for item in segment:
                if item.what == "hold":
                    sides[item.place] = carried
            carried = None


def _has_side(segment: list[Told]) -> bool:
    return any(i.what == "side" for i in segment)


def _only_hold(segment: list[Told]) -> bool:
    return all(i.what == "hold" for i in segment)


def _bind_run(segment: list[Told], sides: dict[int, str], words: list[tuple[int, str]]) -> None:
    """Several sides without a pause: what comes first, side or hold, tells how they pair."""
    parts = [i for i in segment if i.what != "word"]
    side_first = parts[0].what == "side"
    groups: list[list[Told]] = [[]]
    opener = "side" if side_first else "hold"
    for item in segment:
        closed = any(i.what == ("hold" if side_first else "side") for i in groups[-1])
        if item.what == opener and closed:
            groups.append([])
        groups[-1].append(item)
    word_count = sum(i.what == "word" for i in segment)
    for group in groups:
        named = [i for i in group if i.what == "side"]
        if not named:
            continue
        side = str(named[-1 if side_first else 0].value)
        for item in group:
            if item.what == "hold":
                sides[item.place] = side
            elif item.what == "word" and (word_count > 1 or group is not groups[-1]):
                words.append((item.place, side))
