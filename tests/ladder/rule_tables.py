"""The tables of docs/rule.md: those calculated at once, and those that are simulated."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, replace
from datetime import date
from functools import cache
from itertools import pairwise
from math import sqrt
from statistics import fmean, median, stdev

import numpy as np
import rule_trial

from rungwise.commands.simulate import USUAL_PROFILE
from rungwise.ladder.build import build_ladder
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, Caution, published_rule, trial
from rungwise.ladder.estimate import chance, difficulty, success_chance
from rungwise.ladder.progression import RULES, DayReport, Move, Plan
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.simulate import STILL, VirtualClient, World, even_ladder, run_clients
from rungwise.ladder.staircase import Chain, chain, levitt_level, weighted_level
from rungwise.ladder.tally import Summary, summarise

SPACINGS = (0.02, 0.1, 0.25, 0.5, 1.0, 2.0, 3.0)
MIDDLE = replace(STILL, start_place=0.5)
# Clients who learn nothing, have many bad days and call failed holds steady one time in five.
HARDER = World(practice_gain=0.0, bad_day_chance=0.2, told_better=0.2)
OWN = build_ladder(
    USUAL_PROFILE.body, USUAL_PROFILE.equipment, USUAL_PROFILE.limits, USUAL_PROFILE.narrowing
)
FIRM = Ladder(tuple(rung for rung in OWN.rungs if rung.round == "firm"))


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines)


# Calculated at once; a test compares them with the page


def rules() -> str:
    rows = [(f"`{name}`", words) for name, words in RULES.items()]
    return table(("rule", "what it says"), rows)


SETTING_WORDS = {
    "steady_days_step": "steady days running before a step up",
    "steady_days_landmark": "the same before leaving a landmark",
    "back_days": "wobbly or short days that lead back",
    "back_window_days": "counted among the last days practised on the rung",
    "back_steps": "rungs in a step back",
    "far_short_share": "a hold under this share of the target leads back to the landmark below",
    "stuck_backs": "backs from one rung that hold the client below it",
    "stuck_window_days": "within so many days; the hold lasts as long",
    "away_back_days": "days away that lead back one landmark",
    "away_rest_days": "days away that lead to rest",
    "least_chance": "least chance of a steady hold that the second opinion asks for",
}


def presets() -> str:
    rows = []
    for name, words in SETTING_WORDS.items():
        values = [f"{getattr(preset, name):g}" for preset in PRESETS.values()]
        low, high = SAFE_BOUNDS[name]
        none = ", or none" if name == "least_chance" else ""
        rows.append((f"`{name}`", words, *values, f"{low:g} to {high:g}{none}"))
    return table(("setting", "what it means", *PRESETS, "allowed"), rows)


def fine_chain(rule: Caution, spacing: float, curve: Callable[[float], float]) -> tuple:
    """The exact chain on even rungs around the middle of the curve, and the curve at its mean."""
    count = max(round(16 / spacing), 8)
    ladder = even_ladder(count, spacing)
    heights = [(place - count / 2) * spacing for place in range(count)]
    exact = chain(ladder, Plan(caution=rule), [curve(-height) for height in heights])
    return exact, curve(-(exact.mean_place - count / 2) * spacing)


def yes_no(gap: float) -> float:
    return success_chance(gap, 0.0)


def forced_choice(gap: float) -> float:
    """Success by guessing half of the time, as in the two-alternative experiments."""
    return 0.5 + 0.5 * success_chance(gap, 0.0)


def coarse() -> str:
    rows = []
    for spacing in SPACINGS:
        cells = [f"{spacing:g}"]
        for days in (1, 2, 3, 4):
            exact, at_mean = fine_chain(published_rule(days), spacing, yes_no)
            cells.append(f"{exact.level:.3f}; {at_mean:.3f}")
        for days in (2, 3, 4):
            cells.append(f"{fine_chain(published_rule(days), spacing, forced_choice)[1]:.3f}")
        rows.append(cells)
    rows.append(["Levitt", *(f"{levitt_level(n):.3f}" for n in (1, 2, 3, 4, 2, 3, 4))])
    head = ["step ÷ spread", *(f"{n} up" for n in (1, 2, 3, 4))]
    return table([*head, *(f"{n} up, guessing" for n in (2, 3, 4))], rows)


def own_steps() -> dict[str, list[float]]:
    """Our own ladder's steps in logits, by what changes."""
    kinds: dict[str, list[float]] = {
        "a step of the feet": [],
        "less support": [],
        "a new stance": [],
        "a new surface or foot on it": [],
    }
    for lower, upper in pairwise(OWN.rungs):
        step = difficulty(upper) - difficulty(lower)
        if lower.round != upper.round:
            kinds["a new surface or foot on it"].append(step)
        elif lower.stance != upper.stance:
            kinds["a new stance"].append(step)
        elif lower.support != upper.support:
            kinds["less support"].append(step)
        else:
            kinds["a step of the feet"].append(step)
    return kinds


