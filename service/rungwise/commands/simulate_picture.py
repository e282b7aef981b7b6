"""The simulator's picture: what each setting costs, and how far it brings clients."""

from collections.abc import Callable
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rungwise.ladder.tally import Summary

INK, PALE = "#1f2a37", "#d5dbe3"
COLOURS = ("#2f6f8f", "#b8661f", "#5b7d3a", "#7a4f86", "#8a8f98", "#a33d3d")
PANELS: tuple[tuple[str, Callable[[Summary], float]], ...] = (
    ("Steady days once settled, %", lambda s: 100 * s.chance_share),
    ("Wobbly days in 30", lambda s: s.wobbly_days_month),
    ("Risky moves a year", lambda s: s.risky_moves_year),
    ("Steps back a year", lambda s: s.backs_year),
)


def picture(summaries: list[Summary]) -> Figure:
    """Four small panels of costs above, the share of clients at each landmark below."""
    labels = [
        label
        for label in dict.fromkeys(name for s in summaries for name in s.landmarks)
        if any(s.landmarks[label].reached for s in summaries)
    ]
    tall = 1.0 + 0.34 * len(summaries)
    ratios = [tall, 0.5 + 0.55 * len(labels)] if labels else [tall]
    figure = Figure(figsize=(10, sum(ratios) + 0.9), layout="constrained")
    grid = figure.add_gridspec(len(ratios), len(PANELS), height_ratios=ratios)
    for place, (title, value) in enumerate(PANELS):
        axes = figure.add_subplot(grid[0, place])
        _bars(axes, title, [value(s) for s in summaries])
        axes.set_yticks(range(len(summaries)), [s.setting for s in summaries] if not place else [])
    if labels:
        _landmarks(figure.add_subplot(grid[1, :]), summaries, labels)
    return figure


def save_picture(summaries: list[Summary], file: Path) -> None:
    """Write the picture to `file`, as SVG or PNG by its ending; the same input, the same file."""
    save_figure(picture(summaries), file)


def save_figure(figure: Figure, file: Path) -> None:
    kind = file.suffix.removeprefix(".")
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    with matplotlib.rc_context({"svg.hashsalt": "rungwise", "svg.fonttype": "none"}):
        figure.savefig(file, format=kind, dpi=144, facecolor="white", metadata=metadata)


def _bars(axes: Axes, title: str, values: list[float]) -> None:
    axes.barh(range(len(values)), values, color=COLOURS[: len(values)], height=0.62)
    widest = max([*values, 1e-9])
    for place, value in enumerate(values):
        axes.text(
            value + widest * 0.04,
            place,
            f"{value:.{1 if value >= 10 else 2}f}",
            va="center",
            color=INK,
        )
    axes.set_xlim(0, widest * 1.3)
    axes.set_xticks([])
    axes.invert_yaxis()
    axes.set_title(title, loc="left", fontsize=10, color=INK)
    axes.spines[["top", "right", "bottom"]].set_visible(False)
    axes.spines["left"].set_color(PALE)
    axes.tick_params(length=0, labelcolor=INK)


def _landmarks(axes: Axes, summaries: list[Summary], labels: list[str]) -> None:
    """Median days, 10th to 90th percentile, and how many of those who began below got there."""
    step = 0.72 / len(summaries)
    latest = max((s.landmarks[name].days_90th or 0) for s in summaries for name in labels)
    for number, summary in enumerate(summaries):
        colour = COLOURS[number % len(COLOURS)]
        for place, label in enumerate(labels):
            found = summary.landmarks[label]
            at = place + (number - (len(summaries) - 1) / 2) * step
            count = f"{found.reached} of {found.began_below}"
            axes.text(latest * 1.02, at, count, va="center", fontsize=8, color=colour)
            if found.days_median is None or found.days_10th is None or found.days_90th is None:
                continue
            axes.plot([found.days_10th, found.days_90th], [at, at], color=colour, linewidth=2)
            axes.plot([found.days_median], [at], "o", color=colour, markersize=5)
        axes.plot([], [], "o-", color=colour, label=summary.setting)
    axes.set_yticks(range(len(labels)), labels)
    axes.invert_yaxis()
    axes.set_xlim(0, latest * 1.14)
    axes.set_xlabel("calendar days until reached: median, 10th to 90th percentile", color=INK)
    axes.set_title("Days to each landmark, and how many got there", loc="left", fontsize=10)
    axes.grid(axis="x", color=PALE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(length=0, labelcolor=INK)
    axes.legend(frameon=False, fontsize=9, loc="lower right", bbox_to_anchor=(1, 1), ncols=3)
