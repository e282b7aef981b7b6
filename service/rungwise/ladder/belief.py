"""Rule version 2's second opinion: what is known of a client's ability and of what hands do.

The chance that a rung is told as held steady is a Rasch curve of ability minus difficulty, with
misreports: some failures are told as steady, some steady holds as wobbly, so that one odd day
weighs little. What is known is a distribution on a fixed grid of abilities, one row for each of
four sizes of what hands on the counter are worth, from little to much: a client's own days on
supported rungs tell which. Light fingertip touch alone reduces sway by about half (Jeka & Lackner
1994, Exp Brain Res 100:495-502, from memory), so the smallest size, which rule version 1 assumes
for everybody, is only one of the four.

A placement is believed in two parts: it may be about right, or far out. Between days ability
drifts, and days away past the plan's own gaps cost some and make it less sure (no published rate
was found for standing: our choice, no source). Whoever the trainer places anew starts half from
what was known and half from the new placement.

Choosing the next task by the posterior of a psychometric curve: Watson & Pelli 1983 (Percept
Psychophys 33:113-120), Kontsevich & Tyler 1999 (Vision Research 39:2729-2737), both from memory.
The figures here were chosen by simulation; docs/rule.md has the outcome.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import ceil, exp, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rungwise.ladder.day import BAD, DayReport, judge_day
from rungwise.ladder.demand import SUPPORT_RELIEF
from rungwise.ladder.estimate import LOGITS_PER_DEMAND, START_CHANCE_LOGIT
from rungwise.ladder.moves import PastDay, Plan
from rungwise.ladder.rungs import Ladder, Rung

Floats = NDArray[np.float64]

CELL = 0.2  # logits between grid points
LOWEST, CELLS = -12.0, 181
GRID: Final[Floats] = LOWEST + CELL * np.arange(CELLS, dtype=np.float64)
# What one point of support relief may be worth in logits; both hands relieve three points.
BONUS = (0.2, 0.5, 1.0, 2.0)
BONUS_PRIOR = (0.45, 0.35, 0.15, 0.05)
# The placement: share and standard deviation in logits of "about right" and of "far out".
NARROW, NARROW_SD, WIDE_SD = 0.4, 1.2, 4.5
FAILED_TOLD_STEADY, STEADY_TOLD_FAILED = 0.05, 0.08
DRIFT_VARIANCE_DAY = 0.005
DRIFT_EVERY_DAYS = 14  # drift is added in lumps: the sum is the same, and it costs less
AWAY_VARIANCE_DAY = 0.03
AWAY_LOSS_DAY = 0.02
TOO_EASY_LOGITS = 1.0  # a steady day called too easy says as much as one this much harder
MODEL_DAYS = 80  # drift has taken the weight of what is older

_EASIEST, _HARDEST = -8.0, 22.0  # difficulties outside are taken for these
_REACH = int((_HARDEST - LOWEST + max(BONUS)) / CELL) + CELLS + 200


def _told_steady_table() -> Floats:
    gaps = CELL * (np.arange(2 * _REACH + 1) - _REACH)
    held = 1 / (1 + np.exp(-np.clip(gaps, -500, 500)))
    told = held * (1 - STEADY_TOLD_FAILED) + (1 - held) * FAILED_TOLD_STEADY
    return np.asarray(told, dtype=np.float64)


_STEADY: Final[Floats] = _told_steady_table()
_FAILED: Final[Floats] = 1 - _STEADY


def footing(rung: Rung) -> float:
    """The rung's difficulty in logits as it would be with no hand near the counter."""
    return (rung.demand + SUPPORT_RELIEF[rung.support]) * LOGITS_PER_DEMAND


@dataclass(frozen=True, slots=True)
class Chances:
    """The chance of a steady hold at one quantile of what is known, rung by rung."""

    ability: dict[float, float]

    def on(self, rung: Rung) -> float:
        return _logistic(self.ability[SUPPORT_RELIEF[rung.support]] - footing(rung))


