"""Published foot sizes, and guesses made from them until a client is measured.

Foot length and breadth: ANSUR II (Gordon et al. 2014, NATICK/TR-15/007), from memory. It measured
soldiers, who are younger and leaner than our clients. Percentiles take the measures as normal.
Stance width: 17.7 cm between foot centres, self-chosen by 24 healthy adults of mean age 65.6
(SD 4.7 cm). Foot length as a share of height: common practice, no source.
"""

from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal, get_args

from rungwise.errors import ImpossibleValue

Sex = Literal["female", "male"]
Measure = Literal["foot_length", "foot_breadth"]

USUAL_HIP_WIDTH_MM = 177
FOOT_SHARE_OF_HEIGHT = 0.15
HEIGHT_MM = (1200, 2200)


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and standard deviation of a measure, mm."""

    mean_mm: float
    sd_mm: float


ANSUR_II: dict[tuple[Measure, Sex], Spread] = {
    ("foot_length", "male"): Spread(271, 13),
    ("foot_length", "female"): Spread(246, 12),
    ("foot_breadth", "male"): Spread(102, 5),
    ("foot_breadth", "female"): Spread(93, 5),
}


def percentile_mm(measure: Measure, sex: Sex, percent: float) -> float:
    """The measure below which `percent` of ANSUR II's people of that sex lie, mm."""
    spread = ANSUR_II[measure, sex]
    return NormalDist(spread.mean_mm, spread.sd_mm).inv_cdf(percent / 100)


def estimated_foot_mm(
    height_mm: int | None, sex: Sex, length_mm: int | None = None
) -> tuple[int, int]:
    """Foot length and breadth in mm: 15% of height, and the sex's usual breadth for that length.

    A length that is known otherwise, as from a shoe size, is taken. Without a height, the sex's
    mean foot. ImpossibleValue for a height outside HEIGHT_MM.
    """
    if sex not in get_args(Sex):
        raise ImpossibleValue("sex", sex, "'female' or 'male'")
    length = ANSUR_II["foot_length", sex].mean_mm
    breadth = ANSUR_II["foot_breadth", sex].mean_mm
    if length_mm is not None:
        return length_mm, round(length_mm * breadth / length)
    if height_mm is None:
        return round(length), round(breadth)
    low, high = HEIGHT_MM
    if isinstance(height_mm, bool) or not isinstance(height_mm, int | float):
        raise ImpossibleValue("height_mm", height_mm, f"a number from {low} to {high}")
    if not low <= height_mm <= high:
        raise ImpossibleValue("height_mm", height_mm, f"from {low} to {high} (1.2 m to 2.2 m)")
    own_length = FOOT_SHARE_OF_HEIGHT * height_mm
    return round(own_length), round(own_length * breadth / length)
