"""The colours of the drawings: light, dark, and one that takes the page's own ink."""

from dataclasses import dataclass
from typing import Literal

Theme = Literal["light", "dark", "auto"]


@dataclass(frozen=True, slots=True)
class Palette:
    """SVG paint values. `paper` is None where the page shows through."""

    paper: str | None
    ink: str
    quiet: str
    lead: str
    lead_opacity: float
    other: str
    other_opacity: float
    soft: str
    soft_edge: str
    soft_opacity: float
    counter: str
    counter_opacity: float


PALETTES: dict[Theme, Palette] = {
    "light": Palette(
        paper="#fdfcf8",
        ink="#1f2d33",
        quiet="#5b6b70",
        lead="#2b6b66",
        lead_opacity=1,
        other="#a9c6bf",
        other_opacity=1,
        soft="#efdcae",
        soft_edge="#8a6a22",
        soft_opacity=1,
        counter="#dfe3e1",
        counter_opacity=1,
    ),
    "dark": Palette(
        paper="#151d20",
        ink="#f0f4f1",
        quiet="#a9b8b6",
        lead="#86cfc4",
        lead_opacity=1,
        other="#45706b",
        other_opacity=1,
        soft="#54461f",
        soft_edge="#dcc07c",
        soft_opacity=1,
        counter="#344146",
        counter_opacity=1,
    ),
    "auto": Palette(
        paper=None,
        ink="currentColor",
        quiet="currentColor",
        lead="currentColor",
        lead_opacity=0.72,
        other="currentColor",
        other_opacity=0.26,
        soft="#c79a3a",
        soft_edge="#a67a1c",
        soft_opacity=0.4,
        counter="currentColor",
        counter_opacity=0.12,
    ),
}
