"""The charts of outcomes: practice by week, and the share that has reached each landmark.

As the chart of holds: SVG by matplotlib, lines told apart by dashes and marks as well as names, in
the page's colours. The page has the same figures as tables.
"""

import io
from collections.abc import Sequence

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from rungwise.coach.reports.outcomes import LandmarkTime, WeekPractice
from rungwise.evidence.landmarks import LANDMARKS
from rungwise.evidence.rates import WHO_DAYS_A_WEEK
from rungwise.web.charts.holds_picture import INKS, SETTINGS, Inks, _drawing

WIDTH_IN, HEIGHT_IN = 8.0, 3.4
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)), (0, (1, 1)))
MARKS = ("o", "s", "^", "D", "v")
WEEK_DAYS = 7


def draw_weeks(weeks: Sequence[WeekPractice], theme: str = "light") -> bytes:
    """Mean days asked for and practised a client, by week, with the WHO's 3 days."""
    inks = INKS.get(theme, INKS["light"])
    with _drawing, rc_context(SETTINGS):
        figure, axes = _framed(inks)
        places = range(len(weeks))
        asked = [week.asked_days / week.clients if week.clients else 0 for week in weeks]
        done = [week.days_a_client or 0 for week in weeks]
        axes.bar(
            places, asked, width=0.78, facecolor="none", edgecolor=inks.soft, label="asked for"
        )
        axes.bar(places, done, width=0.56, color=inks.ink, label="practised")
        axes.axhline(WHO_DAYS_A_WEEK, color=inks.red, linewidth=1.2, linestyle=(0, (5, 3)))
        end = len(weeks) - 0.4
        axes.set_xlim(-0.6, end + 0.9)
        axes.text(end, WHO_DAYS_A_WEEK + 0.12, f"{WHO_DAYS_A_WEEK} days", color=inks.red, size=9)
        every = max(len(weeks) // 8, 1)
        shown = list(places)[::every]
        axes.set_xticks(shown, [f"{weeks[at].monday:%-d %b}" for at in shown])
        axes.set_ylim(0, WEEK_DAYS)
        axes.set_ylabel("days a client and week", color=inks.ink)
        _legend(axes, inks)
        return _saved(figure, "Practice by week")


def draw_times(times: Sequence[LandmarkTime], theme: str = "light") -> bytes:
    """For each landmark the share that has reached it, by days since the first rung."""
    inks = INKS.get(theme, INKS["light"])
    with _drawing, rc_context(SETTINGS):
        figure, axes = _framed(inks)
        for place, time in enumerate(times):
            if not time.curve.people:
                continue
            days, shares = [0.0], [0.0]
            for step in time.curve.steps:
                days.append(step.day)
                shares.append(100 * (1 - step.share_left))
            days.append(time.curve.longest_day)
            shares.append(shares[-1])
            axes.step(
                days,
                shares,
                where="post",
                color=inks.ink,
                linestyle=DASHES[place % len(DASHES)],
                marker=MARKS[place % len(MARKS)],
                markevery=max(len(days) // 8, 1),
                markersize=4.5,
                linewidth=1.4,
                label=LANDMARKS[time.landmark],
            )
        axes.set_ylim(0, 102)
        axes.set_xlim(left=0)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("days since the first rung", color=inks.ink)
        axes.set_ylabel("% who have reached it", color=inks.ink)
        _legend(axes, inks)
        return _saved(figure, "Time to landmarks")


def _framed(inks: Inks) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), facecolor=inks.sheet, layout="constrained")
    axes = figure.add_subplot()
    axes.set_facecolor(inks.sheet)
    axes.tick_params(colors=inks.ink, length=3)
    axes.grid(axis="y", color=inks.rule, linewidth=0.8)
    axes.set_axisbelow(True)
    for name, spine in axes.spines.items():
        spine.set_color(inks.soft)
        spine.set_visible(name in ("left", "bottom"))
    return figure, axes


def _legend(axes: Axes, inks: Inks) -> None:
    if axes.get_legend_handles_labels()[0]:
        axes.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, -0.16),
            ncols=5,
            frameon=False,
            labelcolor=inks.ink,
            fontsize=9,
        )


def _saved(figure: Figure, title: str) -> bytes:
    drawn = io.BytesIO()
    figure.savefig(drawn, format="svg", metadata={"Date": None, "Title": title})
    return drawn.getvalue()
