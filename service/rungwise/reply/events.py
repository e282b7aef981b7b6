"""The places in a reply where a fall, pain, dizziness or an emergency is spoken of."""

from dataclasses import dataclass
from functools import lru_cache

from rungwise.reply.units import Parse, Unit

FAMILIES = ("fall", "pain", "dizzy", "emergency")
_PREFIXES = tuple(f"{family}." for family in FAMILIES)


# What a mention of the one is a mention of too.
_ALSO = {
    ("emergency", "chest"): ("pain", "phrase"),
    ("emergency", "faint"): ("dizzy", "phrase"),
    ("emergency", "up"): ("fall", "doubt"),
    ("emergency", "broken"): ("pain", "phrase"),
    ("emergency", "floor"): ("fall", "phrase"),
}


@dataclass(frozen=True, slots=True)
class Event:
    """One mention over units first..last. `form` is the list it comes from: verb, noun, ..."""

    family: str
    form: str
    first: int
    last: int


@lru_cache(maxsize=4096)
def _mentions(tags: frozenset[str]) -> tuple[tuple[str, str], ...]:
    found = sorted(tag for tag in tags if tag.startswith(_PREFIXES))
    return tuple((tag.partition(".")[0], tag.partition(".")[2]) for tag in found)


def is_event(unit: Unit) -> bool:
    return bool(_mentions(unit.tags))


def events(parse: Parse) -> list[Event]:
    """Every mention, in order; two tags that mean something together make one."""
    found: list[Event] = []
    together = parse.lexicon.together
    for index, unit in enumerate(parse.units):
        for family, form in _mentions(unit.tags):
            found.append(Event(family, form, index, index))
            also = _ALSO.get((family, form))
            if also is not None:
                found.append(Event(*also, index, index))
        if not unit.tags.isdisjoint(together):
            found.extend(_joined(parse, index))
    return found


def _joined(parse: Parse, index: int) -> list[Event]:
    units = parse.units
    found: list[Event] = []
    for tag in units[index].tags:
        for rule in parse.lexicon.together.get(tag, ()):
            for place in range(index + 1, min(len(units), index + 1 + rule.within)):
                tags = units[place].tags
                if rule.then in tags:
                    family, _, form = rule.means.partition(".")
                    found.append(Event(family, form, index, place))
                    break
                if "stop" in tags or (rule.plain and "scope.through" not in tags):
                    break
    return found
