"""One-leg stance with eyes open: up to three tries a leg, best and mean.

Norms by age differ for the best and the mean of three, so each result stands only beside a norm
made the same way; only those for the mean were confirmed. Under 5 s and under 10 s: Vellas 1997
and Araujo 2022. Day-to-day seconds are no measure of change (Goldberg 2011;
service/rungwise/evidence/change.py).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import in_band, said_s, seconds
from rungwise.evidence.sources import (
    ARAUJO_2022,
    BOHANNON_2006_ONE_LEG,
    OLIVEIRA_2018,
    SPRINGER_2007_MEAN,
    VELLAS_1997,
    Finding,
    Norm,
)

MOST_TRIES = 3
LIMIT_S = 45.0  # Springer et al. 2007, as a review of the test has it (Netic et al. 2012)
SHORT_S = 5.0
TEN_S = 10.0
ARAUJO_AGES = (51, 75)

# Seconds by completed years. Springer et al. 2007, eyes open.
MEAN_OF_3 = ((40, 49, 40.3), (50, 59, 37.0), (60, 69, 26.9), (70, 79, 15.0), (80, 99, 6.2))
# Bohannon 2006, Top Geriatr Rehabil: a mean over studies that took best or mean of several tries.
BOHANNON = ((60, 69, 27.0), (70, 79, 17.2), (80, 99, 8.5))


@dataclass(frozen=True, slots=True)
class OneLeg:
    """Seconds of each try, left and right; a leg not tested has none."""

    left_s: tuple[float, ...]
    right_s: tuple[float, ...]

    @property
    def best_s(self) -> dict[str, float]:
        """The best try of each leg tested."""
        return {leg: max(tries) for leg, tries in self.legs.items()}

    @property
    def mean_of_3_s(self) -> dict[str, float]:
        """The mean of each leg tried three times; fewer tries have no norm to stand beside."""
        return {leg: mean_s(tries) for leg, tries in self.legs.items() if len(tries) == MOST_TRIES}

    @property
    def legs(self) -> dict[str, tuple[float, ...]]:
        both = {"left": self.left_s, "right": self.right_s}
        return {leg: tries for leg, tries in both.items() if tries}

    @property
    def weaker_best_s(self) -> float:
        """The best try of the weaker leg: the one that decides."""
        return min(self.best_s.values())

    @property
    def headline(self) -> tuple[float, str]:
        return self.weaker_best_s, "s, best try of the weaker leg"

    def findings(self, age: int, _sex: str | None) -> tuple[Finding, ...]:
        found = []
        for leg, best in self.best_s.items():
            found += one_leg_findings(best, f"{leg.capitalize()} leg", age)
            mean = self.mean_of_3_s.get(leg)
            if mean is not None:
                says = f"{leg.capitalize()} leg: best of three {said_s(best)}, mean {said_s(mean)}."
                found.append(Finding(says, SPRINGER_2007_MEAN))
        says = "How long one leg is held did not tell people who fall from others."
        return (*found, Finding(says, OLIVEIRA_2018))

    def norms(self, age: int, _sex: str | None) -> tuple[Norm, ...]:
        """Norms by age; sex makes no difference (Springer et al. 2007).

        The one for the mean of three stands only beside three tries of a leg.
        """
        return one_leg_norms(age, three_tries=bool(self.mean_of_3_s))


def one_leg(left_s: Sequence[object], right_s: Sequence[object]) -> OneLeg:
    """Score the test. ImpossibleValue for more than three tries, none at all, or over 45 s."""
    for leg, tries in (("left leg", left_s), ("right leg", right_s)):
        if len(tries) > MOST_TRIES:
            raise ImpossibleValue(f"tries, {leg}", len(tries), f"at most {MOST_TRIES}")
    if not left_s and not right_s:
        raise ImpossibleValue("tries", None, "at least one try of one leg")
    return OneLeg(
        tuple(seconds("left leg", value, LIMIT_S) for value in left_s),
        tuple(seconds("right leg", value, LIMIT_S) for value in right_s),
    )


def mean_s(tries: Sequence[float]) -> float:
    return sum(tries) / len(tries)


def one_leg_findings(best_s: float, what: str, age: int) -> list[Finding]:
    """What is published about holding one leg for 5 and for 10 seconds."""
    held = said_s(best_s)
    if best_s < SHORT_S:
        says = (
            f"{what} held {held}, under 5 s: over three years the risk of an injurious fall was "
            f"2.13 times as high (95% interval 1.04 to 4.34); falls in general were not predicted."
        )
        return [Finding(says, VELLAS_1997, flag=True)]
    if age > ARAUJO_AGES[1]:
        says = f"{what} held {held}: 5 s and more. The 10 s line was drawn up to 75 years only."
        return [Finding(says, ARAUJO_2022)]
    if best_s < TEN_S:
        says = (
            f"{what} held {held}: 5 s and more, not 10 s. Not holding 10 s went with more deaths "
            f"over 7 years (hazard ratio 1.84, 95% interval 1.23 to 2.78), in people of 51 to 75."
        )
        return [Finding(says, ARAUJO_2022, flag=age >= ARAUJO_AGES[0])]
    return [Finding(f"{what} held {held}: 10 s and more.", ARAUJO_2022)]


def one_leg_norms(age: int, *, three_tries: bool = True) -> tuple[Norm, ...]:
    """Published seconds for this age, each with how it was made; none outside their ages."""
    made = (
        ("Healthy adults of this age, mean of three tries", MEAN_OF_3, SPRINGER_2007_MEAN, True),
        ("People of this age, mean over 22 studies", BOHANNON, BOHANNON_2006_ONE_LEG, False),
    )
    found = []
    for words, bands, source, needs_three in made:
        value = in_band(bands, age)
        if value is not None and (three_tries or not needs_three):
            found.append(Norm(words, value, "s", source))
    return tuple(found)
