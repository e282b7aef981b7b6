"""The chart of holds: seconds by side over time, with moves, alerts, rests and days away marked.

Sides differ by shape and steadiness by filling, so that it reads in print and without colours; the
page has the same figures as a table.
"""

from collections.abc import Sequence
from datetime import date, timedelta

from rungwise.coach.record.progress import DayHeld, Mark, Progress
from rungwise.ladder import svg
from rungwise.web.charts.plot import INKS, Inks, Key, Plot, mark

WIDTH, HEIGHT = 648.0, 259.0
BOX = (44.0, 8.0, 640.0, 188.0)
PRINT_PX = 1980
SIDES = {"left": ("left", "left foot"), "right": ("right", "right foot")}
SIDES["both"] = ("round", "both alike")
MOVES = {
    "up": ("up", "up"),
    "back": ("down", "back"),
    "override": ("diamond", "placed by a trainer"),
    "rest": ("square", "rest"),
}
TARGET_DASHES = "5 3"
LEAST_TOP_S = 30.0


def draw_holds(progress: Progress, theme: str = "light") -> str:
    """The chart as a complete SVG."""
    inks = INKS.get(theme, INKS["light"])
    longest = (max(*day.by_side.values(), day.target_s + 4, 0.0) for day in progress.days)
    top_s = max(LEAST_TOP_S, *longest, 0.0) * 1.06
    across = (_at(progress.first) - 1, _at(progress.last) + 1)
    plot = Plot("Holds over time", (WIDTH, HEIGHT), BOX, across, (0, top_s * 1.24), inks)
    for begins, ends in progress.away:
        _away(plot, begins, ends)
    every = 10 if top_s <= 70 else 30 if top_s <= 200 else 60
    ticks = [(_at(day), f"{day:%-d %b}") for day in _week_ticks(progress.first, progress.last)]
    plot.axes(ticks, range(0, int(top_s) + 1, every), "seconds held")
    plot.line([(across[0], top_s), (across[1], top_s)], inks.soft, 0.8)
    targets = [(_at(day.day), day.target_s) for day in progress.days]
    plot.steps(targets, inks.soft, 1, TARGET_DASHES)
    _alerts(plot, progress.alerts, top_s)
    for side in SIDES:
        _holds(plot, progress.days, side)
    for move in progress.moves:
        if move.kind in MOVES:
            at = plot.at(_at(move.day), top_s * 1.07)
            plot.draw(mark(MOVES[move.kind][0], at, inks.ink, inks.ink))
    plot.legend(_legend(plot, progress))
    return plot.file()


def holds_png(progress: Progress) -> bytes:
    """The chart for paper."""
    return svg.png(draw_holds(progress, "print"), PRINT_PX)


def _at(day: date) -> float:
    """A date's place on the axis."""
    return float(day.toordinal())


def _week_ticks(first: date, last: date) -> list[date]:
    """Mondays a whole number of weeks apart, at most about eight of them."""
    monday = first + timedelta(days=-first.weekday() % 7)
    weeks = max(((last - monday).days // 7 + 7) // 8, 1)
    return [monday + timedelta(weeks=at) for at in range(0, (last - monday).days // 7 + 1, weeks)]


def _away(plot: Plot, begins: date, ends: date) -> None:
    """Days away, from edge to edge, as a band with slanting lines."""
    low, high = plot.across
    left, top = plot.at(max(_at(begins) - 0.5, low), plot.up[1])
    right, bottom = plot.at(min(_at(ends) + 0.5, high), 0)
    rule: dict[str, svg.Attribute] = {"stroke": plot.inks.rule, "stroke_width": 1}
    band: dict[str, svg.Attribute] = {"width": right - left, "height": bottom - top}
    plot.draw(svg.element("rect", x=left, y=top, fill="none", **band, **rule))
    tall = bottom - top
    for place in range(int(left), int(right + tall), 8):
        # Up to the right at half a right angle, cut off at the band's edges.
        start, end = max(place - tall, left), min(float(place), right)
        if start < end:
            plot.draw(svg.line((start, top + place - start), (end, top + place - end), **rule))


def _holds(plot: Plot, days: Sequence[DayHeld], side: str) -> None:
    """One side's line: filled on steady days, hollow on wobbly, short or unfinished ones."""
    inks = plot.inks
    held = [day for day in days if side in day.by_side]
    points = [(_at(day.day), day.by_side[side]) for day in held]
    plot.line(points, inks.soft, 0.6, "1 1.5" if side == "right" else "")
    for day, point in zip(held, points, strict=True):
        fill = inks.ink if day.verdict == "steady" else inks.sheet
        plot.draw(mark(SIDES[side][0], plot.at(*point), inks.ink, fill))


def _alerts(plot: Plot, alerts: Sequence[Mark], top_s: float) -> None:
    """Lines through holds and strip; an urgent one has an exclamation mark above."""
    for alert in alerts:
        at, ink = _at(alert.day), plot.inks.red if _is_urgent(alert) else plot.inks.soft
        plot.line([(at, 0), (at, top_s * 1.02)], ink, 1.4 if _is_urgent(alert) else 0.8)
        if _is_urgent(alert):
            plot.words("!", plot.at(at, top_s * 1.13), ink, bold="bold")


def _is_urgent(alert: Mark) -> bool:
    return alert.about == "urgent"


def _legend(plot: Plot, progress: Progress) -> list[tuple[str, Key]]:
    """Only what is in the picture."""
    inks = plot.inks
    sides = {side for day in progress.days for side in day.by_side}
    kinds = {move.kind for move in progress.moves}
    shown = [(name, _key(shape, inks)) for side, (shape, name) in SIDES.items() if side in sides]
    if any(day.verdict != "steady" for day in progress.days):
        shown.append(("hollow: wobbly or short", _key("round", inks, hollow=True)))
    if progress.days:
        shown.append(("target", plot.key_line(inks.soft, 1, TARGET_DASHES)))
    shown += [(name, _key(shape, inks)) for kind, (shape, name) in MOVES.items() if kind in kinds]
    if any(_is_urgent(alert) for alert in progress.alerts):
        shown.append(("! urgent alert", plot.key_line(inks.red, 1.4)))
    if not all(_is_urgent(alert) for alert in progress.alerts):
        shown.append(("other alert", plot.key_line(inks.soft, 0.8)))
    if progress.away:
        shown.append(("away", _slanting(inks)))
    return shown


def _key(shape: str, inks: Inks, *, hollow: bool = False) -> Key:
    return lambda at: mark(shape, at, inks.ink, inks.sheet if hollow else inks.ink)


def _slanting(inks: Inks) -> Key:
    def lines(at: svg.Point) -> str:
        x, y = at
        return "".join(
            svg.line((x + dx, y + 4), (x + dx + 8, y - 4), stroke=inks.soft, stroke_width=1)
            for dx in (-10, -4, 2)
        )

    return lines
