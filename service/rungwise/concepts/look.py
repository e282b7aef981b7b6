"""The look: every named colour, size and space that pages, drawings, print and PDF share.

`python -m rungwise.web.ui.values_sheet` writes them as the style sheet that pages begin with.
"""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Colour:
    """One colour by theme. Paper gets `print`, on screens as in files to print."""

    light: str
    dark: str
    print: str


# What each is for stands in docs/architecture.md under "The look".
COLOURS: Mapping[str, Colour] = {
    "paper": Colour("#f3eee3", "#171612", "#ffffff"),
    "sheet": Colour("#fcfaf4", "#211f1a", "#ffffff"),
    "shade": Colour("#ebe4d5", "#2d2a23", "#ffffff"),
    "ink": Colour("#1f2935", "#ece6d8", "#1f2935"),
    "soft": Colour("#4f5862", "#b7af9e", "#4f5862"),
    "rule": Colour("#d8cdba", "#3d3a31", "#bbbbbb"),
    "line": Colour("#857b67", "#938a78", "#777777"),
    "brick": Colour("#96301d", "#f2a08a", "#96301d"),
    "brick-fill": Colour("#96301d", "#bc4830", "#96301d"),
    "brick-wash": Colour("#f7e4dc", "#3a231c", "#ffffff"),
    "on-brick": Colour("#fffaf5", "#fff6f0", "#ffffff"),
    "moss": Colour("#2c5f56", "#93c4b4", "#2c5f56"),
    "moss-pale": Colour("#a9c4b9", "#4a6f66", "#a9c4b9"),
    "on-ink": Colour("#fcfaf4", "#211f1a", "#ffffff"),
}

# Sizes of letters: beside and keys, notes, body, names, what to do now, titles.
LETTERS_PX: Mapping[str, int] = {
    "small": 13, "note": 14, "body": 16, "name": 18, "say": 20, "title": 25,
}  # fmt: skip
SPACES_PX: Mapping[str, int] = {"1": 4, "2": 8, "3": 12, "4": 16, "5": 24, "6": 36}
# Named faces stand first: a plain Linux machine otherwise gets its widest letters.
FACES: Mapping[str, tuple[str, ...]] = {
    "text": (
        "-apple-system", "BlinkMacSystemFont", "Segoe UI", "Roboto", "Noto Sans",
        "Liberation Sans", "DejaVu Sans Condensed", "system-ui", "sans-serif",
    ),
    "head": (
        "Iowan Old Style", "Palatino Linotype", "Palatino", "URW Palladio L", "P052", "Georgia",
        "DejaVu Serif Condensed", "serif",
    ),
    "code": ("ui-monospace", "SF Mono", "Menlo", "Consolas", "DejaVu Sans Mono", "monospace"),
}  # fmt: skip
# The height of what is pressed: with a finger, and with a mouse on a wide page.
PRESS_PX, PRESS_WITH_MOUSE_PX = 44, 36
