"""How well the second reader reads texts that its weights never saw: tables and charts in the docs.

    python tests/reply/second_figures.py

Each set of the corpora is read by weights trained on the other sets, without texts that stand in
both; English and Spanish of one set are by one hand, and are held out together. So a conversation
and an author are never on both sides. Takes about a minute.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray
from train_second import THRESHOLD, Text, fit, matrix, texts

from rungwise.commands.simulate_picture import COLOURS, INK, PALE, save_figure
from rungwise.reply import read
from rungwise.reply.lexicon import lexicon
from rungwise.reply.lines import context_from
from rungwise.reply.second.doubt import plain_result
from rungwise.reply.second.weights import FAMILIES
from rungwise.reply.units import parse

DOCS = Path(__file__).parents[2] / "docs"
PAGE = DOCS / "reading-replies.md"
HARM = FAMILIES.index("harm")
# Sets composed as what clients write on ordinary days, harmless texts unpicked.
EVERYDAY = ("check4", "check5", "tune_8")
REPLIES_A_MONTH = 30  # a reply every day: the most that a client's questions can cost
THRESHOLDS = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7)
BINS = 10


@dataclass(frozen=True)
class HeldOut:
    """Each text's chance of harm by weights that never saw its set, and what else decides."""

    chances: NDArray[np.float64]
    harm: NDArray[np.bool_]
    asked: NDArray[np.bool_]  # the lists are silent, and it is no plain result: a doubt would ask
    everyday: NDArray[np.bool_]

    @property
    def brier(self) -> float:
        return float(np.mean((self.chances - self.harm) ** 2))

    def heard(self, threshold: float, among: NDArray[np.bool_]) -> tuple[int, int]:
        """Of the texts of harm `among`, how many reach the threshold, and how many there are."""
        of = self.harm & among
        return int((self.chances[of] >= threshold).sum()), int(of.sum())

    def extra(self, threshold: float, among: NDArray[np.bool_]) -> tuple[int, int]:
        """Of the harmless texts `among`, how many would be asked about, and how many there are."""
        of = ~self.harm & among
        return int((self.asked & (self.chances >= threshold))[of].sum()), int(of.sum())


def would_ask(text: Text) -> bool:
    """Whether a suspicion of this text would ask something: the lists do not, nor is it plain."""
    line = text.line
    context = context_from(line.get("context") or {})
    reading = read(line["text"], context, second=False)
    signs = {reading.fall, reading.pain, reading.dizzy}
    silent = signs == {"no"} and not reading.emergency and not reading.emergency_doubt
    return silent and not plain_result(parse(line["text"], lexicon(context.language)))


def held_out() -> HeldOut:
    every = texts()
    said = matrix(every)
    told = np.array([text.families for text in every])
    authors = np.array([text.author for text in every])
    chances = np.zeros(len(every))
    for author in np.unique(authors):
        apart = authors == author
        known = {text.said for text, is_apart in zip(every, apart, strict=True) if is_apart}
        learnt = ~apart & np.array(
            [text.author.startswith("tune") and text.said not in known for text in every]
        )
        weights = fit(said[learnt], told[learnt], [HARM])
        for place in np.flatnonzero(apart):
            chances[place] = weights.chances(every[place].said)[HARM]
    return HeldOut(
        chances,
        told[:, HARM],
        np.array([would_ask(text) for text in every]),
        np.isin(authors, EVERYDAY),
    )


def _share(pair: tuple[int, int]) -> str:
    return f"{pair[0]} of {pair[1]} ({100 * pair[0] / pair[1]:.1f}%)"


def cost_table(told: HeldOut) -> str:
    rows = [
        "| doubted from | harm heard, everyday | harm heard, all sets | harmless asked about,"
        " everyday | questions a client a month | harmless asked about, all sets |",
        "|---|---|---|---|---|---|",
    ]
    everyday, every = told.everyday, np.ones(len(told.harm), bool)
    for threshold in THRESHOLDS:
        asked = told.extra(threshold, everyday)
        bold = "**" if threshold == THRESHOLD else ""
        rows.append(
            f"| {bold}{threshold:g}{bold} | {_share(told.heard(threshold, everyday))} |"
            f" {_share(told.heard(threshold, every))} | {_share(asked)} |"
            f" {bold}{REPLIES_A_MONTH * asked[0] / asked[1]:.2f}{bold} |"
            f" {_share(told.extra(threshold, every))} |"
        )
    return "\n".join(rows)