def steps() -> str:
    rows = [
        (kind, str(len(found)), f"{min(found):.2f}", f"{median(found):.2f}", f"{max(found):.2f}")
        for kind, found in own_steps().items()
    ]
    return table(("what changes", "how many", "smallest", "median", "largest"), rows)


def rule_alone(name: str, far_short: float) -> Chain:
    """A preset's rule alone on firm ground, for a client in the middle who stands still."""
    middle = (difficulty(FIRM.rungs[0]) + difficulty(FIRM.rungs[-1])) / 2
    chances = [success_chance(middle, difficulty(rung)) for rung in FIRM.rungs]
    return chain(FIRM, Plan(caution=PRESETS[name]), chances, far_short)


def alone() -> str:
    rows = []
    for name in PRESETS:
        for far_short in (0.0, 0.1):
            exact = rule_alone(name, far_short)
            rows.append(
                (
                    name,
                    f"{far_short:.0%}",
                    f"{exact.level:.1%}",
                    f"{exact.wobbly_days_month:.1f}",
                    f"{exact.per_month(exact.stays.up):.1f}",
                    f"{exact.risky_share:.1%}",
                )
            )
    return table(
        (
            "preset, rule alone",
            "failures that are far short",
            "steady days",
            "wobbly days a month",
            "ups a month",
            "risky ups",
        ),
        rows,
    )


# Simulated; written by write_rule_figures.py


@cache
def still_level(
    rule: Caution, spacing: float, clients: int, days: int
) -> tuple[float, float, float]:
    """After 1,000 days: share of truly steady days, mean true chance, its standard error."""
    count = round(12 / spacing)
    ladder, shares, chances = even_ladder(count, spacing), [], []
    for number in range(clients):
        luck = np.random.default_rng([7, number])
        client = VirtualClient(ladder, Plan(caution=rule), MIDDLE, luck)
        tally = client.live(1_000 + days, settling=1_000)
        shares.append(tally.late_steady / tally.late_days)
        chances.append(tally.late_chance / tally.late_days)
    return fmean(shares), fmean(chances), stdev(chances) / sqrt(clients)


PUBLISHED = [(n, 1, levitt_level(n), "Levitt 1971") for n in (1, 2, 3, 4)] + [
    (1, back, weighted_level(1, back), "Kaernbach 1991") for back in (2, 3, 4)
]


def levels() -> str:
    rows = []
    for days, back, level, source in PUBLISHED:
        rule = published_rule(days, back)
        share, mean, error = still_level(rule, 0.05, 10, 4_000)
        exact = fine_chain(rule, 0.05, yes_no)[0].level
        cells = (f"{level:.3f}", f"{exact:.3f}", f"{share:.3f}", f"{mean:.3f} ± {2 * error:.3f}")
        rows.append((f"{days} steady up, {back} back", source, *cells))
    head = ("rule", "source", "published level", "calculated", "simulated: steady days")
    return table((*head, "mean true chance ± 2 standard errors"), rows)


@cache
def preset_run(name: str, world: World, opinion: bool) -> Summary:
    rule = PRESETS[name] if opinion else trial(PRESETS[name], least_chance=None)
    tally = run_clients(OWN, Plan(caution=rule), world, days=365, clients=300)
    return summarise(name, tally)


def costs() -> str:
    rows = []
    for label, world in (("ordinary", World()), ("harder", HARDER)):
        for name in PRESETS:
            for opinion in (True, False):
                s = preset_run(name, world, opinion)
                figures = (
                    f"{s.chance_share:.1%}",
                    f"{s.wobbly_days_month:.1f}",
                    f"{s.risky_moves_year:.2f}",
                    f"{s.ups_year:.0f}",
                    f"{s.backs_year:.0f}",
                    f"{s.stuck_alerts_year:.1f}",
                    f"{s.held_by_opinion_year:.1f}",
                )
                rows.append((label, name, "with" if opinion else "without", *figures))
    head = ("clients", "preset", "second opinion", "steady days", "wobbly days a month")
    head += ("risky moves a year", "ups a year", "backs a year", "stuck alerts a year")
    return table((*head, "held back a year"), rows)


