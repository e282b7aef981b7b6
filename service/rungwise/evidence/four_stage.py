"""The four-stage balance test: side by side, semi-tandem, tandem, one foot, 10 s each.

CDC STEADI, assessment sheet, 2017. Stop at the first stage not held.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import said_s, seconds
from rungwise.evidence.one_leg import one_leg_findings
from rungwise.evidence.sources import COMMON_PRACTICE, STEADI_FOUR_STAGE, Finding, Norm

STAGES = ("side by side", "semi-tandem", "tandem", "one foot")
HOLD_S = 10.0
TANDEM = 2
ONE_FOOT = 3


@dataclass(frozen=True, slots=True)
class FourStage:
    """`held_s`: seconds of each stage in order, None for one that was not tried."""

    held_s: tuple[float | None, ...]

    @property
    def finished(self) -> bool:
        """Whether all four stages were held."""
        return self.stages_held == len(STAGES)

    @property
    def stopped_at(self) -> int | None:
        """The stage that was tried and not held, 1 to 4; None when there was none."""
        short = (place for place, held in enumerate(self.held_s, start=1) if _short(held))
        return next(short, None)

    @property
    def stages_held(self) -> int:
        """How many were held one after the other: one that was not tried ends the count."""
        return len(list(takewhile(lambda held: held is not None and held >= HOLD_S, self.held_s)))

    @property
    def tandem_held(self) -> bool:
        """Whether tandem was held 10 s; not tried counts as not held."""
        held = self.tried_s(TANDEM)
        return held is not None and held >= HOLD_S

    def tried_s(self, place: int) -> float | None:
        """Seconds of the stage at this place, from 0; None when it was not tried."""
        return self.held_s[place] if len(self.held_s) > place else None

    @property
    def higher_risk(self) -> bool:
        """Tandem not held for 10 s: what the sheet counts as a higher risk of falling."""
        return not self.tandem_held

    @property
    def one_leg_s(self) -> float | None:
        """Seconds on one foot; None when that stage was not tried."""
        return self.tried_s(ONE_FOOT)

    @property
    def headline(self) -> tuple[float, str]:
        return self.stages_held, "stages held of 4"

    def findings(self, age: int, _sex: str | None) -> tuple[Finding, ...]:
        found = []
        if _short(self.held_s[0]):
            says = "Feet together was not held for 10 s: not ready to practise without support."
            found.append(Finding(says, COMMON_PRACTICE, flag=True))
        if self.higher_risk:
            tandem = self.tried_s(TANDEM)
            how = "was not tried" if tandem is None else f"was held {said_s(tandem)}, not 10 s"
            says = f"Tandem {how}. The sheet counts that as a higher risk of falling."
            found.append(Finding(says, STEADI_FOUR_STAGE, flag=True))
        else:
            says = "Tandem was held for 10 s: no higher risk of falling by this sheet."
            found.append(Finding(says, STEADI_FOUR_STAGE))
        if self.one_leg_s is not None:
            found += one_leg_findings(self.one_leg_s, "One foot", age)
        return tuple(found)

    def norms(self, _age: int, _sex: str | None) -> tuple[Norm, ...]:
        return (Norm("Each stage is to be held for", HOLD_S, "s", STEADI_FOUR_STAGE),)


def _short(held_s: float | None) -> bool:
    return held_s is not None and held_s < HOLD_S


def four_stage(held_s: Sequence[object]) -> FourStage:
    """Score the test from the seconds held in each stage, None for one that was not tried.

    ImpossibleValue for more or less than 0 to 10 s, for a stage after one that was not held, and
    when a held stage is not followed by the next.
    """
    if not 1 <= len(held_s) <= len(STAGES):
        raise ImpossibleValue("stages", len(held_s), "1 to 4 times, one for each stage tried")
    held = tuple(
        None if value is None else seconds(stage, value, HOLD_S)
        for stage, value in zip(STAGES, held_s, strict=False)
    )
    for place, time_s in enumerate(held[:-1]):
        if _short(time_s) and held[place + 1] is not None:
            raise ImpossibleValue(
                STAGES[place + 1], held[place + 1], f"left out: {STAGES[place]} was not held 10 s"
            )
    last = held[-1]
    if last is not None and last >= HOLD_S and len(held) < len(STAGES):
        raise ImpossibleValue(STAGES[len(held)], None, "given: the stage before was held 10 s")
    return FourStage(held)
