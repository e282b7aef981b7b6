"""A surface to practise on."""

from dataclasses import dataclass

from rungwise.ladder.stance import Surface


@dataclass(frozen=True, slots=True)
class Ground:
    """A surface to practise on. `orientation` says how half foam lies."""

    surface: Surface
    layers: int = 0
    orientation: str | None = None

    @property
    def lengthways(self) -> bool:
        return str(self.orientation).endswith("lengthways")
