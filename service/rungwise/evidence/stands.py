"""Chair stands: how many in 30 seconds, and how long five take."""

from dataclasses import dataclass

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import in_band, said_s, seconds, whole
from rungwise.evidence.sources import (
    BOHANNON_2006_STANDS,
    BUATOIS_2008,
    COMMON_PRACTICE,
    LUSARDI_2017,
    STEADI_CHAIR,
    Finding,
    Norm,
)
from rungwise.ladder.anthropometry import Sex

MOST_STANDS = 60
MOST_FIVE_S = 300.0
FALLS_FIVE_S = 12.0  # Lusardi et al. 2017
RECURRENT_FALLS_FIVE_S = 15.0  # Buatois et al. 2008

# Below average if under this count. CDC STEADI sheet 2017, after Rikli & Jones 1999.
BELOW_AVERAGE_IF_UNDER: dict[Sex, tuple[tuple[int, int, int], ...]] = {
    "male": (
        (60, 64, 14),
        (65, 69, 12),
        (70, 74, 12),
        (75, 79, 11),
        (80, 84, 10),
        (85, 89, 8),
        (90, 94, 7),
    ),
    "female": (
        (60, 64, 12),
        (65, 69, 11),
        (70, 74, 10),
        (75, 79, 10),
        (80, 84, 9),
        (85, 89, 8),
        (90, 94, 4),
    ),
}
# Slower than average if over these seconds. Bohannon 2006, Percept Mot Skills.
SLOWER_IF_OVER = ((60, 69, 11.4), (70, 79, 12.6), (80, 89, 14.8))


@dataclass(frozen=True, slots=True)
class ChairStand:
    """`stands`: those counted in 30 s; with arms used the score is 0 by the sheet's rule."""

    stands: int
    arms_used: bool

    @property
    def score(self) -> int:
        return 0 if self.arms_used else self.stands

    @property
    def headline(self) -> tuple[float, str]:
        return self.score, "stands in 30 s"

    def below_average(self, age: int, sex: Sex | None) -> bool | None:
        """Whether the score is under the sheet's limit; None where it has none."""
        limit = chair_stand_limit(age, sex)
        return None if limit is None else self.score < limit

    def findings(self, age: int, sex: Sex | None) -> tuple[Finding, ...]:
        found = []
        if self.arms_used:
            says = f"Arms were used, so the score is 0 whatever the count ({self.stands})."
            found.append(Finding(says, STEADI_CHAIR))
        below, limit = self.below_average(age, sex), chair_stand_limit(age, sex)
        if below is None:
            missing = "without a sex" if sex is None else "under 60 or over 94 years"
            found.append(Finding(f"The sheet has no limit {missing}.", STEADI_CHAIR))
        elif below:
            says = f"{self.score} is under {limit}: below average for this age and sex."
            found.append(Finding(says, STEADI_CHAIR, flag=True))
        else:
            says = f"{self.score} is not under {limit}: not below average for this age and sex."
            found.append(Finding(says, STEADI_CHAIR))
        return tuple(found)

    def norms(self, age: int, sex: Sex | None) -> tuple[Norm, ...]:
        limit = chair_stand_limit(age, sex)
        if limit is None:
            return ()
        return (Norm("Below average for this age and sex if under", limit, "stands", STEADI_CHAIR),)


def chair_stand_limit(age: int, sex: Sex | None) -> int | None:
    """Below average if under this count; None under 60, over 94, or when no sex is given."""
    return None if sex is None else in_band(BELOW_AVERAGE_IF_UNDER[sex], age)


def chair_stand_30s(stands: object, arms_used: object) -> ChairStand:
    """Score the 30-second chair stand: more than half way up at 30 s counts as a stand."""
    if not isinstance(arms_used, bool):
        raise ImpossibleValue("arms used", arms_used, "yes or no")
    return ChairStand(whole("stands", stands, 0, MOST_STANDS), arms_used)


@dataclass(frozen=True, slots=True)
class FiveStands:
    """Seconds for five stands without arms; None when they could not be done."""

    time_s: float | None

    @property
    def headline(self) -> tuple[float, str] | None:
        return None if self.time_s is None else (self.time_s, "s for five stands")

    def slower_than_average(self, age: int) -> bool | None:
        """Whether it took longer than the limit for the age; None outside 60 to 89 or unable."""
        limit = in_band(SLOWER_IF_OVER, age)
        return None if limit is None or self.time_s is None else self.time_s > limit

    def findings(self, age: int, _sex: Sex | None) -> tuple[Finding, ...]:
        if self.time_s is None:
            says = "Five stands without arms could not be done."
            return (Finding(says, COMMON_PRACTICE, flag=True),)
        found = []
        took, limit = said_s(self.time_s), in_band(SLOWER_IF_OVER, age)
        slower = self.slower_than_average(age)
        if limit is None:
            says = "There is no average for this age: it was made for 60 to 89 years."
            found.append(Finding(says, BOHANNON_2006_STANDS))
        else:
            over = "over" if slower else "not over"
            says = f"{took} is {over} {limit:g} s: {'' if slower else 'not '}slower than average "
            says += "for this age."
            found.append(Finding(says, BOHANNON_2006_STANDS, flag=bool(slower)))
        if self.time_s > RECURRENT_FALLS_FIVE_S:
            says = f"{took} is over 15 s, the cut-off that best told those who fell repeatedly "
            says += "(it found 55% of them; 65% of the others were below it)."
            found.append(Finding(says, BUATOIS_2008, flag=True))
        elif self.time_s >= FALLS_FIVE_S:
            says = f"{took} is 12 s or more: of people like that 41% fell, of quicker ones 20%."
            found.append(Finding(says, LUSARDI_2017, flag=True))
        return tuple(found)

    def norms(self, age: int, _sex: Sex | None) -> tuple[Norm, ...]:
        limit = in_band(SLOWER_IF_OVER, age)
        if limit is None:
            return ()
        words = "Slower than average for this age if over"
        return (Norm(words, limit, "s", BOHANNON_2006_STANDS),)


def five_stands(time_s: object) -> FiveStands:
    """Score five times sit to stand; None means it could not be done."""
    if time_s is None:
        return FiveStands(None)
    return FiveStands(seconds("five stands", time_s, MOST_FIVE_S, least_s=1.0))
