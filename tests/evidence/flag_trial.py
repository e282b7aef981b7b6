"""How soon flags tell of a change for the worse, and how often they are wrong.

    python tests/evidence/flag_trial.py [--clients 400] [--seed 1] [--rule-version 1]
        [--picture FILE.svg] [--table FILE.md]

Virtual clients of known courses practise by the real rule. One threshold stands for all rows.
Beside it an ideal CUSUM (Page 1954) that is told each client's true ability before the change, and
what bad days and wrong reports are like, at the same total of false flags. Intervals are 95%
bootstrap intervals over clients. Nobody who is not flagged is left out: their delay is "never".
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from tqdm import tqdm
from virtual_courses import (
    EVERY_DAY,
    LADDER,
    STABLE,
    THREE_DAYS,
    Lived,
    Way,
    at_once,
    live,
    never,
    off,
    weekly,
)

from rungwise.evidence.decline import (
    BAD_DAY_CHANCE,
    BAD_DAY_DROP,
    FLAG_CHANCE,
    QUIET_DAYS,
    TOLD_BETTER,
    TOLD_WORSE,
    DayTried,
    flagged,
    standings_of,
    weaker_side,
)
from rungwise.evidence.told_too_well import DayHeard, doubts, first_flag
from rungwise.ladder.moves import RULE_VERSIONS
from rungwise.ladder.simulate import FIRST_DAY, World
from rungwise.ladder.stance import Side

CHANGE, YEAR = 120, 364
WAYS = {
    "3 days a week": Way(THREE_DAYS),
    "7 days a week": Way(EVERY_DAY),
    "3 days a week, 2 sets judged singly": Way(THREE_DAYS, sets=2),
}
AIMS = {
    "3 days a week": (10, 28, 56),
    "7 days a week": (5, 21, 49),
    "3 days a week, 2 sets judged singly": (6, 24, 52),
}
# The change, and for how many days after it a flag is waited for.
CHANGES = {
    "3 logits at once": (lambda change: at_once(3.0, change), 91),
    "0.6 a week": (lambda change: weekly(0.6, change), 126),
    "0.15 a week": (lambda change: weekly(0.15, change), 182),
}
CUSUM_SHIFTS = (0.5, 1.0, 1.5)

Alarm = Sequence[tuple[int, float]]  # day number and the figure that a threshold is set on


def _change_of(number: int) -> int:
    return CHANGE + number % 7  # on every day of the week


def filter_alarms(lived: Sequence[Lived]) -> list[Alarm]:
    return [
        [((one.day - FIRST_DAY).days, one.chance) for one in after]
        for after in standings_of([client.days for client in lived])
    ]


def _chance(one: DayTried, ability: tuple[float, float]) -> float:
    """The chance of a day's outcome for a known ability."""

    def of_sets(drop: float) -> float:
        steady = [
            TOLD_BETTER + (1 - TOLD_BETTER - TOLD_WORSE) / (1 + np.exp(one.hard - each + drop))
            for each in ability
        ]
        if one.together:
            held, missed = one.left
            return float(min(steady) ** held * (1 - min(steady)) ** missed)
        found = (1 - steady[0] * steady[1]) ** one.one_missed
        for p, (held, missed) in zip(steady, (one.left, one.right), strict=True):
            found *= p**held * (1 - p) ** missed
        return float(found)

    return (1 - BAD_DAY_CHANCE) * of_sets(0.0) + BAD_DAY_CHANCE * of_sets(BAD_DAY_DROP)


def cusum_alarms(lived: Sequence[Lived], shift: float) -> list[list[tuple[int, float]]]:
    """Each day's log-likelihood ratio of the true ability less `shift` against the true one."""
    found = []
    for client in lived:
        less = (client.ability[0] - shift, client.ability[1] - shift)
        found.append(
            [
                (
                    (one.day - FIRST_DAY).days,
                    float(np.log(_chance(one, less) / _chance(one, client.ability))),
                )
                for one in client.days
            ]
        )
    return found


