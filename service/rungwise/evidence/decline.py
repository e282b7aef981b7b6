"""Whether a client is getting worse: a Bayesian filter over courses of ability. Pure.

Every practised day is weighed under hypotheses: the client stands still, gains, or began in some
week to decline slowly or quickly, or dropped suddenly. Under each one a side's ability is a
Gaussian that moves with its course; a day's outcome updates it by quadrature (Gauss-Hermite)
through the Rasch curve, with a share of bad days and of wrong reports. The weight of all courses
that go down is the chance of decline, and a flag stands where it passes FLAG_CHANCE.

This is Shiryaev's test for a change of unknown date (Shiryaev 1963, from memory) with several
kinds of change. Chances of a change are by calendar week, so that false flags do not grow with
the days practised a week. Absence and illness widen what is known under every hypothesis alike,
and a changed rung is only another difficulty: none of them is decline. The figures below are our
choice, no source; docs/evidence.md shows by simulation what they cost.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import comb, exp
from typing import Literal

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray

from rungwise.ladder.day import DayReport
from rungwise.ladder.estimate import (
    LAY_OFF_AFTER_DAYS,
    LAY_OFF_LOSS_DAY,
    LAY_OFF_VARIANCE_DAY,
    START_CHANCE_LOGIT,
    START_VARIANCE,
    difficulty,
    told_by_side,
)
from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Side

Floats = NDArray[np.float64]
CourseName = Literal["slow", "quick", "drop"]

FLAG_CHANCE = 0.48  # so that no row of the trial has over 2 false flags per 100 client-weeks
QUIET_DAYS = 28  # a flag stands for four weeks; only then may the next one come
WEEKS = 16  # a change that began longer ago is the client's usual level by now
GAIN_WEEK = 0.15
SWITCH_WEEK = 0.02  # chance a week that a client begins, or ceases, to gain
DRIFT_VARIANCE_WEEK = 0.01
BAD_DAY_CHANCE, BAD_DAY_DROP = 0.08, 1.5
BACK_BAD_DAY_CHANCE = 0.4  # on the first days back after absence or illness
TOLD_BETTER, TOLD_WORSE = 0.05, 0.02
LONG_GAP_DAYS = 8
DAYS_BACK = 2
SIGN_TEST = 0.05
_MOST_VARIANCE = 4.0
_NODES, _NODE_WEIGHTS = hermegauss(7)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class Course:
    """One way down: logits a week, logits lost at once, and the chance that it begins in a week."""

    name: CourseName
    rate_week: float
    lost_at_once: float
    chance_week: float


LOST_AT_ONCE_SD = 0.8
COURSES: tuple[Course, ...] = (
    Course("slow", -0.15, 0.0, 0.01),
    Course("quick", -0.5, 0.0, 0.005),
    Course("drop", 0.0, -2.5, 0.005),
)


@dataclass(frozen=True, slots=True)
class DayTried:
    """One practised day in plain values.

    `hard` is the rung's difficulty in logits. `left` and `right` count the sets (held, not held)
    that are certain for a side; `one_missed` the sets of which only some side was not held.
    On a rung without sides (`together`) both hold the same sets. `unwell`: told on a day of
    illness or pain, which says nothing about ability.
    """

    day: date
    hard: float
    left: tuple[int, int] = (0, 0)
    right: tuple[int, int] = (0, 0)
    one_missed: int = 0
    together: bool = False
    unwell: bool = False

    @property
    def steady(self) -> bool:
        return not (self.left[1] or self.right[1] or self.one_missed)


def day_tried(
    rung: Rung, sets: Sequence[DayReport], target_s: float, unwell: bool = False
) -> DayTried | None:
    """A date's report on `rung` in plain values, one report a set where each is judged singly.

    None where nothing certain was told of any hold.
    """
    counts = {side: [0, 0] for side in Side}
    one_missed = 0
    for report in sets:
        told = told_by_side(rung, report, target_s, target_s)
        if told.one_failed:
            one_missed += 1
        for side, held in told.certain.items():
            counts[side][not held] += 1
    if not one_missed and not any(sum(both) for both in counts.values()):
        return None
    left, right = ((counts[side][0], counts[side][1]) for side in (Side.LEFT, Side.RIGHT))
    together = not rung.sides
    return DayTried(sets[0].day, difficulty(rung), left, right, one_missed, together, unwell)


@dataclass(frozen=True, slots=True)
class Standing:
    """What is thought after one practised day.

    `chance` of decline, its likeliest `course`, and `since`, the first day of the week (counted
    from the first day practised) in which that most likely began.
    """

    day: date
    chance: float
    course: CourseName
    since: date


def standings(days: Sequence[DayTried]) -> tuple[Standing, ...]:
    """What is thought of one client after each practised day, oldest first."""
    return standings_of([days])[0]


def standings_of(clients: Sequence[Sequence[DayTried]]) -> list[tuple[Standing, ...]]:
    """The same for many clients at once. Each one's days are in order, one a date."""
    counted = [[day for day in days if not day.unwell] for days in clients]
    found: list[list[Standing]] = [[] for _ in clients]
    some = [place for place, days in enumerate(counted) if days]
    if not some:
        return [() for _ in clients]
    bank = _Bank([counted[place] for place in some])
    for number in range(max(len(days) for days in counted)):
        here = np.array([n for n, place in enumerate(some) if len(counted[place]) > number])
        today = [counted[some[n]][number] for n in here]
        for n, standing in zip(here, bank.step(here, today), strict=True):
            found[some[n]].append(standing)
    return [tuple(each) for each in found]


