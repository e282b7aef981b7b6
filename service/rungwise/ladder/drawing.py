"""A rung drawn from above, to scale: one SVG unit is one millimetre, and the client faces up.

The feet, the distances between them and the half foam are to scale. The counter is not: it stands
where the hands can reach it, drawn nearer to fit.
"""

from collections.abc import Iterator
from re import sub
from xml.sax.saxutils import escape

from rungwise.ladder import svg
from rungwise.ladder.body import Body
from rungwise.ladder.footprint import Foot, hull, outline, place, resting_part
from rungwise.ladder.furniture import draw_counter, draw_pieces, soft_pieces
from rungwise.ladder.palette import PALETTES, Theme
from rungwise.ladder.rungs import Rung
from rungwise.ladder.sheet import LARGE, NORMAL, SMALL, PictureWords, Sheet
from rungwise.ladder.stance import Side, Stance

ENGLISH = PictureWords()


def draw_rung(
    rung: Rung,
    body: Body,
    *,
    title: str,
    description: str = "",
    theme: Theme = "light",
    lead: Side | None = None,
    words: PictureWords = ENGLISH,
    for_client: bool = False,
) -> str:
    """The rung as a complete SVG element.

    `title` and `description` are its text alternative. `lead` is the foot in front or stood on,
    by default the first side practised. `for_client` shows the gaps a client can see and measure;
    otherwise the distances between centre lines and heels, and the base of support.
    """
    placement = place(rung, body, lead)
    pieces = soft_pieces(rung, body, placement)
    sheet = Sheet(rung, body, placement, PALETTES[theme], words, for_client, pieces)
    name = "rung-" + sub(r"[^a-z0-9]+", "-", f"{rung.key}-{sheet.placement.front}")
    about = svg.element("title", escape(title), id=f"{name}-title")
    about += svg.element("desc", escape(description or title), id=f"{name}-desc")
    return svg.element(
        "svg",
        about + "".join(_Drawer(sheet).parts()),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {sheet.width:.0f} {sheet.height:.0f}",
        role="img",
        class_="rung",
        aria_labelledby=f"{name}-title {name}-desc",
    )