def flags_over(alarm: Alarm, threshold: float) -> list[int]:
    """The days on which the chance passes the threshold and no flag stands."""
    raised: list[int] = []
    for day, figure in alarm:
        if figure > threshold and not (raised and day - raised[-1] < QUIET_DAYS):
            raised.append(day)
    return raised


def cusum_flags(ratios: Alarm, threshold: float) -> list[int]:
    """The days on which the sum passes the threshold; it begins again after each flag."""
    raised: list[int] = []
    total = 0.0
    for day, ratio in ratios:
        total = max(total + ratio, 0.0)
        if total > threshold and not (raised and day - raised[-1] < QUIET_DAYS):
            raised.append(day)
            total = 0.0
    return raised


Flags = Callable[[Alarm, float], list[int]]


def false_rate(alarms: Sequence[Alarm], flags: Flags, threshold: float) -> np.ndarray:
    """Each client's flags per 100 weeks."""
    return np.array([len(flags(one, threshold)) * 700 / YEAR for one in alarms])


def delays(alarms: Sequence[Alarm], flags: Flags, threshold: float) -> np.ndarray:
    found = []
    for number, one in enumerate(alarms):
        change = _change_of(number)
        after = [day - change for day in flags(one, threshold) if day >= change]
        found.append(min(after, default=np.inf))
    return np.array(found)


def interval(values: np.ndarray, statistic: Callable[[np.ndarray], float]) -> tuple[float, float]:
    luck = np.random.default_rng(7)
    with np.errstate(invalid="ignore"):
        drawn = [statistic(values[luck.integers(0, len(values), len(values))]) for _ in range(1000)]
    low, high = np.quantile(drawn, [0.025, 0.975], method="nearest")
    return float(low), float(high)