def flagged(
    after: Sequence[Standing], threshold: float = FLAG_CHANCE, quiet_days: int = QUIET_DAYS
) -> tuple[Standing, ...]:
    """The days on which a flag is raised: the chance is over the threshold and none stands."""
    raised: list[Standing] = []
    for one in after:
        quiet = raised and (one.day - raised[-1].day).days < quiet_days
        if one.chance > threshold and not quiet:
            raised.append(one)
    return tuple(raised)


def weaker_side(days: Sequence[DayTried], since: date, until: date) -> Side | None:
    """The side that misses more than chance would have it since a date; None if neither does.

    A one-sided sign test at 5% on the sets whose side is certain.
    """
    here = [one for one in days if since <= one.day <= until and not one.together]
    missed = {Side.LEFT: sum(d.left[1] for d in here), Side.RIGHT: sum(d.right[1] for d in here)}
    side = max(missed, key=lambda each: missed[each])
    total = sum(missed.values())
    tail = sum(comb(total, k) for k in range(missed[side], total + 1)) / 2**total
    return side if tail <= SIGN_TEST else None


_HOW = {
    "slow": ("Losing ground slowly", "See them within the month, and retest."),
    "quick": ("Losing ground quickly", "Ring this week: ask what changed, and see them."),
    "drop": ("Much worse at once", "Ring today: ask what happened, and see them soon."),
}
_EASIER_LOGITS = 0.3


def told_of(days: Sequence[DayTried], flag: Standing) -> str:
    """Why the flag was raised, in plain words with its figures, and which act fits."""
    how, act = _HOW[flag.course]
    since = [one for one in days if flag.since <= one.day <= flag.day and not one.unwell]
    steady = sum(one.steady for one in since)
    says = f"{how} since about {flag.since.day} {flag.since:%b}: steady on {steady} of "
    says += f"{len(since)} days"
    if since and since[-1].hard < since[0].hard - _EASIER_LOGITS:
        says += ", though on easier rungs than then"
    side = weaker_side(days, flag.since, flag.day)
    if side is not None:
        says += f", mostly missed on the {side}"
    return f"{says}. {act}"


@dataclass(slots=True)
class _Known:
    """Weight, mean and variance of a slice of hypotheses: shapes (n,), (n, 2), (n, 2)."""

    weight: Floats
    mean: Floats
    variance: Floats

    def joined(self, other: "_Known") -> "_Known":
        """Both as one, with the moments of the mixture."""
        weight = self.weight + other.weight
        share = np.divide(other.weight, weight, out=np.zeros_like(weight), where=weight > 0)
        share = share[:, None]
        mean = self.mean + share * (other.mean - self.mean)
        apart, other_apart = (self.mean - mean) ** 2, (other.mean - mean) ** 2
        variance = (1 - share) * (self.variance + apart) + share * (other.variance + other_apart)
        return _Known(weight, mean, variance)

    def scaled(self, share: Floats) -> "_Known":
        return _Known(self.weight * share, self.mean, self.variance)


_STILL, _GAIN = 0, 1
_BASE = 2
_KINDS = len(COURSES)
_ALL = _BASE + WEEKS * _KINDS


