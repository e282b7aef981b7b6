"""The charts of outcomes: practice by week, and the share that has reached each landmark.

As the chart of holds: lines told apart by dashes and marks as well as names, in the page's
colours. The page has the same figures as tables.
"""

from collections.abc import Sequence

from rungwise.coach.reports.outcomes import LandmarkTime, WeekPractice
from rungwise.evidence.landmarks import LANDMARKS
from rungwise.evidence.rates import WHO_DAYS_A_WEEK
from rungwise.ladder import svg
from rungwise.web.charts.plot import INKS, Inks, Key, Plot, mark

WIDE_PX, NARROW_PX = 576.0, 336.0
HIGH_PX = 245.0
DASHES = ("", "6 2", "2 1.5", "6 2 1 2", "1 1")
SHAPES = ("round", "square", "up", "diamond", "down")
WHO_DASHES = "5 3"
WEEK_DAYS = 7
MOST_MARKS = 8


def draw_weeks(
    weeks: Sequence[WeekPractice], theme: str = "light", width_px: float = WIDE_PX
) -> str:
    """Mean days asked for and practised a client, by week, with the WHO's 3 days.

    Weeks in which nobody was asked are left out.
    """
    inks = INKS.get(theme, INKS["light"])
    weeks = [week for week in weeks if week.clients]
    end = max(len(weeks), 1) - 0.4
    plot = _plot("Practice by week", width_px, (-0.6, end), (0, WEEK_DAYS), inks)
    every = max(len(weeks) // (8 if width_px == WIDE_PX else 4), 1)
    shown = [(float(at), f"{weeks[at].monday:%-d %b}") for at in range(0, len(weeks), every)]
    plot.axes(shown, range(WEEK_DAYS + 1), "days a client and week")
    for place, week in enumerate(weeks):
        asked = week.asked_days / week.clients if week.clients else 0
        plot.bar(place, 0.39, asked, inks.soft, "none")
        plot.bar(place, 0.28, week.days_a_client or 0, inks.ink, inks.ink)
    plot.line([(-0.6, WHO_DAYS_A_WEEK), (end, WHO_DAYS_A_WEEK)], inks.ink, 1.2, WHO_DASHES)
    x, y = plot.at(end, WHO_DAYS_A_WEEK)
    plot.words(f"{WHO_DAYS_A_WEEK} days", (x + 5, y + 3.5), inks.ink, "start")
    plot.legend([("asked for", _box(inks.soft, "none")), ("practised", _box(inks.ink, inks.ink))])
    return plot.file()


def _plot(title: str, width_px: float, across: svg.Point, up: svg.Point, inks: Inks) -> Plot:
    box = (44.0, 8.0, width_px - 56, 184.0)
    return Plot(title, (width_px, HIGH_PX), box, across, up, inks)


def draw_times(
    times: Sequence[LandmarkTime], theme: str = "light", width_px: float = WIDE_PX
) -> str:
    """For each landmark the share that has reached it, by days since the first rung."""
    inks = INKS.get(theme, INKS["light"])
    last = max([time.curve.longest_day for time in times if time.curve.people], default=0) or 1
    plot = _plot("Time to landmarks", width_px, (0, last * 1.03), (0, 102), inks)
    plot.axes(
        _day_ticks(last, 10 if width_px == WIDE_PX else 5),
        range(0, 101, 20),
        "% who have reached it",
    )
    (middle, _), foot = plot.at(last * 1.03 / 2, 0), plot.box[3] + 27
    entries: list[tuple[str, Key]] = []
    for place, time in enumerate(times):
        if not time.curve.people:
            continue
        reached = [(step.day, 100 * (1 - step.share_left)) for step in time.curve.steps]
        points = [(0.0, 0.0), *reached]
        points.append((time.curve.longest_day, points[-1][1]))
        dashes, shape = DASHES[place % len(DASHES)], SHAPES[place % len(SHAPES)]
        plot.steps(points, inks.ink, 1.4, dashes)
        for point in points[:: max(len(points) // MOST_MARKS, 1)]:
            plot.draw(mark(shape, plot.at(*point), inks.ink, inks.ink))
        entries.append((LANDMARKS[time.landmark], _line_and_mark(plot, dashes, shape)))
    plot.words("days since the first rung", (middle, foot), inks.ink)
    plot.legend(entries)
    return plot.file()


def _day_ticks(last: float, most: int) -> list[tuple[float, str]]:
    """Whole days, at most so many of them."""
    every = next(
        size * ten for ten in (1, 10, 100, 1000, 10_000) for size in (1, 2, 5)
        if last / (size * ten) <= most
    )  # fmt: skip
    return [(float(day), str(day)) for day in range(0, int(last) + 1, every)]


def _box(ink: str, fill: str) -> Key:
    look: dict[str, svg.Attribute] = {"width": 14, "height": 8, "fill": fill, "stroke": ink}
    return lambda at: svg.element("rect", x=at[0] - 7, y=at[1] - 4, **look)


def _line_and_mark(plot: Plot, dashes: str, shape: str) -> Key:
    line, ink = plot.key_line(plot.inks.ink, 1.4, dashes), plot.inks.ink
    return lambda at: line(at) + mark(shape, at, ink, ink)
