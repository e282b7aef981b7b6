"""Writes the tables in docs/rule.md and its pictures. Takes a minute or two.

    python tests/ladder/write_rule_figures.py [--calculated | --side-by-side]

With --calculated only the tables that take no simulating, in seconds; with --side-by-side only
those that compare the two versions of the rule. Tables stand between
`<!-- table: name -->` and `<!-- end -->`. Those that are calculated are compared with the page by a
test; run this after changing the rule or the ladder.
"""

import re
import sys
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from rule_tables import (
    CALCULATED,
    FIRM,
    PRESETS,
    PUBLISHED,
    SIMULATED,
    SPACINGS,
    WatchedClient,
    fine_chain,
    own_steps,
    preset_run,
    published_rule,
    still_level,
    yes_no,
)

from rungwise.commands.simulate_picture import COLOURS, INK, PALE, save_figure, save_picture
from rungwise.ladder.progression import Plan
from rungwise.ladder.simulate import World
from rungwise.ladder.staircase import levitt_level

COMPARED = ("side_by_side", "always_steady")
DOCS = Path(__file__).parents[2] / "docs"
PICTURES = DOCS / "pictures"


def main() -> None:
    page = DOCS / "rule.md"
    text = page.read_text(encoding="utf-8")
    only_calculated = "--calculated" in sys.argv[1:]
    wanted = CALCULATED if only_calculated else CALCULATED | SIMULATED
    if "--side-by-side" in sys.argv[1:]:
        only_calculated, wanted = True, {name: SIMULATED[name] for name in COMPARED}
    for name, make in wanted.items():
        text = put(text, name, make())
        print(f"table {name}", flush=True)
    page.write_text(text, encoding="utf-8")
    if only_calculated:
        return
    PICTURES.mkdir(exist_ok=True)
    save_figure(levels_picture(), PICTURES / "rule-levels.svg")
    save_figure(coarse_picture(), PICTURES / "rule-coarse.svg")
    save_figure(year_picture(), PICTURES / "rule-one-client.svg")
    summaries = [preset_run(name, World(), True) for name in PRESETS]
    save_picture(summaries, PICTURES / "rule-presets.svg")


def put(text: str, name: str, table: str) -> str:
    """`text` with the table of that name replaced; an error if the page has no place for it."""
    place = re.compile(rf"(<!-- table: {name} -->\n\n).*?(\n\n<!-- end -->)", re.DOTALL)
    new, count = place.subn(lambda found: found[1] + table + found[2], text)
    if count != 1:
        raise ValueError(f"docs/rule.md has {count} places for the table {name}.")
    return new


def bare(figure: Figure, place: tuple[int, int, int] = (1, 1, 1)):  # type: ignore[no-untyped-def]
    axes = figure.add_subplot(*place)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(PALE)
    axes.tick_params(length=0, labelcolor=INK)
    axes.set_axisbelow(True)
    return axes


def levels_picture() -> Figure:
    figure = Figure(figsize=(9, 4), layout="constrained")
    axes = bare(figure)
    names = []
    for place, (days, back, level, source) in enumerate(PUBLISHED):
        rule = published_rule(days, back)
        _, found, error = still_level(rule, 0.05, 10, 4_000)
        exact = fine_chain(rule, 0.05, yes_no)[0].level
        axes.fill_between([place - 0.32, place + 0.32], level - 0.02, level + 0.02, color=PALE)
        axes.plot([place - 0.32, place + 0.32], [level, level], color=INK, linewidth=1.2)
        axes.errorbar(place - 0.1, found, 2 * error, fmt="o", color=COLOURS[0], markersize=6)
        axes.plot(place + 0.1, exact, "D", color=COLOURS[1], markersize=5)
        axes.text(place, level + 0.026, f"{level:.3f}", ha="center", color=INK, fontsize=9)
        names.append(f"{days} steady up,\n{back} back\n{source}")
    axes.set_xticks(range(len(names)), names, fontsize=8)
    axes.set_ylim(0.45, 0.92)
    axes.set_ylabel("chance of a steady hold", color=INK)
    axes.plot([], [], color=INK, label="published level (band: ± 0.02)")
    axes.plot(
        [],
        [],
        "o",
        color=COLOURS[0],
        label="simulated mean chance, 40,000 days, ± 2 standard errors",
    )
    axes.plot([], [], "D", color=COLOURS[1], label="calculated")
    axes.legend(frameon=False, fontsize=9, loc="upper left", ncols=3, bbox_to_anchor=(0, 1.1))
    return figure


