"""One sheet of named values: pages, docs and drawings take their colours from it alone."""

import re
from itertools import product
from pathlib import Path

import pytest

from rungwise.concepts.look import COLOURS
from rungwise.web.ui.values_sheet import values_css

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "service/rungwise/web/static"
SHEETS = [*sorted(STATIC.glob("*.css")), ROOT / "docs/site/site.css"]
OURS = [sheet for sheet in SHEETS if sheet.name != "values.css"]
HEX = re.compile(r"#[0-9a-fA-F]{3,8}\b")


def test_the_sheet_is_written_from_the_table() -> None:
    """Write it anew with `python -m rungwise.web.ui.values_sheet`."""
    assert (STATIC / "values.css").read_text() == values_css()


@pytest.mark.parametrize("sheet", OURS, ids=lambda sheet: sheet.name)
def test_no_colour_stands_anywhere_else(sheet: Path) -> None:
    assert HEX.findall(sheet.read_text()) == []


@pytest.mark.parametrize("sheet", OURS, ids=lambda sheet: sheet.name)
def test_every_value_used_has_a_name(sheet: Path) -> None:
    """A value without a definition is silently the parent's, or none."""
    named = set(re.findall(r"(--[\w-]+):", values_css() + sheet.read_text()))
    assert set(re.findall(r"var\((--[\w-]+)", sheet.read_text())) <= named


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, "contrast ratio"."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


# Letters and their grounds want 4.5 (1.4.3 of WCAG 2.2), edges of controls and signs 3 (1.4.11).
LETTERS = [
    *product(("ink", "soft"), ("paper", "sheet", "shade")),
    *product(("brick", "moss"), ("paper", "sheet")),
    *(("ink", "brick-wash"), ("on-brick", "brick-fill"), ("on-ink", "ink")),
]
EDGES = [("line", "sheet"), ("line", "paper"), ("brick-fill", "sheet")]


@pytest.mark.parametrize("theme", ["light", "dark", "print"])
def test_contrast(theme: str) -> None:
    def of(name: str) -> str:
        return str(getattr(COLOURS[name], theme))

    low = [pair for pair in LETTERS if contrast(of(pair[0]), of(pair[1])) < 4.5]
    low += [pair for pair in EDGES if contrast(of(pair[0]), of(pair[1])) < 3]
    assert low == []


def test_the_ratio_is_the_standards() -> None:
    """Black on white is 21:1, and #777777 on white just fails 4.5 (both from the standard)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert 4.4 < contrast("#777777", "#ffffff") < 4.5
