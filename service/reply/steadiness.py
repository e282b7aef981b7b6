"""Steady or wobbly: the worst told, and by side where the client said which."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from service.ladder.stance import Steadiness
from service.reply import scope
from service.reply.reading import Span
from service.reply.units import Parse


@dataclass(frozen=True, slots=True)
class Steady:
    overall: Steadiness | None = None
    by_side: dict[str, Steadiness] = field(default_factory=dict)
    spans: tuple[Span, ...] = ()


def read_steadiness(
    parse: Parse, side_of: Sequence[tuple[int, str]], held: bool, reported: bool
) -> Steady:
    """`held`: seconds were told; `reported`: a safety report was, so bare praise says nothing."""
    sides = dict(side_of)
    told: list[tuple[int, Steadiness]] = []
    for index, unit in enumerate(parse.units):
        said = _said(parse, index, unit.tags, held, reported)
        if said is not None:
            told.append((index, said))
    if not told:
        return Steady()
    by_side: dict[str, Steadiness] = {}
    for index, said in told:
        side = sides.get(index)
        for one in ("left", "right") if side == "both" else (side,):
            if one is not None and by_side.get(one) != "wobbly":
                by_side[one] = said
    overall: Steadiness = "wobbly" if any(said == "wobbly" for _, said in told) else "steady"
    spans = tuple(parse.span(i, i) for i, said in told if said == overall)
    return Steady(overall, by_side, spans)


def _said(
    parse: Parse, index: int, tags: frozenset[str], held: bool, reported: bool
) -> Steadiness | None:
    if "wobbly.word" in tags or "wobbly.touch" in tags:
        denied = scope.denied(parse, index)
        if denied is None and (
            scope.others(parse, index, fall=False) or scope.supposed(parse, index)
        ):
            return None
        return "steady" if denied == "no" else "wobbly"
    if "steady.firm" in tags:
        return "wobbly" if scope.denied(parse, index) else "steady"
    if "steady.praise" in tags:
        if reported and not held:
            return None
        if not _of_the_hold(parse, index, held):
            return None
        return "wobbly" if scope.denied(parse, index) else "steady"
    return None


def _of_the_hold(parse: Parse, index: int, held: bool) -> bool:
    """Whether praise speaks of the hold, not of the weather, a visit, or nothing ("ok so ...")."""
    units = parse.units
    if index == 0 and units[0].word in ("ok", "okay", "k") and len(units) > 1:
        return not held and "stop" in units[1].tags | units[-1].tags and len(units) == 2
    for place in range(index - 1, max(-1, index - 8), -1):
        tags = units[place].tags
        if not tags.isdisjoint({"stop", "comma", "scope.but", "digits", "side"}):
            break
        if "topic.other" in tags or "body" in tags:
            return False
    after = units[index + 1].tags if index + 1 < len(units) else frozenset()
    return "topic.other" not in after and "unknown" not in after