@dataclass(slots=True)
class _Bank:
    """Every hypothesis of every client: standing still, gaining, and each course by its week.

    Arrays are (clients, hypotheses) and (clients, 2 sides, hypotheses). A course's weeks are a
    ring: the oldest joins "standing still" when a new week begins.
    """

    counted: Sequence[Sequence[DayTried]]
    weight: Floats = field(init=False)
    mean: Floats = field(init=False)
    variance: Floats = field(init=False)
    first: NDArray[np.int64] = field(init=False)
    last: NDArray[np.int64] = field(init=False)
    week: NDArray[np.int64] = field(init=False)
    since_gap: NDArray[np.int64] = field(init=False)
    rate_day: Floats = field(init=False)

    def __post_init__(self) -> None:
        size = len(self.counted)
        start = np.array([days[0].hard + START_CHANCE_LOGIT for days in self.counted])
        self.mean = np.repeat(np.repeat(start[:, None, None], 2, axis=1), _ALL, axis=2)
        self.variance = np.full((size, 2, _ALL), START_VARIANCE)
        self.weight = np.zeros((size, _ALL))
        self.weight[:, _STILL], self.weight[:, _GAIN] = 0.8, 0.2
        self.first = np.array([days[0].day.toordinal() for days in self.counted])
        self.last = self.first.copy()
        self.week = np.zeros(size, dtype=np.int64)
        self.since_gap = np.full(size, DAYS_BACK, dtype=np.int64)
        self.rate_day = np.zeros(_ALL)
        self.rate_day[_GAIN] = GAIN_WEEK / 7
        for kind, course in enumerate(COURSES):
            self.rate_day[_BASE + kind :: _KINDS] = course.rate_week / 7

    def step(self, here: NDArray[np.int64], today: Sequence[DayTried]) -> list[Standing]:
        """Let time pass for the clients `here`, then learn from their day."""
        at = np.array([one.day.toordinal() for one in today])
        gap = np.maximum(at - self.last[here], 0)
        self.last[here] = at
        self._pass_time(here, gap)
        self._begin_weeks(here, (at - self.first[here]) // 7)
        self._begin_courses(here, np.where(gap >= LONG_GAP_DAYS, 1, gap))
        self._learn(here, today)
        return self._standings(here, today)

    def _pass_time(self, here: NDArray[np.int64], gap: NDArray[np.int64]) -> None:
        """Each course runs on; a long gap is no decline, so it falls and widens all alike."""
        long_gap = gap >= LONG_GAP_DAYS
        idle = np.where(long_gap, gap - LAY_OFF_AFTER_DAYS, 0)[:, None, None]
        days = gap[:, None, None]
        self.mean[here] += self.rate_day * np.minimum(days, 7) - LAY_OFF_LOSS_DAY * idle
        grown = self.variance[here] + days * DRIFT_VARIANCE_WEEK / 7 + idle * LAY_OFF_VARIANCE_DAY
        self.variance[here] = np.minimum(grown, _MOST_VARIANCE)
        self.since_gap[here] = np.where(long_gap, 0, self.since_gap[here] + 1)
        swap = np.minimum(SWITCH_WEEK * gap / 7, 0.5)
        still, gain = self._slice(here, _STILL), self._slice(here, _GAIN)
        self._put(here, _STILL, still.scaled(1 - swap).joined(gain.scaled(swap)))
        self._put(here, _GAIN, gain.scaled(1 - swap).joined(still.scaled(swap)))

    def _begin_weeks(self, here: NDArray[np.int64], week: NDArray[np.int64]) -> None:
        begun = week - self.week[here]
        for ahead in range(1, min(int(begun.max(initial=0)), WEEKS) + 1):
            rows = here[begun >= ahead]
            ring = (self.week[rows] + ahead) % WEEKS
            for kind in range(_KINDS):
                oldest = _BASE + ring * _KINDS + kind
                usual = self._slice(rows, _STILL).joined(self._slice(rows, oldest))
                self._put(rows, _STILL, usual)
                self.weight[rows, oldest] = 0.0
        self.week[here] = week

    def _begin_courses(self, here: NDArray[np.int64], days: NDArray[np.int64]) -> None:
        """Part of what stood still or gained begins each course in the present week."""
        base = self._slice(here, _STILL).joined(self._slice(here, _GAIN))
        ring, begun = self.week[here] % WEEKS, np.zeros(len(here))
        for kind, course in enumerate(COURSES):
            share = np.minimum(course.chance_week * days / 7, 0.3)
            begun += share
            spread = LOST_AT_ONCE_SD**2 if course.lost_at_once else 0.0
            new = _Known(
                base.weight * share, base.mean + course.lost_at_once, base.variance + spread
            )
            column = _BASE + ring * _KINDS + kind
            self._put(here, column, self._slice(here, column).joined(new))
        self.weight[here, _STILL] *= 1 - begun
        self.weight[here, _GAIN] *= 1 - begun

    def _learn(self, here: NDArray[np.int64], today: Sequence[DayTried]) -> None:
        """Weigh every hypothesis by the day's outcome, an ordinary or a bad day's."""
        hard = np.array([one.hard for one in today])[:, None, None, None]
        held = np.array([(one.left[0], one.right[0]) for one in today])[:, :, None, None]
        missed = np.array([(one.left[1], one.right[1]) for one in today])[:, :, None, None]
        either = np.array([one.one_missed for one in today])[:, None, None, None]
        together = np.array([one.together for one in today])
        mean, sd = self.mean[here], np.sqrt(self.variance[here])
        odds_against = np.exp(hard - mean[..., None] - sd[..., None] * _NODES)
        usual = _likelihood(odds_against, held, missed, either)
        bad = _likelihood(odds_against * exp(BAD_DAY_DROP), held, missed, either)
        # Where each side has its own outcomes, a bad day of one side is a bad day of the other.
        apart = (~together & (either[:, 0, 0, 0] == 0))[:, None, None]
        other = np.where(apart, (usual @ _NODE_WEIGHTS)[:, ::-1], 1.0)
        other_bad = np.where(apart, (bad @ _NODE_WEIGHTS)[:, ::-1], 1.0)
        chance = np.where(self.since_gap[here] < DAYS_BACK, BACK_BAD_DAY_CHANCE, BAD_DAY_CHANCE)
        chance = chance[:, None, None, None]
        both = (1 - chance) * other[..., None] * usual + chance * other_bad[..., None] * bad
        total = both @ _NODE_WEIGHTS
        shift = (both @ (_NODE_WEIGHTS * _NODES)) / total
        spread = (both @ (_NODE_WEIGHTS * _NODES**2)) / total - shift**2
        # Without sides the weaker one decides whether the hold was steady.
        weaker = np.where(mean[:, 0] <= mean[:, 1], total[:, 0], total[:, 1])
        evidence = np.where(together[:, None], weaker, total[:, 0])
        self.mean[here] = mean + sd * shift
        self.variance[here] = np.maximum(sd**2 * spread, 1e-3)
        weight = self.weight[here] * evidence
        self.weight[here] = weight / weight.sum(axis=1, keepdims=True)

    def _standings(self, here: NDArray[np.int64], today: Sequence[DayTried]) -> list[Standing]:
        down = self.weight[here, _BASE:].reshape(len(here), WEEKS, _KINDS)
        chance = down.sum(axis=(1, 2))
        kind = down.sum(axis=1).argmax(axis=1)
        ring = down[np.arange(len(here)), :, kind].argmax(axis=1)
        week = self.week[here]
        begun = week - (week - ring) % WEEKS
        first = self.first[here] + 7 * np.maximum(begun, 0)
        return [
            Standing(
                one.day,
                float(chance[n]),
                COURSES[kind[n]].name,
                date(1, 1, 1) + timedelta(days=int(first[n]) - 1),
            )
            for n, one in enumerate(today)
        ]

    def _slice(self, rows: NDArray[np.int64], column: int | NDArray[np.int64]) -> _Known:
        return _Known(
            self.weight[rows, column], self.mean[rows, :, column], self.variance[rows, :, column]
        )

    def _put(self, rows: NDArray[np.int64], column: int | NDArray[np.int64], known: _Known) -> None:
        self.weight[rows, column] = known.weight
        self.mean[rows, :, column] = known.mean
        self.variance[rows, :, column] = known.variance


def _likelihood(
    odds_against: Floats,
    held: NDArray[np.int64],
    missed: NDArray[np.int64],
    either: NDArray[np.int64],
) -> Floats:
    """The chance of a day's sets for given odds of a wobble, by client, side and hypothesis."""
    steady = TOLD_BETTER + (1 - TOLD_BETTER - TOLD_WORSE) / (1 + odds_against)
    unsteady = 1 - steady
    found = np.where(held > 0, steady, 1.0)
    found = np.where(missed > 0, found * unsteady, found)
    for more in range(1, int(max(held.max(), missed.max()))):
        found = np.where(held > more, found * steady, found)
        found = np.where(missed > more, found * unsteady, found)
    if either.any():
        other = (steady @ _NODE_WEIGHTS)[:, ::-1, :, None]
        found *= np.asarray(1 - steady * other) ** either
    return found
