"""How it was practised: held on or not, safely or not, done without a figure, and by whom."""

from dataclasses import dataclass
from typing import Literal

from rungwise.reply.reading import Context, Hold, Kind
from rungwise.reply.talk import Talk, Where
from rungwise.reply.units import Parse

# Held this many times as long as asked, a hold is too long to be safe.
FAR_BEYOND = 4
_HANDS = {"hover": 0, "fingertips": 1, "one_hand": 2, "two_hands": 3}
# How much support a word tells of; any other way of holding on tells of some.
_MUCH = frozenset({"both", "two", "hands", "frame", "walker", "zimmer", "ambas", "dos", "manos"})
_LITTLE = frozenset(
    {"finger", "fingers", "fingertip", "fingertips", "dedo", "dedos", "yemas", "yema", "punta"}
)


@dataclass(frozen=True, slots=True)
class Support:
    """More support than asked by choice, or grabbing; `chosen` units tell of no wobble."""

    told: Literal["more", "grabbed"] | None = None
    chosen: frozenset[int] = frozenset()


_AS_ASKED = Support()


def _overlaps(where: Where, places: list[Where]) -> bool:
    return any(first <= where[1] and where[0] <= last for first, last in places)


def _standing(said: Talk, tag: str, without: str = "") -> list[Where]:
    """A tag's places that are neither denied nor inside one of `without`."""
    besides = said.places.get(without, [])
    return [
        where
        for where in said.places.get(tag, ())
        if not _overlaps(where, besides) and not said.denied(where)
    ]


def support(said: Talk, context: Context) -> Support:
    """What is told of holding on, against the support asked for; nothing where that is unknown."""
    if context.support is None or not said.any("held.more", "held.grabbed", "held.hovering"):
        return _AS_ASKED
    if _standing(said, "held.grabbed"):
        return Support("grabbed")
    hovering = _units_within(said.parse, said.places.get("held.hovering", []))
    held = _standing(said, "held.more", "held.hovering")
    if not held:
        return Support(None, hovering)
    asked = _HANDS[context.support]
    words = said.parse.tokens.words
    much = max(_how_much(words[first : last + 1], asked) for first, last in held)
    more = much > asked and "held.as_asked" not in said
    return Support("more" if more else None, hovering | _units_within(said.parse, held))


def _how_much(words: list[str], asked: int) -> int:
    told = set(words)
    if told & _LITTLE:
        return 1
    if told & _MUCH:
        return 3
    if told & {"hand", "mano"}:
        return 2
    # "held on", "kept hold of the counter": as asked where holding on was asked for at all.
    return max(asked, 2) if asked >= 2 else 2


def _units_within(parse: Parse, places: list[Where]) -> frozenset[int]:
    return frozenset(
        index
        for index, unit in enumerate(parse.units)
        if _overlaps((unit.start, unit.end - 1), places)
    )


def unsafe(said: Talk, context: Context, holds: tuple[Hold, ...], kind: Kind) -> bool:
    """Whether it was practised so that it could hurt: eyes closed, nothing near, far too long."""
    if any(hold.seconds >= FAR_BEYOND * context.target_s for hold in holds):
        return True
    if "unsafe" not in said.tables or kind not in ("result", "other", "skipped"):
        return False
    told = said.told("unsafe.practice") is not None
    if context.support in ("two_hands", "one_hand", "fingertips"):
        told = told or "unsafe.hands_off" in said
    return told and (bool(holds) or said.any("talk.done", "talk.tried"))


def done(said: Talk) -> bool:
    """Whether it is said to be done, in whatever words."""
    undone = said.places.get("talk.undone", [])
    return any(not _overlaps(where, undone) for where in said.places.get("talk.done", ()))


def side_named(said: Talk) -> Literal["left", "right", "both"] | None:
    """The one side that is named, or both."""
    if "talk.both" in said:
        return "both"
    named = {
        unit.values["side"] for unit in said.parse.units if "side" in unit.tags and unit.values
    }
    if named == {"left", "right"}:
        return "both"
    for side in ("left", "right", "both"):
        if named == {side}:
            return side
    return None


_OTHERS = frozenset({"other.person", "other.kin", "other.pronoun", "other.household"})
_FIGURES = frozenset({"digits", "number"})
_APART = frozenset({"stop", "comma", "mark", "digits", "number", "side", "self.i", "self.my"})


def two_people(said: Talk) -> bool:
    """Whether results of more than one person are told: "me 20, Harold 15"."""
    parse = said.parse
    if "talk.me" not in said:
        return False
    units = parse.units
    figures = [i for i, unit in enumerate(units) if not unit.tags.isdisjoint(_FIGURES)]
    if len(figures) < 2:
        return False
    theirs = [place for place in figures if _anothers(parse, place)]
    return bool(theirs) and len(theirs) < len(figures)


def _anothers(parse: Parse, place: int) -> bool:
    """Whether a number is a person's: "Harold 15", "my wife did 15", "18 for my wife"."""
    units = parse.units
    before = place - 1
    if before > 0 and units[before].tags.isdisjoint(_APART) and not _another(parse, before):
        before -= 1  # "my wife did", "Harold got"
    if before >= 0 and _another(parse, before):
        return True
    after = place + 2
    return after < len(units) and units[place + 1].word == "for" and _another(parse, after)


def _another(parse: Parse, place: int) -> bool:
    unit = parse.units[place]
    if not unit.tags.isdisjoint(_OTHERS):
        return True
    return "unknown" in unit.tags and parse.capital(place)