def _logistic(gap: float) -> float:
    return 1 / (1 + exp(-max(min(gap, 500.0), -500.0)))


class Belief:
    """What is known, and how it changes with days and reports. Starts from a placement.

    The weights are not kept to a sum of 1: a day's factor is 0.05 at least, so that MODEL_DAYS of
    them stay far from a float's smallest.
    """

    def __init__(self, first: Rung) -> None:
        self.weights = placement_prior(first)
        self._waiting = 0.0

    def placed(self, rung: Rung) -> None:
        """The trainer chose another rung: half of what is known gives way to the placement."""
        self.weights = (self.weights / self.weights.sum() + placement_prior(rung)) / 2

    def pass_days(self, days: int, idle: int) -> None:
        """`days` went by since the last; `idle` of them past the plan's own gap."""
        self._waiting += days * DRIFT_VARIANCE_DAY + idle * AWAY_VARIANCE_DAY
        if self._waiting >= DRIFT_EVERY_DAYS * DRIFT_VARIANCE_DAY:
            self.settle()
        if idle:
            self.weights = _shifted(self.weights, -round(idle * AWAY_LOSS_DAY / CELL))

    def settle(self) -> None:
        """Spread by the drift that has come together: a step up or down of whole cells."""
        if not self._waiting:
            return
        step = ceil(sqrt(2 * self._waiting) / CELL)
        share = self._waiting / (2 * (step * CELL) ** 2)
        old = self.weights
        new = old * (1 - 2 * share)
        new[:, step:] += share * old[:, :-step]
        new[:, :-step] += share * old[:, step:]
        self.weights, self._waiting = new, 0.0

    def told(self, rung: Rung, steady: bool, harder: float = 0.0) -> None:
        """One day on `rung` was told as steady or not; `harder` logits are added to the rung."""
        table = _STEADY if steady else _FAILED
        hard = min(max(footing(rung) + harder, _EASIEST), _HARDEST)
        relief = SUPPORT_RELIEF[rung.support]
        if relief == 0:
            self.weights *= _from(table, hard)
        else:
            for row, bonus in enumerate(BONUS):
                self.weights[row] *= _from(table, hard - bonus * relief)

    def chances(self, quantile: float) -> Chances:
        """The chance on every rung at this quantile (0.5 is the median) of what is known."""
        self.settle()
        return Chances({relief: self._ability(relief, quantile) for relief in _RELIEFS})

    def _ability(self, relief: float, quantile: float) -> float:
        shifts = [round(bonus * relief / CELL) for bonus in BONUS]
        together = np.zeros(CELLS + max(shifts))
        for row, shift in enumerate(shifts):
            together[shift : shift + CELLS] += self.weights[row]
        below = np.cumsum(together)
        below /= below[-1]
        place = int(np.searchsorted(below, quantile))
        before = below[place - 1] if place else 0.0
        share = (quantile - before) / max(below[place] - before, 1e-300)
        return LOWEST + CELL * (place - 0.5 + float(share))


_RELIEFS = tuple(sorted(set(SUPPORT_RELIEF.values())))


def _from(table: Floats, hard: float) -> Floats:
    start = _REACH + round((LOWEST - hard) / CELL)
    return table[start : start + CELLS]


def _shifted(weights: Floats, cells: int) -> Floats:
    if not cells:
        return weights
    moved = np.zeros_like(weights)
    moved[:, :cells] = weights[:, -cells:]
    moved[:, 0] += weights[:, :-cells].sum(axis=1)
    return moved


def placement_prior(rung: Rung) -> Floats:
    """What a placement on `rung` says: shape (sizes of support, grid), sum 1."""
    return _prior(round(footing(rung) / CELL), SUPPORT_RELIEF[rung.support]).copy()


