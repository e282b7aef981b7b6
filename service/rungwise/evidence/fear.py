"""Fear of falling: the total of a published scale, entered with the form it came from.

No question of a scale is copied here; whoever uses one has it.
"""

from dataclasses import dataclass
from typing import Literal, get_args

from rungwise.errors import ImpossibleValue
from rungwise.evidence.measures import whole
from rungwise.evidence.sources import KEMPEN_2008, YARDLEY_2005, Finding, Norm, Source

Form = Literal["fes_i_short", "fes_i"]
# Lowest and highest total, and whose scale it is: 7 and 16 questions of 1 to 4 points each.
FORMS: dict[Form, tuple[str, int, int, Source]] = {
    "fes_i_short": ("Short FES-I", 7, 28, KEMPEN_2008),
    "fes_i": ("FES-I", 16, 64, YARDLEY_2005),
}


@dataclass(frozen=True, slots=True)
class Fear:
    """Points; more is more concern about falling."""

    total: int
    form: Form

    @property
    def headline(self) -> tuple[float, str]:
        return float(self.total), f"points, {FORMS[self.form][0]}"

    def findings(self, _age: int, _sex: str | None) -> tuple[Finding, ...]:
        _, low, high, source = FORMS[self.form]
        says = f"{self.total} of {low} to {high}; more points mean more concern about falling."
        return (Finding(says, source),)

    def norms(self, _age: int, _sex: str | None) -> tuple[Norm, ...]:
        return ()


def fear(total: object, form: object) -> Fear:
    """The total of a form; ImpossibleValue for one that the form cannot give."""
    if form not in get_args(Form):
        raise ImpossibleValue("form", form, " or ".join(get_args(Form)))
    name, low, high, _ = FORMS[form]  # type: ignore[index]  # checked just above
    return Fear(whole(f"total of the {name}", total, low, high), form)  # type: ignore[arg-type]
