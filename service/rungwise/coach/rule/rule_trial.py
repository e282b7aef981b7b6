"""Other settings of the rule, to look at stored reports with. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

from rungwise.errors import ImpossibleValue
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, Caution

# If the first is changed and the second no longer fits it, the second follows by the least.
FOLLOWS = (
    ("steady_days_step", "steady_days_landmark", 0),
    ("back_days", "back_window_days", 0),
    ("away_back_days", "away_rest_days", 1),
)


@dataclass(frozen=True, slots=True)
class TrialSettings:
    """A preset in place of each client's own settings, single settings changed, or both.

    ImpossibleValue for an unknown preset or setting, for one outside its safe bounds, or for none.
    """

    preset: str | None = None
    changes: Mapping[str, int | float | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.preset is None and not self.changes:
            raise ImpossibleValue("settings", None, "a preset, or at least one setting")
        if self.preset is not None and self.preset not in PRESETS:
            raise ImpossibleValue("preset", self.preset, f"one of {', '.join(PRESETS)}")
        for name in self.changes:
            if name not in SAFE_BOUNDS:
                raise ImpossibleValue("setting", name, f"one of {', '.join(SAFE_BOUNDS)}")
        self.caution(Caution())

    @property
    def name(self) -> str:
        """What the sentences call it."""
        changed = ", ".join(
            f"{name.replace('_', ' ')} {'off' if value is None else format(value, 'g')}"
            for name, value in self.changes.items()
        )
        if self.preset is None:
            return changed
        preset = f"the {self.preset} preset"
        return f"{preset} and {changed}" if changed else preset

    def caution(self, own: Caution) -> Caution:
        """A client's own settings as they would be."""
        base = own if self.preset is None else PRESETS[self.preset]
        values = {one.name: getattr(base, one.name) for one in fields(base)} | dict(self.changes)
        for first, second, more in FOLLOWS:
            if first in self.changes and second not in self.changes:
                values[second] = max(values[second], values[first] + more)
        return replace(base, **values)
