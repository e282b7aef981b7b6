"""The second opinion: the chance of a steady hold on a rung, from all that a client told.

One Rasch model per client and side: chance = 1 / (1 + exp(-(ability - difficulty))), where a
rung's difficulty is its demand times LOGITS_PER_DEMAND. A day's outcome moves the ability by one
Gaussian step from the mean before it (formulas from memory; the Laplace approximation of the
posterior after one observation):

    V' = 1 / (1/V + P(1 - P)),   mean' = mean + V' (outcome - P)

Between days the variance grows (a random walk: practice and life change ability), and after some
days without practice it grows faster and the mean falls; it never grows past the start's
variance, as in Glicko's idle time. The chance averages over what is unknown of the ability with
MacKay's approximation (MacKay 1992, Neural Computation 4:720-736, from memory); its 90% interval
is the ability's. On a rung with two sides the weaker one decides.

A hold that stopped at the target is only known to be "at least that long": it counts as a success
at that target and below, and says nothing about a longer one. Starting values, drift and scale
are our choice, no source; docs/rule.md shows by simulation how well the intervals cover.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, pi, sqrt

from service.ladder.day import DayReport, side_seconds
from service.ladder.moves import Chance, PastDay, Plan
from service.ladder.rungs import Ladder, Rung
from service.ladder.stance import Side

LOGITS_PER_DEMAND = 0.2
START_CHANCE_LOGIT = 1.386  # the trainer's first rung is thought to be held four days in five
START_VARIANCE = 1.5
DRIFT_VARIANCE_DAY = 0.01
LAY_OFF_AFTER_DAYS = 3
LAY_OFF_VARIANCE_DAY = 0.03  # on top of the daily drift
LAY_OFF_LOSS_DAY = 0.02
Z90 = 1.6448536269514722  # 95th percentile of the standard normal
MODEL_DAYS = 400  # days further back no longer change the estimate noticeably


@dataclass(frozen=True, slots=True)
class Ability:
    """What is known of one side's ability, in logits: mean, variance, and the date it is as of."""

    mean: float
    variance: float
    last_day: date | None = None


@dataclass(frozen=True, slots=True)
class BothSides:
    """Left and right. A rung without sides tells of both at once."""

    left: Ability
    right: Ability

    def of(self, side: Side) -> Ability:
        return self.left if side is Side.LEFT else self.right


def difficulty(rung: Rung) -> float:
    """The rung's place on the ability scale, in logits."""
    return rung.demand * LOGITS_PER_DEMAND


def success_chance(ability: float, hard: float) -> float:
    """The Rasch curve: both in logits, answer from 0 to 1, for any finite values."""
    gap = ability - hard
    if gap >= 0:
        return 1 / (1 + exp(-gap))
    return 1 - 1 / (1 + exp(max(gap, -700.0)))


def update(ability: Ability, hard: float, held: bool, day: date | None = None) -> Ability:
    """The ability after one outcome at difficulty `hard`; `day` first lets time pass."""
    before = ability if day is None else drifted(ability, day)
    p = success_chance(before.mean, hard)
    mean, variance = gaussian_step(before.mean, before.variance, float(held) - p, p * (1 - p))
    return Ability(mean, variance, before.last_day if day is None else day)


def gaussian_step(
    mean: float, variance: float, slope: float, information: float
) -> tuple[float, float]:
    """Mean and variance after one observation: its log-likelihood's slope and information.

    With a measurement z of noise variance R (slope (z - mean)/R, information 1/R) this is the
    scalar Kalman update.
    """
    after = 1 / (1 / variance + information)
    return mean + after * slope, after


def drifted(ability: Ability, day: date) -> Ability:
    """What is still known on `day`, after the days since the last outcome."""
    if ability.last_day is None or day <= ability.last_day:
        return ability
    days = (day - ability.last_day).days
    idle = max(days - LAY_OFF_AFTER_DAYS, 0)
    grown = ability.variance + days * DRIFT_VARIANCE_DAY + idle * LAY_OFF_VARIANCE_DAY
    variance = min(grown, max(START_VARIANCE, ability.variance))
    return Ability(ability.mean - idle * LAY_OFF_LOSS_DAY, variance, day)


def start_at(rung: Rung, day: date | None = None) -> BothSides:
    """What is thought before the first report, from the rung that the trainer chose."""
    first = Ability(difficulty(rung) + START_CHANCE_LOGIT, START_VARIANCE, day)
    return BothSides(first, first)


