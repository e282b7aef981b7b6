"""The pictures of the family's page: feet at one scale, the way climbed, the days. For paper."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from rungwise.concepts.look import COLOURS
from rungwise.concepts.measures import Lengths, exact
from rungwise.ladder import svg

INK, SOFT, LINE = (COLOURS[name].print for name in ("ink", "soft", "line"))
MOSS, PALE, PAPER = (COLOURS[name].print for name in ("moss", "moss-pale", "sheet"))
# What the mark beside the feet is long: 10 cm, 4 in.
MARK_MM: Mapping[Lengths, float] = {"cm": 100.0, "in": 101.6}
FOOT_MM = 90.0
STAIRS = (900.0, 230.0)
DAYS = (560.0, 300.0)
# More weeks than this are labelled every other one.
MOST_LABELS = 6
# The lowest stair still holds a few words.
FIRST_STAIR = 46.0
_BOX = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')

Where = Literal["passed", "here", "next", "ahead"]


@dataclass(frozen=True, slots=True)
class Stair:
    """One landmark: its name in lines, how it stands to the client, and a word on it."""

    name: tuple[str, ...]
    where: Where
    note: tuple[str, ...] = ()


def at_one_scale(drawings: Sequence[str], lengths: Lengths) -> list[str]:
    """Drawings of rungs, which are in millimetres, each on a sheet of the same size with a mark."""
    sizes = [tuple(map(float, found.groups())) for each in drawings if (found := _BOX.search(each))]
    width = max((size[0] for size in sizes), default=0.0)
    height = max((size[1] for size in sizes), default=0.0) + FOOT_MM
    mark_mm = MARK_MM[lengths]
    made = []
    for drawing, (wide, _) in zip(drawings, sizes, strict=True):
        _, _, inner = drawing.partition("<svg ")
        look = (
            f'x="{(width - wide) / 2:.1f}" y="0" width="{wide:.1f}" height="{height - FOOT_MM:.1f}"'
        )
        nested = f'<svg {look} preserveAspectRatio="xMidYMin" {inner}'
        y = height - 30
        ends = svg.line((20, y - 10), (20, y + 10), stroke=INK, stroke_width=4)
        ends += svg.line((20 + mark_mm, y - 10), (20 + mark_mm, y + 10), stroke=INK, stroke_width=4)
        bar = svg.line((20, y), (20 + mark_mm, y), stroke=INK, stroke_width=4)
        words = svg.words(
            exact(mark_mm, lengths), 34 + mark_mm, y + 11, text_anchor="start", fill=SOFT
        )
        made.append(_sheet((width, height), nested + bar + ends + words, "feet"))
    return made


def stairs(steps: Sequence[Stair], title: str) -> str:
    """The landmarks as stairs: climbed, where the client is, the next, and those beyond."""
    width, height = STAIRS
    each, floor = width / max(len(steps), 1), height - 84
    parts = []
    for place, step in enumerate(steps):
        rise = FIRST_STAIR + place * (floor - FIRST_STAIR - 4) / max(len(steps) - 1, 1)
        x = place * each
        climbed = step.where in ("passed", "here")
        fill = {"passed": PALE, "here": MOSS}.get(step.where, PAPER)
        look: dict[str, svg.Attribute] = {"fill": fill, "stroke": INK if climbed else LINE}
        look["stroke_width"] = 2
        look["stroke_dasharray"] = None if climbed else "7 5"
        parts.append(
            svg.element("rect", x=x + 1, y=floor - rise, width=each - 2, height=rise, **look)
        )
        bold = "bold" if step.where in ("here", "next") else None
        middle = x + each / 2
        for row, line in enumerate(step.name):
            y = floor + 22 + 20 * row
            parts.append(svg.words(line, middle, y, font_size=16, fill=INK, font_weight=bold))
        on = PAPER if step.where == "here" else INK
        for row, line in enumerate(step.note):
            y = floor - rise + 20 + 18 * row
            parts.append(svg.words(line, middle, y, font_size=15, fill=on, font_weight=bold))
    return _sheet(STAIRS, "".join(parts), "stairs", title)


def days_grid(
    weeks: Sequence[tuple[date, str]],
    steady: frozenset[date],
    practised: frozenset[date],
    last: date,
    names: Sequence[str],
    title: str,
) -> str:
    """A column a week, Monday first, with its label: full steady, a ring practised, a dot not."""
    width, _ = DAYS
    left, top, row = 70.0, 44.0, 35.0
    each = min((width - left) / max(len(weeks), 1), 62.0)
    parts = [
        svg.words(name, left - 12, top + row * place + 7, text_anchor="end", font_size=19, fill=INK)
        for place, name in enumerate(names)
    ]
    for week, (monday, label) in enumerate(weeks):
        x = left + each * (week + 0.5)
        if week % 2 == 0 or len(weeks) <= MOST_LABELS:
            parts.append(svg.words(label, x, 24, font_size=16, fill=SOFT))
        for place in range(7):
            day = date.fromordinal(monday.toordinal() + place)
            at: dict[str, svg.Attribute] = {"cx": x, "cy": top + row * place}
            if day > last:
                continue
            if day in steady:
                parts.append(svg.element("circle", r=13, fill=MOSS, **at))
            elif day in practised:
                look: dict[str, svg.Attribute] = {"stroke": MOSS, "stroke_width": 3}
                parts.append(svg.element("circle", r=11.5, fill="none", **look, **at))
            else:
                parts.append(svg.element("circle", r=3, fill=SOFT, **at))
    return _sheet(DAYS, "".join(parts), "days", title)


def _sheet(size: svg.Point, inner: str, name: str, title: str = "") -> str:
    width, height = size
    about = svg.element("title", title) if title else ""
    return svg.element(
        "svg",
        about + inner,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:g} {height:g}",
        class_=f"family-{name}",
        role="img" if title else None,
    )
