"""How a practice writes lengths and hours: the one home of both. Pure.

Lengths are stored in mm and hours as times; what people read is made here, and nowhere else.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time
from fractions import Fraction
from math import ceil
from typing import Literal

Lengths = Literal["cm", "in"]
MM_PER_UNIT: Mapping[Lengths, float] = {"cm": 10.0, "in": 25.4}
# Where lengths are usually told in inches and the clock counts to twelve. From memory.
INCHES = frozenset({"US"})
TWELVE = frozenset({"US", "CA", "AU", "NZ"})
EIGHTHS = 8


@dataclass(frozen=True, slots=True)
class Measures:
    """A practice's way. `clock` is 12 or 24."""

    lengths: Lengths = "cm"
    clock: int = 24

    def hour(self, at: time) -> str:
        """A time of day: 14:30, or 2:30 pm."""
        if self.clock == 24:
            return f"{at:%H:%M}"
        return f"{at.hour % 12 or 12}:{at.minute:02d} {'am' if at.hour < 12 else 'pm'}"

    def length(self, length_mm: float, decimal: str = ".") -> str:
        """A length to the millimetre, or to the nearest eighth of an inch: 8.5 cm, 3 3/8 in."""
        return exact(length_mm, self.lengths, decimal)


def usual(country: str) -> Measures:
    """What people of a country are used to."""
    lengths: Lengths = "in" if country in INCHES else "cm"
    return Measures(lengths, 12 if country in TWELVE else 24)


def exact(length_mm: float, lengths: Lengths = "cm", decimal: str = ".") -> str:
    """A length to the millimetre, or to the nearest eighth of an inch."""
    if lengths == "cm":
        return _tenths(length_mm / 10, decimal)
    return _parts(round(length_mm / MM_PER_UNIT["in"] * EIGHTHS), EIGHTHS)


def room(length_mm: float, lengths: Lengths = "cm", decimal: str = ".") -> str:
    """A length that is never less than what is meant: the next half centimetre or eighth inch."""
    if lengths == "cm":
        return _tenths(halves_up(length_mm), decimal)
    return _parts(ceil(round(EIGHTHS * length_mm / MM_PER_UNIT["in"], 6)), EIGHTHS)


def halves_up(length_mm: float, lengths: Lengths = "cm") -> float:
    """The mark of a tape at or just beyond a length: each half centimetre or half inch."""
    return ceil(round(2 * length_mm / MM_PER_UNIT[lengths], 6)) / 2


def _tenths(length_cm: float, decimal: str) -> str:
    return f"{length_cm:.1f}".removesuffix(".0").replace(".", decimal) + " cm"


def _parts(count: int, of: int) -> str:
    """So many parts of an inch, as a ruler has them: 3/8 in, 3 1/2 in."""
    whole, part = divmod(abs(count), of)
    shown = [str(whole)] if whole or not part else []
    if part:
        fraction = Fraction(part, of)
        shown.append(f"{fraction.numerator}/{fraction.denominator}")
    return f"{'-' if count < 0 else ''}{' '.join(shown)} in"