@lru_cache(maxsize=512)
def _prior(hard_cells: int, relief: float) -> Floats:
    hard = hard_cells * CELL
    rows = []
    for share, bonus in zip(BONUS_PRIOR, BONUS, strict=True):
        middle = hard - bonus * relief + START_CHANCE_LOGIT
        about, far = _bell(middle, NARROW_SD), _bell(middle, WIDE_SD)
        rows.append(share * (NARROW * about + (1 - NARROW) * far))
    prior = np.asarray(rows)
    return np.asarray(prior / prior.sum(), dtype=np.float64)


def _bell(middle: float, sd: float) -> Floats:
    heights = np.exp(-0.5 * ((GRID - middle) / sd) ** 2)
    return np.asarray(heights / max(float(heights.sum()), 1e-300), dtype=np.float64)


def planned_gap(weekdays: frozenset[int]) -> int:
    """The most days from one planned session to the next."""
    days = sorted(weekdays) or [0]
    following = [*days[1:], days[0] + 7]
    return max(later - earlier for earlier, later in zip(days, following, strict=True))


@dataclass(frozen=True, slots=True)
class Told:
    """One earlier day as it counts today; `verdict` None for a placement by the trainer."""

    day: date
    place: int
    verdict: str | None
    report: DayReport | None = None
    placed_anew: bool = False


def told_days(ladder: Ladder, plan: Plan, history: Sequence[PastDay]) -> list[Told]:
    """The last MODEL_DAYS entries, oldest first; those on rungs the ladder lost are left out."""
    found = []
    for past in history[-MODEL_DAYS:]:
        report, move = past.report, past.move
        key = move.to_key if report is None else report.rung_key
        if key not in ladder:
            continue
        place = ladder.index(key)
        if report is None:
            anew = move.kind == "override" and move.to_key != move.from_key
            found.append(Told(past.day, place, None, None, anew))
        else:
            found.append(Told(past.day, place, _verdict(ladder.rungs[place], plan, past), report))
    return found


def belief_from(ladder: Ladder, plan: Plan, told: Sequence[Told], place: int, day: date) -> Belief:
    """What the past tells on `day`; before any report, what the placement at `place` tells."""
    if not told:
        return Belief(ladder.rungs[place])
    gap, last = planned_gap(plan.weekdays), told[0].day
    known = Belief(ladder.rungs[told[0].place])
    for one in told:
        if one.day > last:
            days = (one.day - last).days
            known.pass_days(days, max(days - gap, 0))
            last = one.day
        rung = ladder.rungs[one.place]
        if one.report is not None and one.verdict is not None:
            told_by(known, rung, one.report, one.verdict)
        elif one.placed_anew:
            known.placed(rung)
    if day > last:
        known.pass_days((day - last).days, max((day - last).days - gap, 0))
    return known


def told_by(known: Belief, rung: Rung, report: DayReport, verdict: str) -> None:
    """Take one day's verdict in; days that count neither way say nothing, but for a fall."""
    if report.fall == "yes":
        known.told(rung, False)
    elif verdict == "steady":
        known.told(rung, True)
        if report.too_easy:
            known.told(rung, True, TOO_EASY_LOGITS)
    elif verdict in BAD:
        known.told(rung, False)


def _verdict(rung: Rung, plan: Plan, past: PastDay) -> str:
    """An earlier day's verdict by its own target; steady only if it also meets today's."""
    facts = past.move.facts
    stored, then_s = facts.get("verdict"), facts.get("target_s")
    if then_s == plan.target_s and facts.get("rung") == rung.key and isinstance(stored, str):
        return stored
    report = past.report
    if report is None or past.move.rule in ("waiting_answer", "safety_sign"):
        return "unfinished"
    target = float(then_s) if isinstance(then_s, (int, float)) else plan.target_s
    judged = judge_day(rung, report, target)
    if judged.verdict == "steady" and (judged.shortest_s or 0) < plan.target_s:
        return "unfinished"
    return judged.verdict
