"""What the charts have in common: a frame with axes, marks by name, a legend, and the page's inks.

Written as SVG by the same few elements as the drawings of rungs, in the units of the page.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

from rungwise.ladder import svg

Point = svg.Point
LETTERS_PX = 10.0
# A letter's usual width as a share of its size, in DejaVu Sans; a legend only needs about that.
LETTER_SHARE = 0.6
KEY_PX = 22.0
LEGEND_GAP_PX = 16.0
LINE_PX = 14.0


@dataclass(frozen=True, slots=True)
class Inks:
    """The page's colours, which an image of its own can't take from the stylesheet."""

    ink: str
    soft: str
    rule: str
    red: str
    sheet: str


INKS = {
    "light": Inks("#1f2935", "#535c66", "#d8cdba", "#96301d", "#fcfaf4"),
    "dark": Inks("#ebe5d7", "#b4ac9b", "#3d3a31", "#f2a08a", "#22211c"),
    "print": Inks("#111111", "#444444", "#bbbbbb", "#96301d", "#ffffff"),
}

# Corners of each mark around its middle, y downwards; a round one has none.
MARKS: dict[str, tuple[Point, ...]] = {
    "left": ((-4, 0), (3, -4), (3, 4)),
    "right": ((4, 0), (-3, -4), (-3, 4)),
    "up": ((0, -4), (4, 3), (-4, 3)),
    "down": ((0, 4), (4, -3), (-4, -3)),
    "diamond": ((0, -4.5), (4.5, 0), (0, 4.5), (-4.5, 0)),
    "square": ((-3, -3), (3, -3), (3, 3), (-3, 3)),
    "round": (),
}


def mark(shape: str, at: Point, ink: str, fill: str) -> str:
    """One of MARKS with its middle at a point."""
    x, y = at
    look: dict[str, svg.Attribute] = {"fill": fill, "stroke": ink, "stroke_width": 1}
    if not MARKS[shape]:
        return svg.element("circle", cx=x, cy=y, r=3.4, **look)
    corners = ((x + dx, y + dy) for dx, dy in MARKS[shape])
    return svg.element("path", d=svg.closed_path(corners), **look)


# What stands before a name in the legend: given the middle of its place.
Key = Callable[[Point], str]


class Plot:
    """A sheet with axes to draw on, back to front; `box` is their left, top, right and bottom."""

    def __init__(
        self,
        title: str,
        size: Point,
        box: tuple[float, float, float, float],
        across: Point,
        up: Point,
        inks: Inks,
    ) -> None:
        self.title, self.size, self.box, self.inks = title, size, box, inks
        self.across, self.up = across, up
        self.parts: list[str] = []

    def at(self, x: float, y: float) -> Point:
        """A point of the axes on the sheet."""
        left, top, right, bottom = self.box
        (x0, x1), (y0, y1) = self.across, self.up
        return (
            left + (x - x0) / (x1 - x0) * (right - left),
            bottom - (y - y0) / (y1 - y0) * (bottom - top),
        )

    def draw(self, *parts: str) -> None:
        self.parts.extend(parts)

    def line(self, points: Sequence[Point], ink: str, width: float, dashes: str = "") -> None:
        """A line through points of the axes."""
        if points:
            placed = " ".join(f"{x:.1f},{y:.1f}" for x, y in (self.at(*point) for point in points))
            self.draw(
                svg.element(
                    "polyline",
                    points=placed,
                    fill="none",
                    stroke=ink,
                    stroke_width=str(width),
                    stroke_dasharray=dashes or None,
                )
            )

    def steps(self, points: Sequence[Point], ink: str, width: float, dashes: str = "") -> None:
        """A line that keeps each height until the next point."""
        stairs = list(points[:1])
        for (_, before), (x, y) in pairwise(points):
            stairs += [(x, before), (x, y)]
        self.line(stairs, ink, width, dashes)

    def bar(self, x: float, half: float, high: float, ink: str, fill: str) -> None:
        """A bar from the foot of the axes, `half` as wide to each side."""
        (left, top), (right, bottom) = self.at(x - half, high), self.at(x + half, self.up[0])
        place = {"x": left, "y": top, "width": right - left, "height": bottom - top}
        self.draw(svg.element("rect", fill=fill, stroke=ink, stroke_width=1, **place))

    def words(self, text: str, at: Point, ink: str, anchor: str = "middle", bold: str = "") -> None:
        """A line of text at a point of the sheet."""
        look: dict[str, svg.Attribute] = {"text_anchor": anchor, "fill": ink}
        look |= {"font_size": LETTERS_PX, "font_weight": bold or None}
        self.draw(svg.words(text, *at, **look))

    def axes(
        self, x_ticks: Sequence[tuple[float, str]], y_ticks: Sequence[float], y_name: str
    ) -> None:
        """Both axes with their ticks, faint lines across, and what the upright one counts."""
        inks = self.inks
        left, top, right, bottom = self.box
        for value in y_ticks:
            self.line([(self.across[0], value), (self.across[1], value)], inks.rule, 0.8)
            self.words(f"{value:g}", (left - 6, self.at(0, value)[1] + 3.5), inks.ink, "end")
        for value, name in x_ticks:
            x, _ = self.at(value, 0)
            self.draw(svg.line((x, bottom), (x, bottom + 3), stroke=inks.ink, stroke_width=1))
            self.words(name, (x, bottom + 14), inks.ink)
        frame: dict[str, svg.Attribute] = {"stroke": inks.soft, "stroke_width": 1}
        self.draw(
            svg.line((left, top), (left, bottom), **frame),
            svg.line((left, bottom), (right, bottom), **frame),
        )
        x, y = 12.0, (top + bottom) / 2
        look: dict[str, svg.Attribute] = {"font_size": LETTERS_PX, "fill": inks.ink}
        self.draw(svg.words(y_name, x, y, transform=f"rotate(-90 {x:.1f} {y:.1f})", **look))

    def legend(self, entries: Sequence[tuple[str, Key]]) -> None:
        """Names with their marks below the axes, in as many centred lines as they take."""
        for number, row in enumerate(_rows(entries, self.size[0] - 2 * LEGEND_GAP_PX)):
            y = self.box[3] + 42 + number * LINE_PX
            x = (self.size[0] - sum(_wide(name) for name, _ in row) + LEGEND_GAP_PX) / 2
            for name, key in row:
                self.draw(key((x + KEY_PX / 2 - 3, y - 3.5)))
                self.words(name, (x + KEY_PX, y), self.inks.ink, "start")
                x += _wide(name)

    def key_line(self, ink: str, width: float, dashes: str = "") -> Key:
        """A short piece of a line, for the legend."""
        look: dict[str, svg.Attribute] = {"stroke": ink, "stroke_width": str(width)}
        look["stroke_dasharray"] = dashes or None
        return lambda at: svg.line((at[0] - 8, at[1]), (at[0] + 8, at[1]), **look)

    def file(self) -> str:
        """The whole chart."""
        width, height = self.size
        paper = svg.element("rect", width=width, height=height, fill=self.inks.sheet)
        about = svg.element("title", escape(self.title))
        return svg.element(
            "svg",
            about + paper + "".join(self.parts),
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {width:g} {height:g}",
            width=width,
            height=height,
        )


def _wide(name: str) -> float:
    return KEY_PX + len(name) * LETTERS_PX * LETTER_SHARE + LEGEND_GAP_PX


def _rows(entries: Sequence[tuple[str, Key]], widest: float) -> list[list[tuple[str, Key]]]:
    rows: list[list[tuple[str, Key]]] = [[]]
    for entry in entries:
        if rows[-1] and sum(_wide(name) for name, _ in (*rows[-1], entry)) > widest:
            rows.append([])
        rows[-1].append(entry)
    return rows
