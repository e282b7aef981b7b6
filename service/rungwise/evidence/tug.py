"""Timed Up and Go: up from a chair, 3 m and back, down; usual pace, an aid is allowed."""

from dataclasses import dataclass
from typing import Literal, get_args

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import in_band, said_s, seconds
from rungwise.evidence.sources import (
    BARRY_2014,
    BOHANNON_2006_TUG,
    MONTERO_ODASSO_2022,
    SHUMWAY_COOK_2000,
    STEADI_TUG,
    Finding,
    Norm,
)

Aid = Literal["none", "stick", "frame"]

MOST_S = 300.0
STEADI_S = 12.0
STUDY_S = 13.5
GUIDELINE_S = 15.0  # Montero-Odasso et al. 2022

# Mean seconds with their 95% interval by completed years. Bohannon 2006, J Geriatr Phys Ther.
MEANS = (
    (60, 69, (8.1, 7.1, 9.0)),
    (70, 79, (9.2, 8.2, 10.2)),
    (80, 99, (11.3, 10.0, 12.7)),
)


@dataclass(frozen=True, slots=True)
class Tug:
    """Seconds at the usual pace, and the walking aid used."""

    time_s: float
    aid: Aid = "none"

    @property
    def at_risk(self) -> bool:
        """12 s or more: at risk by the STEADI sheet."""
        return self.time_s >= STEADI_S

    @property
    def at_risk_by_older_cut(self) -> bool:
        """13.5 s or more: the cut-off of the 2000 study."""
        return self.time_s >= STUDY_S

    @property
    def headline(self) -> tuple[float, str]:
        return self.time_s, "s" if self.aid == "none" else f"s, with a {self.aid}"

    def findings(self, _age: int, _sex: str | None) -> tuple[Finding, ...]:
        took = said_s(self.time_s)
        cuts = (
            (self.at_risk, "12 s or more", "under 12 s", STEADI_TUG),
            (self.at_risk_by_older_cut, "13.5 s or more", "under 13.5 s", SHUMWAY_COOK_2000),
            (self.time_s > GUIDELINE_S, "over 15 s", "not over 15 s", MONTERO_ODASSO_2022),
        )
        found = [
            Finding(
                f"{took} is {over if beyond else under}: "
                f"{'' if beyond else 'not '}at risk by this cut-off.",
                source,
                flag=beyond,
            )
            for beyond, over, under, source in cuts
        ]
        says = "By itself it tells little: at 13.5 s it finds 31% of those who then fall, and 74% "
        says += "of those who don't are below it."
        return (*found, Finding(says, BARRY_2014))

    def norms(self, age: int, _sex: str | None) -> tuple[Norm, ...]:
        mean = in_band(MEANS, age)
        if mean is None:
            return ()
        value, low, high = mean
        words = "Mean of people of this age, with its 95% interval"
        return (Norm(words, value, "s", BOHANNON_2006_TUG, low, high),)


def tug(time_s: object, aid: object = "none") -> Tug:
    """Score Timed Up and Go; ImpossibleValue for a time or an aid that cannot be."""
    if aid not in get_args(Aid):
        raise ImpossibleValue("walking aid", aid, "'none', 'stick' or 'frame'")
    return Tug(
        seconds("time", time_s, MOST_S, least_s=2.0),
        aid,  # type: ignore[arg-type]  # checked just above
    )