class _Drawer:
    """Draws one sheet, back to front."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.rung, self.body, self.placement = sheet.rung, sheet.body, sheet.placement
        self.palette, self.words, self.at = sheet.palette, sheet.words, sheet.at

    def parts(self) -> Iterator[str]:
        if self.palette.paper:
            height, paper = self.sheet.height, self.palette.paper
            yield svg.element(
                "rect", width=self.sheet.width, height=height, class_="paper", fill=paper
            )
        yield from draw_counter(self.sheet)
        yield from draw_pieces(self.sheet)
        if not self.sheet.for_client:
            yield self._base()
        for foot in (self.placement.left, self.placement.right):
            yield self._foot(foot)
        for foot in (self.placement.left, self.placement.right):
            yield from self._label(foot)
        yield from self._side_to_side()
        yield from self._front_to_back()

    def _base(self) -> str:
        base = hull(self.placement, self.body)
        return svg.element(
            "path",
            d=svg.closed_path(self.at(x, y) for x, y in base),
            class_="base",
            fill=self.palette.quiet,
            fill_opacity=0.12,
            stroke=self.palette.quiet,
            stroke_width=2,
            stroke_dasharray="3 7",
        )

    def _foot(self, foot: Foot) -> str:
        points = outline(self.body, foot)
        lead = bool(self.rung.sides) and foot.side is self.placement.front
        fill, opacity = (
            (self.palette.lead, self.palette.lead_opacity)
            if lead
            else (self.palette.other, self.palette.other_opacity)
        )
        whole = svg.element(
            "path",
            d=svg.closed_path(self.at(x, y) for x, y in points),
            class_=f"foot {foot.side}",
            fill=fill if foot.touch == "whole" else "none",
            fill_opacity=opacity,
            stroke=self.palette.ink,
            stroke_width=3,
            stroke_dasharray=None if foot.touch == "whole" else "10 8",
        )
        if foot.touch in ("whole", "none"):
            return whole
        part = resting_part(self.body, foot)
        return whole + svg.element(
            "path",
            d=svg.closed_path(self.at(x, y) for x, y in part),
            class_="toes",
            fill=fill,
            fill_opacity=opacity,
            stroke=self.palette.ink,
            stroke_width=3,
        )

    def _label(self, foot: Foot) -> Iterator[str]:
        """Left or right, and what the foot does, on the foot's outer side."""
        out = -1 if foot.side is Side.LEFT else 1
        y_mm = foot.y_mm + 0.5 * self.body.foot_length_mm
        x, y = self.at(out * (self.sheet.clear_mm(foot) + 18), y_mm)
        anchor = "end" if out < 0 else "start"
        name = self.words.left if foot.side is Side.LEFT else self.words.right
        ink = self.palette.ink
        yield svg.words(
            name, x, y, text_anchor=anchor, font_size=LARGE, font_weight="bold", fill=ink
        )
        role = self._role(foot)
        if role:
            yield svg.words(role, x, y + 40, text_anchor=anchor, font_size=SMALL, fill=ink)

    def _role(self, foot: Foot) -> str:
        if foot.touch == "none":
            return self.words.lifted
        if foot.touch == "ball":
            return self.words.resting
        if foot.touch == "forefoot":
            return self.words.toes_only
        if not self.rung.sides or foot.side is not self.placement.front:
            return ""
        standing = self.rung.stance in (Stance.TOE_TOUCH, Stance.SINGLE_LEG)
        return self.words.stand_on if standing else self.words.in_front

    def _side_to_side(self) -> Iterator[str]:
        """The distance between the feet, under the heels."""
        if not self.sheet.measured_across:
            return
        gap_mm, text = self.sheet.free_mm, self.words.between
        inward_mm = 0.0
        if self.sheet.for_client and gap_mm is None:
            text = self.words.off_line
        elif self.sheet.for_client:
            inward_mm = (self.rung.offset_mm - (gap_mm or 0)) / 2
            text = self.words.apart if gap_mm else self.words.touching
        low_mm = self.sheet.low_mm - 40
        left, right = self.placement.left, self.placement.right
        ends = (left.x_mm + inward_mm, right.x_mm - inward_mm)
        if text != self.words.touching:
            for x_mm, foot in zip(ends, (left, right), strict=True):
                start, end = self.at(x_mm, foot.y_mm), self.at(x_mm, low_mm - 12)
                yield svg.line(start, end, **self._thin())
            yield from self._dimension((ends[0], low_mm), (ends[1], low_mm))
        x, y = self.at(sum(ends) / 2, low_mm)
        yield self._measure(text.format(length=self.sheet.length(ends[1] - ends[0])), x, y + 52)

    def _front_to_back(self) -> Iterator[str]:
        """How far the front foot is ahead, on the front foot's side below its heel."""
        if self.rung.ahead_mm is None or self.rung.stance is Stance.TANDEM:
            return
        front = self.placement.foot(self.placement.front)
        back = self.placement.foot(self.placement.front.other)
        out = -1 if self.placement.front is Side.LEFT else 1
        clear_mm = out * back.x_mm + self.body.foot_breadth_mm / 2 + 24
        x_mm = out * max(out * front.x_mm, clear_mm)
        low_mm, text = back.y_mm, self.words.heel_to_heel
        if self.sheet.for_client:
            low_mm, text = back.y_mm + self.body.foot_length_mm, self.words.ahead
            if self.rung.ahead_mm <= 0:
                return
            toes = self.at(back.x_mm, low_mm)
            yield svg.line(toes, self.at(x_mm, low_mm), **self._thin())
        else:
            yield svg.line(
                self.at(back.x_mm, low_mm), self.at(x_mm + out * 12, low_mm), **self._thin()
            )
        yield from self._dimension((x_mm, low_mm), (x_mm, front.y_mm))
        x, y = self.at(x_mm + out * 16, (low_mm + front.y_mm) / 2)
        anchor = "end" if out < 0 else "start"
        written = self.sheet.length(front.y_mm - low_mm)
        yield self._measure(written, x, y, text_anchor=anchor)
        yield self._measure(text, x, y + 38, text_anchor=anchor, font_size=SMALL)

    def _measure(self, text: str, x: float, y: float, **attributes: svg.Attribute) -> str:
        """Words over whatever lies below them, so with an edge in the paper's colour."""
        edge: dict[str, svg.Attribute] = {"font_size": NORMAL, "fill": self.palette.ink}
        if self.palette.paper:
            edge |= {"stroke": self.palette.paper, "stroke_width": 7, "paint_order": "stroke"}
        return svg.words(text, x, y, **(edge | attributes))

    def _thin(self) -> dict[str, svg.Attribute]:
        return {"stroke": self.palette.quiet, "stroke_width": 2, "stroke_dasharray": "2 6"}

    def _dimension(self, start_mm: svg.Point, end_mm: svg.Point) -> Iterator[str]:
        """A measured distance: a line with a bar across each end."""
        start, end = self.at(*start_mm), self.at(*end_mm)
        ink: dict[str, svg.Attribute] = {"stroke": self.palette.ink, "stroke_width": 3}
        yield svg.line(start, end, class_="distance", **ink)
        across = (0, 10) if abs(start[1] - end[1]) < 1 else (10, 0)
        for x, y in (start, end):
            yield svg.line((x - across[0], y - across[1]), (x + across[0], y + across[1]), **ink)
