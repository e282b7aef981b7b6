"""The second opinion: the chance of a steady hold on a rung, from all that a client told.

One Rasch model per client and side, and one for both sides together:

    chance = 1 / (1 + exp(-(ability - difficulty)))

where a rung's difficulty is its demand times LOGITS_PER_DEMAND. A day's outcome moves the ability
by one Gaussian step from the mean before it (formulas from memory; the Laplace approximation of
the posterior after one observation):

    V' = 1 / (1/V + P(1 - P)),   mean' = mean + V' (outcome - P)

Between days the variance grows (a random walk: practice and life change ability), and after some
days without practice it grows faster and the mean falls; it never grows past the start's
variance, as in Glicko's idle time. The chance averages over what is unknown of the ability with
MacKay's approximation (MacKay 1992, Neural Computation 4:720-736, from memory); its 90% interval
is the ability's. On a rung with two sides the weaker one decides.

When a day was wobbly without a word on the side, only that not every side was held is known: that
counts in full against both together, and its likelihood moves each side a little. The lowest of
the three decides, which is the weaker side or less.

A hold that stopped at the target is only known to be "at least that long": it counts as a success
at that target and below, and says nothing about a longer one. Starting values, drift and scale
are our choice, no source; docs/rule.md shows by simulation how well the intervals cover.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, pi, prod, sqrt

from rungwise.ladder.day import DayReport, side_seconds
from rungwise.ladder.moves import Chance, PastDay, Plan
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side

LOGITS_PER_DEMAND = 0.2
START_CHANCE_LOGIT = 1.386  # the trainer's first rung is thought to be held four days in five
START_VARIANCE = 1.5
DRIFT_VARIANCE_DAY = 0.03  # enough to follow practice of a few hundredths of a logit a day
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
class Abilities:
    """Left, right, and `together`: holding steady on every side that a rung asks for."""

    left: Ability
    right: Ability
    together: Ability

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


def start_at(rung: Rung, day: date | None = None) -> Abilities:
    """What is thought before the first report, from the rung that the trainer chose."""
    first = Ability(difficulty(rung) + START_CHANCE_LOGIT, START_VARIANCE, day)
    return Abilities(first, first, first)


def learn(
    known: Abilities, rung: Rung, report: DayReport, target_s: float, then_s: float | None = None
) -> Abilities:
    """What is known after a day's report.

    `target_s` is the target the chance is wanted for, `then_s` the target of the report's own
    date, if it was another.
    """
    told = told_by_side(rung, report, target_s, target_s if then_s is None else then_s)
    hard = difficulty(rung)
    after = {side: known.of(side) for side in Side}
    for side, held in told.certain.items():
        after[side] = update(after[side], hard, held, report.day)
    if told.one_failed:
        after |= _one_of_them_failed(known, hard, told.one_failed, report.day)
    together = known.together
    if told.all_held is not None and len(rung.sides) != 1:
        together = update(together, hard, told.all_held, report.day)
    return Abilities(after[Side.LEFT], after[Side.RIGHT], together)


@dataclass(frozen=True, slots=True)
class Told:
    """Held or not by side, where certain; else the sides of which at least one was not held.

    `all_held` is whether every side asked for was held, None where that is open.
    """

    certain: Mapping[Side, bool]
    one_failed: tuple[Side, ...] = ()
    all_held: bool | None = False


def told_by_side(rung: Rung, report: DayReport, target_s: float, then_s: float) -> Told:
    asked = rung.sides or tuple(Side)
    if report.fall == "yes":
        return Told(dict.fromkeys(asked, False))
    by_side, loose = side_seconds(rung, report.holds)
    how_by_side = report.steadiness_by_side
    too_short = min(target_s, then_s)
    shortest = min(loose, default=None)
    certain: dict[Side, bool] = {}
    for side in asked:
        held_s = by_side.get(side) if rung.sides else shortest
        if how_by_side.get(side) == "wobbly" or (held_s is not None and held_s < too_short):
            certain[side] = False
        elif (
            held_s is not None
            and held_s >= target_s
            and not report.skipped
            and how_by_side.get(side, report.steadiness) == "steady"
        ):
            certain[side] = True
    failed = False in certain.values()
    short_somewhere = len(loose) > 1 and shortest is not None and shortest < too_short
    if not failed and (report.steadiness == "wobbly" or (rung.sides and short_somewhere)):
        left = tuple(side for side in asked if side not in certain) or asked
        if len(left) == 1 or not rung.sides:
            return Told({**certain, **dict.fromkeys(left, False)})
        return Told({}, left)
    if failed and not rung.sides:
        return Told(dict.fromkeys(asked, False))
    if report.fall != "no" or report.pain != "no" or report.dizzy != "no" or report.emergency:
        certain = {side: False for side, held in certain.items() if not held}
    all_held = all(certain.get(side, False) for side in asked)
    return Told(certain, all_held=all_held or (False if failed else None))


def _one_of_them_failed(
    known: Abilities, hard: float, sides: tuple[Side, ...], day: date
) -> dict[Side, Ability]:
    """The abilities after a day on which not all of `sides` were held, nobody knows which.

    The outcome's chance is one minus the product of the sides' chances; each side takes its own
    part of that likelihood's slope and information.
    """
    before = {side: drifted(known.of(side), day) for side in sides}
    p = {side: success_chance(before[side].mean, hard) for side in sides}
    all_held = prod(p.values())
    odds = all_held / max(1 - all_held, 1e-12)
    after = {}
    for side, ability in before.items():
        miss = 1 - p[side]
        mean, variance = gaussian_step(
            ability.mean, ability.variance, -odds * miss, odds * miss * miss
        )
        after[side] = Ability(mean, variance, day)
    return after


def chance(known: Abilities, rung: Rung, day: date | None = None) -> Chance:
    """The chance of a steady hold at target on `rung` on `day`, with its 90% interval.

    Where both sides are asked for, the lowest of left, right and both together decides.
    """
    if not rung.sides:
        return _chance(known.together, rung, day)
    candidates = [known.of(side) for side in rung.sides]
    if len(candidates) > 1:
        candidates.append(known.together)
    if day is not None:
        candidates = [drifted(ability, day) for ability in candidates]
    return _chance(min(candidates, key=lambda ability: ability.mean), rung, day)


def _chance(ability: Ability, rung: Rung, day: date | None) -> Chance:
    if day is not None:
        ability = drifted(ability, day)
    hard = difficulty(rung)
    reach = Z90 * sqrt(ability.variance)
    low = success_chance(ability.mean - reach, hard)
    high = success_chance(ability.mean + reach, hard)
    shrink = 1 / sqrt(1 + pi * ability.variance / 8)
    mean = success_chance((ability.mean - hard) * shrink, 0.0)
    return Chance(rung.key, min(max(mean, low), high), low, high)


def known_from(ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str) -> Abilities:
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


def chances_by_side(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str, day: date
) -> Mapping[Side, Chance]:
    """The chance on `day` on the client's rung for each side it asks for; empty without sides.

    KeyError if the ladder has no such rung.
    """
    rung = ladder[rung_key]
    known = known_from(ladder, plan, history, rung_key)
    return {side: _chance(known.of(side), rung, day) for side in rung.sides}