def learn(
    known: BothSides, rung: Rung, report: DayReport, target_s: float, then_s: float | None = None
) -> BothSides:
    """What is known after a day's report.

    `target_s` is the target the chance is wanted for, `then_s` the target of the report's own
    date, if it was another.
    """
    told = _outcomes(rung, report, target_s, target_s if then_s is None else then_s)
    if not told:
        return known
    hard = difficulty(rung)
    sides = {
        side: update(known.of(side), hard, told[side], report.day)
        if side in told
        else known.of(side)
        for side in Side
    }
    return BothSides(sides[Side.LEFT], sides[Side.RIGHT])


def _outcomes(rung: Rung, report: DayReport, target_s: float, then_s: float) -> Mapping[Side, bool]:
    """Held or not, by side; a side about which nothing certain was told is left out."""
    if report.fall == "yes":
        return dict.fromkeys(rung.sides or Side, False)
    by_side, loose = side_seconds(rung, report.holds)
    told = report.steadiness_by_side
    if rung.sides:
        sided = {side: by_side.get(side) for side in rung.sides}
    else:
        shortest = min(loose, default=None)
        sided = dict.fromkeys(Side, shortest)
    outcomes: dict[Side, bool] = {}
    for side, held_s in sided.items():
        how = told.get(side, report.steadiness)
        if how == "wobbly" or (held_s is not None and held_s < min(target_s, then_s)):
            outcomes[side] = False
        elif held_s is None or how != "steady" or report.skipped:
            continue
        elif held_s >= target_s:
            outcomes[side] = True
    if report.fall != "no" or report.pain != "no" or report.dizzy != "no" or report.emergency:
        outcomes = {side: False for side, held in outcomes.items() if not held}
    if not rung.sides and False in outcomes.values():
        return dict.fromkeys(Side, False)
    return outcomes


def chance(known: BothSides, rung: Rung, day: date | None = None) -> Chance:
    """The chance of a steady hold at target on `rung` on `day`, with its 90% interval.

    Of the sides the rung asks for (both, where it asks for none) the one with the lower ability
    decides.
    """
    hard = difficulty(rung)
    asked = [known.of(side) for side in rung.sides or Side]
    abilities = asked if day is None else [drifted(ability, day) for ability in asked]
    weaker = min(abilities, key=lambda ability: ability.mean)
    reach = Z90 * sqrt(weaker.variance)
    low = success_chance(weaker.mean - reach, hard)
    high = success_chance(weaker.mean + reach, hard)
    shrink = 1 / sqrt(1 + pi * weaker.variance / 8)
    mean = success_chance((weaker.mean - hard) * shrink, 0.0)
    return Chance(rung.key, min(max(mean, low), high), low, high)


def known_from(ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str) -> BothSides:
    """What the past tells; before any report, what the placement on `rung_key` tells."""
    told = list(_reports(ladder, history[-MODEL_DAYS:]))
    if not told:
        return start_at(ladder[rung_key])
    known = start_at(told[0][0], told[0][1].day)
    for rung, report, then_s in told:
        known = learn(known, rung, report, plan.target_s, then_s)
    return known


def _reports(
    ladder: Ladder, history: Sequence[PastDay]
) -> Iterator[tuple[Rung, DayReport, float | None]]:
    """Rung, report and the target of its date; days on rungs the ladder lost are left out."""
    for past in history:
        report = past.report
        if report is not None and report.rung_key in ladder:
            target = past.move.facts.get("target_s")
            then_s = float(target) if isinstance(target, (int, float)) else None
            yield ladder[report.rung_key], report, then_s


def next_chance(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], report: DayReport
) -> Chance | None:
    """The second opinion for `decide` after `report`: the chance on the next harder rung.

    None at the top of the ladder, or when the ladder has no such rung.
    """
    if report.rung_key not in ladder:
        return None
    above = ladder.above(report.rung_key)
    if above is None:
        return None
    known = known_from(ladder, plan, history, report.rung_key)
    known = learn(known, ladder[report.rung_key], report, plan.target_s)
    return chance(known, above, report.day)


def chances(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str, day: date
) -> tuple[Chance, Chance | None]:
    """The chance on `day` on the client's rung and on the next, for the trainer's page.

    KeyError if the ladder has no such rung.
    """
    known = known_from(ladder, plan, history, rung_key)
    above = ladder.above(rung_key)
    here = chance(known, ladder[rung_key], day)
    return here, None if above is None else chance(known, above, day)