def bins(told: HeldOut) -> list[tuple[float, float, int]]:
    """For each tenth of chance: the mean chance, the share of harm, and how many texts."""
    which = np.minimum((told.chances * BINS).astype(int), BINS - 1)
    return [
        (told.chances[of].mean(), told.harm[of].mean(), int(of.sum()))
        for of in (which == number for number in range(BINS))
        if of.any()
    ]


def calibration_table(told: HeldOut) -> str:
    rows = ["| chance told | texts | of harm |", "|---|---|---|"]
    rows += [f"| {mean:.2f} | {count} | {share:.2f} |" for mean, share, count in bins(told)]
    base = told.harm.mean()
    rows += [
        "",
        f"Brier score {told.brier:.3f}; one who always told the share of harm would have"
        f" {base * (1 - base):.3f}.",
    ]
    return "\n".join(rows)


def _axes(figure: Figure):  # type: ignore[no-untyped-def]
    axes = figure.add_subplot()
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(PALE)
    axes.tick_params(length=0, labelcolor=INK)
    return axes


def cost_picture(told: HeldOut) -> Figure:
    """Questions a month against harm heard, as the threshold goes down."""
    figure = Figure(figsize=(8, 4.2), layout="constrained")
    axes = _axes(figure)
    every = np.ones(len(told.harm), bool)
    steps = np.linspace(0.95, 0.02, 94)
    for name, heard_of, colour in (
        ("everyday sets", told.everyday, COLOURS[0]),
        ("all sets, most of them composed to be hard", every, COLOURS[1]),
    ):
        asked = [told.extra(step, heard_of) for step in steps]
        heard = [told.heard(step, heard_of) for step in steps]
        month = [REPLIES_A_MONTH * count / of for count, of in asked]
        share = [100 * count / of for count, of in heard]
        axes.plot(month, share, color=colour, label=name)
        at = int(np.argmin(np.abs(steps - THRESHOLD)))
        axes.plot(month[at], share[at], "o", color=colour)
    axes.axvline(0.5, color=PALE, linewidth=1)
    axes.text(0.52, 71, "one question\nin two months", color=INK, va="bottom")
    axes.set(xlim=(0, 4), ylim=(70, 100.5))
    axes.set_xlabel("extra questions to a client a month", color=INK)
    axes.set_ylabel("% of harm heard by it alone", color=INK)
    axes.legend(frameon=False, loc="lower right")
    return figure


def calibration_picture(told: HeldOut) -> Figure:
    figure = Figure(figsize=(5, 4.2), layout="constrained")
    axes = _axes(figure)
    axes.plot([0, 1], [0, 1], color=PALE, linewidth=1)
    means, shares, counts = zip(*bins(told), strict=True)
    axes.plot(means, shares, "o-", color=COLOURS[0])
    for mean, share, count in zip(means, shares, counts, strict=True):
        axes.annotate(str(count), (mean, share), (5, -11), textcoords="offset points", color=INK)
    axes.set(xlim=(0, 1.06), ylim=(0, 1.04))
    axes.set_xlabel("chance of harm told", color=INK)
    axes.set_ylabel("share that was harm", color=INK)
    return figure


TABLES: dict[str, Callable[[HeldOut], str]] = {
    "second-cost": cost_table,
    "second-calibration": calibration_table,
}


def put(text: str, name: str, table: str) -> str:
    """`text` with the table of that name replaced; an error if the page has no place for it."""
    place = re.compile(rf"(<!-- table: {name} -->\n\n).*?(\n\n<!-- end -->)", re.DOTALL)
    new, count = place.subn(lambda found: found[1] + table + found[2], text)
    if count != 1:
        raise ValueError(f"{PAGE.name} has {count} places for the table {name}.")
    return new


def main() -> None:
    told = held_out()
    page = PAGE.read_text(encoding="utf-8")
    for name, table in TABLES.items():
        page = put(page, name, table(told))
    PAGE.write_text(page, encoding="utf-8")
    save_figure(cost_picture(told), DOCS / "pictures/second-cost.svg")
    save_figure(calibration_picture(told), DOCS / "pictures/second-calibration.svg")


if __name__ == "__main__":
    main()
