"""The chart of holds: seconds by side over time, with moves, alerts, rests and days away marked.

Drawn by matplotlib as SVG. Sides differ by shape and steadiness by filling, so that it reads in
print and without colours; the page has the same figures as a table.
"""

import io
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator

from rungwise.coach.record.progress import DayHeld, Mark, Progress

WIDTH_IN, HEIGHT_IN = 9.0, 3.6
PRINT_DPI = 220
SETTINGS: dict[Any, Any] = {
    # Letters as letters: smaller, sharp at any size, and the reader's own.
    "svg.fonttype": "none",
    "svg.hashsalt": "rungwise",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 10,
    "hatch.linewidth": 0.6,
}
SIDES = {"left": ("<", "left foot"), "right": (">", "right foot"), "both": ("o", "both alike")}
MOVES = {
    "up": ("^", "up"),
    "back": ("v", "back"),
    "override": ("D", "placed by a trainer"),
    "rest": ("s", "rest"),
}
LEAST_TOP_S = 30.0
# Figures keep state in the library while they are drawn.
_drawing = threading.Lock()


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


def draw_holds(progress: Progress, theme: str = "light", form: str = "svg") -> bytes:
    """The chart as a complete file: SVG, or PNG for paper."""
    inks = INKS.get(theme, INKS["light"])
    with _drawing, rc_context(SETTINGS):
        figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), facecolor=inks.sheet, layout="constrained")
        axes = figure.add_subplot()
        top_s = _frame(axes, progress, inks)
        for begins, ends in progress.away:
            axes.axvspan(
                _at(begins) - 0.5, _at(ends) + 0.5, zorder=0, fc="none", ec=inks.rule, hatch="//"
            )
        _target(axes, progress.days, inks)
        for side in SIDES:
            _holds(axes, progress.days, side, inks)
        _marks(axes, progress, top_s, inks)
        _legend(axes, progress, inks)
        drawn = io.BytesIO()
        # Without a date in it, the same figures give the same file.
        about = {"Date": None, "Title": "Holds over time"} if form == "svg" else {"Software": None}
        figure.savefig(drawn, format=form, metadata=about, dpi=PRINT_DPI)
    return drawn.getvalue()


def _at(day: date) -> float:
    """A date's place on the axis."""
    return float(day.toordinal())


