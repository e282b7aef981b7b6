"""Sheets at true size, as PDF by fpdf2: the tape with marks, and a stance's feet for the floor.

Both are tiled over as many sheets as they take. Every sheet has a control square or bar: where it
does not measure what it says, the printer changed the size and the sheets must not be used.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor

from fpdf.enums import XPos, YPos

from rungwise.concepts.measures import MM_PER_UNIT, Lengths
from rungwise.ladder.body import Body
from rungwise.ladder.footprint import Foot, outline, place
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side
from rungwise.web.reports.summary_pdf import INK, SOFT, Paper

TOP_MM = 32.0
BOTTOM_MM = 22.0
STRIP_MM, BETWEEN_MM = 34.0, 4.0
STRIPS_A_SHEET = 3
SQUARE_MM = 50.0
SQUARE_IN = 2
SHARED_MM = 10.0  # what two sheets of a foot print show both, to be glued
_FOOT = (
    "Print at 100 percent, without fitting to the page. Measure the control square or bar first: "
    "if it is not as long as it says, do not use these sheets."
)


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece of tape from one mark to another, in units."""

    name: str
    begins: int
    ends: int


class TrueSize(Paper):
    """Paper on which one millimetre is one millimetre."""

    def __init__(self, country: str, at: datetime, title: str, units: Lengths) -> None:
        super().__init__(country, at, title, "en", _FOOT)
        self.units = units
        self.set_auto_page_break(False)

    @property
    def free_mm(self) -> tuple[float, float]:
        """Width and height of what can be drawn on."""
        return self.w - self.l_margin - self.r_margin, self.h - TOP_MM - BOTTOM_MM

    def titled(self, text: str, size: float = 11) -> None:
        """What is on this sheet, above it."""
        self.set_xy(self.l_margin, self.t_margin)
        self.set_text_color(*INK)
        self.set_font("sans", "B", size)
        self.multi_cell(0, size * 0.48, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")

    def control_bar(self) -> None:
        """A bar to measure with a ruler, above what fills a whole sheet."""
        length = 100.0 if self.units == "cm" else 4 * MM_PER_UNIT["in"]
        said = "10 cm" if self.units == "cm" else "4 inches"
        y = TOP_MM - 3
        # Filled, not a line: a line's caps would make it longer than it says.
        self.set_fill_color(0, 0, 0)
        self.rect(self.l_margin, y - 0.4, length, 0.8, style="F")
        self.set_font("sans", "", 8)
        self.set_xy(self.l_margin + length + 3, y - 2)
        self.cell(50, 4, f"Control bar: {said}.")

    def control_square(self, x: float, y: float) -> None:
        """A square to measure with a ruler."""
        side = SQUARE_MM if self.units == "cm" else SQUARE_IN * MM_PER_UNIT["in"]
        said = "5 cm" if self.units == "cm" else f"{SQUARE_IN} inches"
        self.set_draw_color(0, 0, 0)
        self.set_line_width(0.3)
        self.rect(x, y, side, side)
        self.set_font("sans", "", 8)
        self.set_xy(x + 2, y + 3)
        self.multi_cell(side - 4, 4, f"Control square: each side is {said}.", align="L")


# --- the tape -------------------------------------------------------------------------------------


def tape_pdf(ladder: Ladder, units: Lengths, country: str, at: datetime) -> bytes:
    """The strips that a client's marks lie on, one across and one ahead, as long as needed."""
    paper = TrueSize(country, at, "Tape with marks", units)
    strips = tuple(_strips(ladder, paper))
    for first in range(0, len(strips), STRIPS_A_SHEET):
        if first:
            paper.add_page()
        _tape_sheet(paper, strips[first : first + STRIPS_A_SHEET])
    return paper.written()


def tape_reach(ladder: Ladder, units: Lengths) -> tuple[int, int]:
    """How far the strips across and ahead must reach, in whole units."""
    per_unit = MM_PER_UNIT[units]
    across = max(rung.offset_mm for rung in ladder.rungs)
    ahead = max(rung.step_mm for rung in ladder.rungs)
    return ceil(across / per_unit) + 1, ceil(ahead / per_unit) + 1


def _strips(ladder: Ladder, paper: TrueSize) -> Iterator[Strip]:
    most = floor(paper.free_mm[1] / MM_PER_UNIT[paper.units])
    for name, reach in zip(("across", "ahead"), tape_reach(ladder, paper.units), strict=True):
        for begins in range(0, reach, most):
            yield Strip(name, begins, min(begins + most, reach))


def _tape_sheet(paper: TrueSize, strips: Sequence[Strip]) -> None:
    paper.titled("Tape with marks: cut out along the lines")
    for place_, strip in enumerate(strips):
        _draw_strip(paper, strip, paper.l_margin + place_ * (STRIP_MM + BETWEEN_MM))
    x = paper.l_margin + STRIPS_A_SHEET * (STRIP_MM + BETWEEN_MM)
    x = min(x, paper.w - paper.r_margin - 51)
    paper.control_square(x, TOP_MM)
    paper.set_xy(x, TOP_MM + 56)
    paper.set_font("sans", "", 8)
    paper.set_text_color(*SOFT)
    paper.multi_cell(
        51,
        4,
        "Join pieces of one name at the same mark. Tape the strip ACROSS flat to the floor beside "
        "the counter, along it: 0 is under the left heel. Lay the strip AHEAD from the same line "
        "towards the counter: 0 is under the back heel. Marks are for the middle of the heel. "
        "Tape every edge down, so that nobody trips.",
        align="L",
    )


def _draw_strip(paper: TrueSize, strip: Strip, x: float) -> None:
    """From its first mark at the bottom to its last at the top."""
    per_unit = MM_PER_UNIT[paper.units]
    length = (strip.ends - strip.begins) * per_unit
    bottom = TOP_MM + length
    paper.set_draw_color(0, 0, 0)
    paper.set_line_width(0.2)
    paper.rect(x, TOP_MM, STRIP_MM, length)
    for half in range(2 * strip.begins, 2 * strip.ends + 1):
        y = bottom - (half / 2 - strip.begins) * per_unit
        whole = half % 2 == 0
        paper.set_line_width(0.5 if whole else 0.2)
        paper.line(x, y, x + (14 if whole else 8), y)
        inside = strip.begins < half / 2 < strip.ends
        if whole and (inside or half == 0):
            paper.set_font("sans", "B", 13)
            paper.set_xy(x + 15, y - (6 if half == 0 else 3))
            paper.cell(12, 6, str(half // 2))
    paper.set_font("sans", "", 8)
    paper.set_xy(x, TOP_MM - 5)
    name = f"{strip.name.upper()}, {strip.begins} to {strip.ends} {paper.units}"
    paper.cell(STRIP_MM, 4, name)


# --- the feet -------------------------------------------------------------------------------------


def feet_pdf(
    shown: Sequence[tuple[str, Rung]], body: Body, units: Lengths, country: str, at: datetime
) -> bytes:
    """Each named stance with its first side in front, at true size, to lay on the floor."""
    paper = TrueSize(country, at, "Feet at true size", units)
    first = True
    for name, rung in shown:
        for sheet in _foot_tiles(paper, rung, body):
            if not first:
                paper.add_page()
            first = False
            sheet.draw(paper, name, rung, body)
    return paper.written()


@dataclass(frozen=True, slots=True)
class _Tile:
    """One sheet of a foot print: where its lower left corner lies in the stance, mm."""

    row: int
    column: int
    rows: int
    columns: int
    left_mm: float
    low_mm: float

    def draw(self, paper: TrueSize, name: str, rung: Rung, body: Body) -> None:
        width, height = paper.free_mm
        where = f"sheet {self.row + 1} of {self.rows} from the counter, "
        where += f"{self.column + 1} of {self.columns} from the left"
        paper.titled(f"{name}: {where}", 10)
        paper.control_bar()
        placement = place(rung, body)
        with paper.rect_clip(paper.l_margin, TOP_MM, width, height):
            for foot in (placement.left, placement.right):
                self._foot(paper, body, foot)
        paper.set_draw_color(120, 120, 120)
        paper.set_line_width(0.15)
        paper.rect(paper.l_margin, TOP_MM, width, height)
        with paper.local_context():
            paper.set_dash_pattern(dash=2, gap=2)
            if self.column + 1 < self.columns:
                x = paper.l_margin + width - SHARED_MM
                paper.line(x, TOP_MM, x, TOP_MM + height)
            if self.row > 0:
                y = TOP_MM + SHARED_MM
                paper.line(paper.l_margin, y, paper.l_margin + width, y)

    def _foot(self, paper: TrueSize, body: Body, foot: Foot) -> None:
        points = [self._at(paper, x, y) for x, y in outline(body, foot)]
        paper.set_draw_color(0, 0, 0)
        paper.set_line_width(0.6)
        if foot.touch != "whole":
            paper.set_dash_pattern(dash=3, gap=2)
        paper.polygon(points, style="D")
        paper.set_dash_pattern()
        x, y = self._at(paper, foot.x_mm, foot.y_mm)
        paper.line(x, y, x, y - 15)
        paper.set_font("sans", "B", 16)
        label_x, label_y = self._at(paper, foot.x_mm, foot.y_mm + 0.3 * body.foot_length_mm)
        paper.set_xy(label_x - 12, label_y - 4)
        paper.cell(24, 8, "LEFT" if foot.side is Side.LEFT else "RIGHT", align="C")

    def _at(self, paper: TrueSize, x_mm: float, y_mm: float) -> tuple[float, float]:
        _, height = paper.free_mm
        return paper.l_margin + x_mm - self.left_mm, TOP_MM + height - (y_mm - self.low_mm)


def _foot_tiles(paper: TrueSize, rung: Rung, body: Body) -> Iterator[_Tile]:
    """As few sheets as the stance takes, from the counter back, left to right."""
    placement = place(rung, body)
    feet = (placement.left, placement.right)
    half, length = body.foot_breadth_mm / 2, body.foot_length_mm
    left = min(foot.x_mm for foot in feet) - half - 1
    right = max(foot.x_mm for foot in feet) + half + 1
    low = min(foot.y_mm for foot in feet) - 1
    high = max(foot.y_mm for foot in feet) + length + 1
    width, height = paper.free_mm
    columns = 1 + max(ceil((right - left - width) / (width - SHARED_MM)), 0)
    rows = 1 + max(ceil((high - low - height) / (height - SHARED_MM)), 0)
    for row in range(rows):
        for column in range(columns):
            from_low = rows - 1 - row
            yield _Tile(
                row,
                column,
                rows,
                columns,
                left + column * (width - SHARED_MM),
                low + from_low * (height - SHARED_MM),
            )