def landmarks() -> str:
    found = [preset_run(name, World(), True) for name in PRESETS]
    rows = []
    for label in found[0].landmarks:
        if not any(summary.landmarks[label].reached for summary in found):
            continue
        cells = []
        for summary in found:
            got = summary.landmarks[label]
            days = "" if got.days_median is None else f"{got.days_median:.0f} days, "
            cells.append(f"{days}{got.reached} of {got.began_below}")
        rows.append((label, *cells))
    return table(("landmark", *PRESETS), rows)


class WatchedClient(VirtualClient):
    """Keeps whether the shown interval held the true chance, and what each day was like."""

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self.covered: list[int] = []
        self.diary: list[tuple[int, int, bool, int]] = []

    def _make(self, today: date, report: DayReport | None, move: Move) -> None:
        super()._make(today, report, move)
        if report is None or self.known is None or len(self.history) % 5:
            return
        rung = self.ladder[self.at]
        shown = chance(self.known, rung, today)
        bad, drop = self.world.bad_day_chance, self.world.bad_day_drop
        truth = (1 - bad) * self.true_chance(rung) + bad * self.true_chance(rung, drop)
        self.covered.append((truth > shown.high) - (truth < shown.low))

    def _count_day(self, rung: Rung, steady: bool, late: bool) -> None:
        likely = [place for place, r in enumerate(FIRM.rungs) if self.true_chance(r) >= 0.5]
        place = self.ladder.index(rung.key)
        self.diary.append((self.tally.practised, place, steady, max(likely, default=0)))
        super()._count_day(rung, steady, late)


COVER_CLIENTS = 200
COVER_WORLDS = {
    "as the model thinks, but for the drift": replace(
        STILL, start_place=0.3, start_sd=1.0, side_gap=0.3, missed_chance=0.15, short_share=0.35
    ),
    "ordinary: practice, bad days, a few misreports": World(),
    "fast learners (0.05 logits a day)": World(practice_gain=0.05),
    "a bad day in five": World(bad_day_chance=0.2),
    "one failed hold in five told as steady": World(told_better=0.2),
}


def coverage() -> str:
    rows = []
    for label, world in COVER_WORLDS.items():
        covered: list[int] = []
        for number in range(COVER_CLIENTS):
            client = WatchedClient(FIRM, Plan(), world, np.random.default_rng([5, number]))
            client.live(150)
            covered += client.covered
        shares = [fmean(each == where for each in covered) for where in (0, 1, -1)]
        rows.append((label, f"{len(covered):,}", *(f"{share:.1%}" for share in shares)))
    head = ("virtual clients", "intervals", "hold the true chance", "lie too low", "lie too high")
    return table(head, rows)


def side_by_side() -> str:
    head = ("clients", "rule", "practised days to the level: median", "90th percentile")
    head += ("risky moves a year", "steady, first eight weeks", "steady, after")
    return table(head, rule_trial.side_by_side())


def always_steady() -> str:
    rows = []
    for rule in (1, 2):
        places = rule_trial.steady_path(rule)
        names = ("feet_together", "semi_tandem", "tandem", "single_leg")
        days = [str(rule_trial.first_at(places, rule_trial.landmark_place(name))) for name in names]
        cells = []
        for away in (False, True):
            lost = rule_trial.costs(rule, away)
            ninth = np.percentile(lost, 90, method="higher")
            cells.append(f"{fmean(lost):.1f}; {ninth:.0f}")
        rows.append((str(rule), *days, *cells))
    head = ("rule", "feet together", "semi-tandem", "tandem", "one leg")
    head += ("a far-short day costs: mean; 90th percentile", "a week away costs")
    return table(head, rows)


CALCULATED = {
    "rules": rules,
    "presets": presets,
    "coarse": coarse,
    "steps": steps,
    "alone": alone,
}
SIMULATED = {"levels": levels, "costs": costs, "landmarks": landmarks, "coverage": coverage}
SIMULATED |= {"side_by_side": side_by_side, "always_steady": always_steady}

assert set(SETTING_WORDS) == {field.name for field in fields(Caution)} - {"name"}
