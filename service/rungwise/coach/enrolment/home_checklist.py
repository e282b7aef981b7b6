"""The checklist of the place where a client practises. Pure. Common practice, no source."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to have in place; without a `needed` one nobody starts."""

    name: str
    label: str
    needed: bool = False


CHECKLIST: tuple[Item, ...] = (
    Item("counter", "A steady counter, or a corner with a heavy chair in front", needed=True),
    Item("floor", "Clear, firm floor: no loose rugs or cables", needed=True),
    Item("light", "Good light on the feet"),
    Item("shoes", "Shoes or bare feet, never socks"),
    Item("phone", "A phone within reach of the spot, also from the floor", needed=True),
    Item("someone", "Someone who knows when they practise"),
)
NAMES = tuple(item.name for item in CHECKLIST)


def missing(in_place: frozenset[str]) -> tuple[Item, ...]:
    """What is not in place yet, in the order of the list."""
    return tuple(item for item in CHECKLIST if item.name not in in_place)


def not_ready(in_place: frozenset[str]) -> tuple[Item, ...]:
    """What must be in place before the first text and is not."""
    return tuple(item for item in missing(in_place) if item.needed)