def coarse_picture() -> Figure:
    figure = Figure(figsize=(9, 5.4), layout="constrained")
    grid = figure.add_gridspec(2, 1, height_ratios=[3, 1])
    axes, rug = figure.add_subplot(grid[0]), figure.add_subplot(grid[1])
    for place, days in enumerate((4, 3, 2, 1)):
        colour = COLOURS[place]
        found = [fine_chain(published_rule(days), spacing, yes_no) for spacing in SPACINGS]
        axes.plot(SPACINGS, [at for _, at in found], "o-", color=colour)
        axes.plot(SPACINGS, [exact.level for exact, _ in found], "--", color=colour)
        axes.text(3.3, found[-1][1], f"{days} up", color=colour, va="center")
        axes.axhline(levitt_level(days), color=PALE, linewidth=1, zorder=0)
    axes.plot([], [], "o-", color=INK, label="chance on the mean rung")
    axes.plot([], [], "--", color=INK, label="share of steady days")
    axes.plot([], [], color=PALE, label="Levitt's level")
    axes.legend(frameon=False, fontsize=9, ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
    axes.set_ylabel("chance of a steady hold", color=INK)
    for place, (kind, values) in enumerate(own_steps().items()):
        upward = [value for value in values if value > 0]
        rug.plot(upward, [place] * len(upward), "|", color=COLOURS[0], markersize=12, alpha=0.6)
        rug.text(3.3, place, kind, va="center", fontsize=8, color=INK)
    rug.set_yticks([])
    rug.set_ylim(3.6, -0.6)
    rug.set_xlabel("step between rungs, in widths of the success curve (log scale)", color=INK)
    rug.set_title("our own ladder's steps, at 0.2 logits a point of demand", loc="left", fontsize=9)
    for one in (axes, rug):
        one.set_xscale("log")
        one.set_xlim(0.004, 8)
        one.spines[["top", "right"]].set_visible(False)
        one.spines[["left", "bottom"]].set_color(PALE)
        one.tick_params(length=0, which="both", labelcolor=INK)
    axes.set_xticks([0.01, 0.1, 1], [])
    rug.set_xticks([0.01, 0.1, 1], ["0.01", "0.1", "1"])
    return figure


def year_picture() -> Figure:
    """One virtual client's year: the rung, the wobbly days, and what could be held."""
    world = World(start_place=0.35, start_sd=0.0)
    client = WatchedClient(FIRM, Plan(), world, np.random.default_rng(21))
    client.live(365)
    days = [day for day, *_ in client.diary]
    places = [place for _, place, *_ in client.diary]
    figure = Figure(figsize=(9, 5), layout="constrained")
    axes = bare(figure)
    lowest, highest = min(places) - 3, max(place for *_, place in client.diary) + 3
    for place, rung in enumerate(FIRM.rungs):
        if rung.landmark is not None and lowest <= place <= highest:
            axes.plot([0, days[-1] + 2], [place, place], color=PALE, linewidth=1, zorder=0)
            axes.text(days[-1] + 4, place, rung.landmark.replace("_", " "), va="center", fontsize=9)
    likely = [place for *_, place in client.diary]
    axes.step(days, likely, where="post", color=COLOURS[4], linewidth=1, linestyle="--")
    axes.step(days, places, where="post", color=COLOURS[0], linewidth=1.6)
    wobbly = [(day, place) for day, place, steady, _ in client.diary if not steady]
    axes.plot(*zip(*wobbly, strict=True), "v", color=COLOURS[5], markersize=4, linestyle="none")
    axes.plot([], [], color=COLOURS[0], label="rung practised")
    axes.plot([], [], "v", color=COLOURS[5], linestyle="none", label="wobbly or short day")
    axes.plot([], [], "--", color=COLOURS[4], label="hardest rung held more often than not")
    axes.legend(frameon=False, fontsize=9, ncols=3, loc="lower left", bbox_to_anchor=(0, 1))
    axes.set_xlabel("days practised", color=INK)
    axes.set_ylabel("rung, easiest at the bottom", color=INK)
    axes.set_ylim(lowest, highest)
    axes.set_yticks([])
    axes.set_xlim(0, days[-1] * 1.16)
    return figure


if __name__ == "__main__":
    main()