def _week_ticks(first: date, last: date) -> list[date]:
    """Mondays a whole number of weeks apart, at most about eight of them."""
    monday = first + timedelta(days=-first.weekday() % 7)
    weeks = max(((last - monday).days // 7 + 7) // 8, 1)
    return [monday + timedelta(weeks=at) for at in range(0, (last - monday).days // 7 + 1, weeks)]


def _frame(axes: Axes, progress: Progress, inks: Inks) -> float:
    """Axes, grid and the strip for marks above; gives the seconds at the strip's lower edge."""
    longest = (max(*day.by_side.values(), day.target_s + 4, 0.0) for day in progress.days)
    top_s = max(LEAST_TOP_S, *longest, 0.0) * 1.06
    axes.set_facecolor(inks.sheet)
    axes.set_ylim(0, top_s * 1.24)
    axes.set_xlim(_at(progress.first) - 1, _at(progress.last) + 1)
    axes.set_ylabel("seconds held", color=inks.ink)
    ticks = _week_ticks(progress.first, progress.last)
    axes.set_xticks([_at(day) for day in ticks], [f"{day:%-d %b}" for day in ticks])
    every = 10 if top_s <= 70 else 30 if top_s <= 200 else 60
    axes.yaxis.set_major_locator(FixedLocator(list(range(0, int(top_s) + 1, every))))
    axes.tick_params(colors=inks.ink, length=3)
    axes.grid(axis="y", color=inks.rule, linewidth=0.8)
    axes.axhline(top_s, color=inks.soft, linewidth=0.8)
    for name, spine in axes.spines.items():
        spine.set_color(inks.soft)
        spine.set_visible(name in ("left", "bottom"))
    return top_s


def _target(axes: Axes, days: Sequence[DayHeld], inks: Inks) -> None:
    if days:
        when = [_at(day.day) for day in days]
        targets = [day.target_s for day in days]
        axes.step(when, targets, where="post", color=inks.soft, linestyle=(0, (5, 3)), linewidth=1)


def _holds(axes: Axes, days: Sequence[DayHeld], side: str, inks: Inks) -> None:
    """One side's line: filled on steady days, hollow on wobbly, short or unfinished ones."""
    held = [(_at(day.day), day.by_side[side], day.verdict) for day in days if side in day.by_side]
    if not held:
        return
    shape, _ = SIDES[side]
    axes.plot(
        [at for at, _, _ in held],
        [seconds for _, seconds, _ in held],
        color=inks.ink,
        linewidth=0.6,
        alpha=0.5,
        linestyle="-" if side != "right" else (0, (1, 1.5)),
    )
    for steady, fill in ((True, inks.ink), (False, inks.sheet)):
        some = [(at, seconds) for at, seconds, how in held if (how == "steady") is steady]
        axes.plot(
            [at for at, _ in some],
            [seconds for _, seconds in some],
            linestyle="none",
            marker=shape,
            markersize=6.5,
            markerfacecolor=fill,
            markeredgecolor=inks.ink,
            zorder=3,
        )


def _marks(axes: Axes, progress: Progress, top_s: float, inks: Inks) -> None:
    """Moves in the strip above the holds; alerts as lines through both, with an exclamation."""
    for kind, (shape, _) in MOVES.items():
        when = [_at(mark.day) for mark in progress.moves if mark.kind == kind]
        high = [top_s * 1.07] * len(when)
        axes.plot(when, high, linestyle="none", marker=shape, markersize=6, color=inks.ink)
    for mark in progress.alerts:
        urgent = mark.about == "urgent"
        color = inks.red if urgent else inks.soft
        axes.vlines(
            _at(mark.day), 0, top_s * 1.02, colors=color, linewidth=1.4 if urgent else 0.8, zorder=1
        )
        if urgent:
            axes.text(_at(mark.day), top_s * 1.13, "!", color=color, ha="center", weight="bold")


def _legend(axes: Axes, progress: Progress, inks: Inks) -> None:
    """Only what is in the picture."""
    sides = {side for day in progress.days for side in day.by_side}
    shown: list[Line2D | Patch] = [
        _key(shape, name, inks) for side, (shape, name) in SIDES.items() if side in sides
    ]
    if any(day.verdict != "steady" for day in progress.days):
        shown.append(_key("o", "hollow: wobbly or short", inks, hollow=True))
    if progress.days:
        shown.append(Line2D([], [], color=inks.soft, linestyle=(0, (5, 3)), label="target"))
    kinds = {mark.kind for mark in progress.moves}
    shown += [_key(shape, name, inks) for kind, (shape, name) in MOVES.items() if kind in kinds]
    if any(_is_urgent(mark) for mark in progress.alerts):
        shown.append(Line2D([], [], color=inks.red, linewidth=1.4, label="! urgent alert"))
    if not all(_is_urgent(mark) for mark in progress.alerts):
        shown.append(Line2D([], [], color=inks.soft, linewidth=0.8, label="other alert"))
    if progress.away:
        shown.append(Patch(fc="none", ec=inks.soft, hatch="//", linewidth=0, label="away"))
    if shown:
        axes.legend(
            handles=shown,
            loc="upper center",
            bbox_to_anchor=(0.5, -0.12),
            ncols=min(len(shown), 5),
            frameon=False,
            labelcolor=inks.ink,
            fontsize=9,
        )


def _is_urgent(mark: Mark) -> bool:
    return mark.about == "urgent"


def _key(shape: str, name: str, inks: Inks, *, hollow: bool = False) -> Line2D:
    fill = inks.sheet if hollow else inks.ink
    return Line2D(
        [], [], linestyle="none", marker=shape, color=inks.ink, markerfacecolor=fill, label=name
    )