def median(values: np.ndarray) -> float:
    """The lower median, so that half "never" is no arithmetic on infinity."""
    return float(np.sort(values)[(len(values) - 1) // 2])


def threshold_at(alarms: Sequence[Alarm], flags: Flags, rate: float, most: float) -> float:
    """The lowest threshold at which false flags are no more than `rate` per 100 weeks."""
    low, high = 0.0, most
    for _ in range(24):
        middle = (low + high) / 2
        if false_rate(alarms, flags, middle).mean() > rate:
            low = middle
        else:
            high = middle
    return high


def _days(values: np.ndarray) -> str:
    low, high = interval(values, median)
    never_told = np.isinf(values).mean()
    shown = [("never" if np.isinf(x) else f"{x:.0f}") for x in (median(values), low, high)]
    return f"{shown[0]} ({shown[1]} to {shown[2]}), {never_told:.0%} never"


def _rate(values: np.ndarray) -> str:
    low, high = interval(values, np.mean)
    return f"{values.mean():.2f} ({low:.2f} to {high:.2f})"


@dataclass(frozen=True, slots=True)
class Lives:
    """The virtual clients of one way of practising: stable ones, and those of each change."""

    stable: list[Lived]
    changed: list[list[Lived]]


def lives_of(way: Way, clients: int, seed: int, bar: tqdm) -> Lives:
    stable = live(way, lambda _: never, clients=clients, days=YEAR, seed=seed)
    bar.update()
    changed = []
    for kind, (change, wait) in enumerate(CHANGES.values(), start=1):
        lived = live(
            way,
            lambda number, change=change: change(_change_of(number)),
            clients=clients,
            days=CHANGE + 7 + wait,
            seed=seed + kind,
        )
        changed.append(lived)
        bar.update()
    return Lives(stable, changed)


WayCurves = tuple[list[Alarm], list[list[Alarm]]]
Curves = dict[str, WayCurves]


def rows_of(
    name: str, lives: Lives
) -> tuple[list[list[str]], tuple[list[Alarm], list[list[Alarm]]]]:
    """A way's rows: the filter, its aims, ideal CUSUMs and the rule's own alerts."""
    usual = filter_alarms(lives.stable)
    worse = [filter_alarms(lived) for lived in lives.changed]
    rate = false_rate(usual, flags_over, FLAG_CHANCE)
    told = [_days(delays(one, flags_over, FLAG_CHANCE)) for one in worse]
    rows = [[name, _rate(rate), *told], ["aim", "2 at most", *map(str, AIMS[name])]]
    for shift in CUSUM_SHIFTS:
        ratios = cusum_alarms(lives.stable, shift)
        limit = threshold_at(ratios, cusum_flags, float(rate.mean()), 20.0)
        told = [
            _days(delays(cusum_alarms(lived, shift), cusum_flags, limit)) for lived in lives.changed
        ]
        wrong = _rate(false_rate(ratios, cusum_flags, limit))
        rows.append([f"ideal CUSUM for {shift:g} logits", wrong, *told])
    stuck = np.array([len(one.stuck) * 700 / YEAR for one in lives.stable])
    rows.append(['the rule\'s own "stuck" alerts', _rate(stuck), *([""] * len(CHANGES))])
    return rows, (usual, worse)


def trial(clients: int, seed: int, rule_version: int, bar: tqdm) -> tuple[list[list[str]], Curves]:
    """The table's rows, and what the curve is drawn from."""
    head = ["", "false flags per 100 client-weeks", *CHANGES]
    rows, curves = [head, ["---"] * len(head)], {}
    for place, (name, way) in enumerate(WAYS.items()):
        bar.set_description(name)
        by_rule = replace(way, rule_version=rule_version)
        more, curves[name] = rows_of(name, lives_of(by_rule, clients, seed + 10 * place, bar))
        rows += more
        bar.update()
    return rows, curves


OTHER = {
    "stands still": (Way(EVERY_DAY), lambda change: never),
    "ill for 10 days, mends in 14": (Way(EVERY_DAY), lambda change: off(change, 10, 1.5, 14)),
    "away for 21 days": (Way(EVERY_DAY), lambda change: off(change, 21, 0.5, 14)),
    "placed 6 rungs harder": (Way(EVERY_DAY, placed=6, placed_on=CHANGE), lambda change: never),
    "placed 6 rungs easier": (Way(EVERY_DAY, placed=-6, placed_on=CHANGE), lambda change: never),
    "left side only, 3 logits at once": (
        Way(EVERY_DAY, world=replace(STABLE, start_place=0.5)),
        lambda change: at_once(3.0, change, (1, 0)),
    ),
}


def others(clients: int, seed: int, rule_version: int, bar: tqdm) -> list[list[str]]:
    """Who is flagged within six weeks of what is no decline, and whether the side is named."""
    head = ["7 days a week", "flagged within 42 days", "of these, left named", "right named"]
    rows = [head, ["---"] * len(head)]
    for place, (name, (way, lost)) in enumerate(OTHER.items()):
        bar.set_description(name)
        lived = live(
            replace(way, rule_version=rule_version),
            lambda number, lost=lost: lost(CHANGE),
            clients=clients,
            days=CHANGE + 70,
            seed=seed + 100 + place,
        )
        sides = []
        for client, after in zip(
            lived, standings_of([client.days for client in lived]), strict=True
        ):
            within = [
                one for one in flagged(after) if CHANGE <= (one.day - FIRST_DAY).days < CHANGE + 42
            ]
            if within:
                sides.append(weaker_side(client.days, within[0].since, within[0].day))
        count = len(sides)
        rows.append(
            [
                name,
                f"{count / len(lived):.0%}",
                f"{sides.count(Side.LEFT) / max(count, 1):.0%}",
                f"{sides.count(Side.RIGHT) / max(count, 1):.0%}",
            ]
        )
        bar.update()
    return rows


GATE_KEY = "firm/single_leg/beside/two_hands"  # the first rung on one leg


def told_rows(clients: int, seed: int, bar: tqdm) -> list[list[str]]:
    """Fibbing and honest clients under the newest rule; one flag of told too well a client."""
    low = replace(STABLE, start_place=0.62)
    fast = replace(World(), practice_gain=0.05, most_gain=6.0)
    kinds = {
        "tells 20 steady for ever": {"fibs": True},
        "honest, stands still": {},
        "honest, gains as usual": {"world": World()},
        "honest, gains 0.05 logits a day practised": {"world": fast},
        "honest, placed 30 rungs too low": {"world": low, "rungs_too_low": 30},
    }
    gate = LADDER.index(GATE_KEY)
    head = ["", "flagged", "false flags per 100 client-weeks", "days practised until flagged"]
    rows = [[*head, "past the one-leg gate unflagged"], ["---"] * 5]
    for way, weekdays in (("3 days a week", THREE_DAYS), ("7 days a week", EVERY_DAY)):
        for place, (kind, settings) in enumerate(kinds.items()):
            bar.set_description(kind)
            days = 140 if settings.get("fibs") else YEAR
            lived = live(
                Way(weekdays, **settings),
                lambda _: never,
                clients=clients,
                days=days,
                seed=seed + 200 + place,
            )
            practised, passed = [], 0
            for client in lived:
                after = doubts([DayHeard(one.day, one.hard, one.steady) for one in client.days])
                flag = first_flag(after)
                on = len(after) if flag is None else after.index(flag) + 1
                practised.append(np.inf if flag is None else on)
                passed += max(client.place[:on]) >= gate
            flagged_share = np.isfinite(practised)
            rate = _rate(flagged_share * 700 / days)
            fibs = bool(settings.get("fibs"))
            rows.append(
                [
                    f"{kind}, {way}",
                    f"{flagged_share.mean():.0%}",
                    "" if fibs else rate,
                    _days(np.array(practised)) if fibs else "",
                    f"{passed / clients:.0%}" if fibs else "",
                ]
            )
            bar.update()
    return rows


def draw(curves: Curves, file: Path) -> None:
    """The whole curve: the median delay against false flags as the threshold varies."""
    import matplotlib  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    figure = Figure(figsize=(11, 3.8), layout="constrained")
    panels = figure.subplots(1, len(curves), sharey=True)
    thresholds = np.linspace(0.2, 0.95, 31)
    for axes, (name, (usual, worse)) in zip(panels, curves.items(), strict=True):
        rates = [false_rate(usual, flags_over, one).mean() for one in thresholds]
        here = false_rate(usual, flags_over, FLAG_CHANCE).mean()
        for label, alarms, colour in zip(
            CHANGES, worse, ("#2f6f8f", "#b8661f", "#5b7d3a"), strict=True
        ):
            days = [median(delays(alarms, flags_over, one)) for one in thresholds]
            axes.plot(rates, days, color=colour, label=label, linewidth=1.6)
            at = median(delays(alarms, flags_over, FLAG_CHANCE))
            axes.plot([here], [at], "o", color=colour, markersize=5)
        axes.set(xlim=(0, 6), ylim=(0, 120), title=name, xlabel="false flags per 100 client-weeks")
        axes.grid(color="#d5dbe3", linewidth=0.6)
        axes.spines[["top", "right"]].set_visible(False)
    panels[0].set_ylabel("median days until told")
    panels[-1].legend(frameon=False)
    with matplotlib.rc_context({"svg.hashsalt": "rungwise", "svg.fonttype": "none"}):
        figure.savefig(file, format="svg", metadata={"Date": None})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rule-version", type=int, default=1, choices=RULE_VERSIONS)
    parser.add_argument("--picture", type=Path)
    parser.add_argument("--table", type=Path)
    options = parser.parse_args()
    total = len(WAYS) * (len(CHANGES) + 2) + len(OTHER) + 10
    with tqdm(total=total, file=sys.stderr, disable=None) as bar:
        rows, curves = trial(options.clients, options.seed, options.rule_version, bar)
        more = others(options.clients, options.seed, options.rule_version, bar)
        told = told_rows(options.clients, options.seed, bar)
    note = (
        f"{options.clients} virtual clients a row, seed {options.seed}, flags at a chance of "
        f"decline over {FLAG_CHANCE:g}; median days until told (95% interval), and who never was."
    )
    parts = [
        "\n".join("| " + " | ".join(row) + " |" for row in table) for table in (rows, more, told)
    ]
    text = "\n\n".join([note, *parts]) + "\n"
    print(text)
    if options.table:
        options.table.write_text(text)
    if options.picture:
        draw(curves, options.picture)


if __name__ == "__main__":
    main()
