"""Foot length from a shoe size: a guess that is better than one from height, until it is measured.

EU sizes count Paris points of 2/3 cm along the last; UK and US sizes count barleycorns of 1/3 inch
along it, UK adult sizes from 25 barleycorns, US men's from 24 (one more than UK), US women's one
and a half more than men's; Mondopoint (ISO 9407) is the foot's own length in mm. The systems are
described in ISO/TS 19407. All from memory, the units and ISO 9407 also as several trade pages have
them. A last is longer than the foot by 10 to 20 mm, by maker: 15 mm here, common practice, no
source. So a size is good to about half a centimetre, and what is made of it stays marked estimated.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rungwise.errors import ImpossibleValue

PARIS_POINT_MM = 20 / 3
BARLEYCORN_MM = 25.4 / 3
LAST_LONGER_MM = 15


@dataclass(frozen=True, slots=True)
class ShoeSystem:
    """A way of numbering shoes: its name for people, sizes of adults, and a size's foot in mm."""

    label: str
    sizes: tuple[float, float]
    foot_mm: Callable[[float], float]


def _barleycorns(before: float) -> Callable[[float], float]:
    return lambda size: (size + before) * BARLEYCORN_MM - LAST_LONGER_MM


SHOE_SYSTEMS: Mapping[str, ShoeSystem] = {
    "eu": ShoeSystem("EU", (32, 52), lambda size: size * PARIS_POINT_MM - LAST_LONGER_MM),
    "uk": ShoeSystem("UK", (1, 17), _barleycorns(25)),
    "us_women": ShoeSystem("US women's", (2, 18), _barleycorns(22.5)),
    "us_men": ShoeSystem("US men's", (2, 18), _barleycorns(24)),
    "mondo": ShoeSystem("Mondopoint, mm", (200, 330), lambda size: size),
}


def foot_length_mm(size: float, system: str) -> int:
    """The foot's length in mm. ImpossibleValue for a size that no adult's shoe has."""
    if system not in SHOE_SYSTEMS:
        raise ImpossibleValue("shoe_system", system, " or ".join(SHOE_SYSTEMS))
    known = SHOE_SYSTEMS[system]
    low, high = known.sizes
    if not low <= size <= high:
        raise ImpossibleValue("shoe_size", size, f"from {low:g} to {high:g} in {known.label} sizes")
    return round(known.foot_mm(size))
