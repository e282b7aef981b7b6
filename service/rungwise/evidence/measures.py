"""What may be entered: seconds, counts and ages, each within what can be."""

from collections.abc import Sequence
from math import isfinite
from typing import TypeVar, get_args

from rungwise.errors import ImpossibleValue
from rungwise.ladder.anthropometry import Sex

AGE_YEARS = (18, 110)

Figure = TypeVar("Figure")


def seconds(name: str, value: object, most_s: float, least_s: float = 0.0) -> float:
    """A time in seconds, kept to a hundredth. ImpossibleValue outside `least_s` to `most_s`."""
    allowed = f"a time from {least_s:g} to {most_s:g} seconds"
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise ImpossibleValue(name, value, allowed)
    if not least_s <= value <= most_s:
        raise ImpossibleValue(name, value, allowed)
    return round(float(value), 2)


def whole(name: str, value: object, low: int, high: int) -> int:
    """A whole number from `low` to `high`; ImpossibleValue otherwise."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ImpossibleValue(name, value, f"a whole number from {low} to {high}")
    return value


def age_of(value: object) -> int:
    """Completed years on the day of the test."""
    return whole("age", value, *AGE_YEARS)


def sex_of(value: object) -> Sex | None:
    """The sex whose norms are used; None when the client would rather not say."""
    if value is not None and value not in get_args(Sex):
        raise ImpossibleValue("sex", value, "'female', 'male' or nothing")
    return value  # type: ignore[return-value]  # checked just above


def said_s(time_s: float) -> str:
    """A time in words, without needless zeros: 8.5 s, 10 s, 9.99 s."""
    return f"{time_s:.2f}".rstrip("0").rstrip(".") + " s"


def in_band(bands: Sequence[tuple[int, int, Figure]], age: int) -> Figure | None:
    """The figure of the band of completed years that holds `age`; None outside all of them."""
    for low, high, figure in bands:
        if low <= age <= high:
            return figure
    return None
