"""Virtual clients through the real decision: what a setting costs and where it settles.

A virtual client holds a rung steady with a logistic chance of ability minus difficulty, on each
side; ability grows with practice, shrinks with days off, and has bad days. The client misses days,
goes away and sometimes reports wrongly. Every report goes through `decide` with the second
opinion, every absence through `decide_absence`, and a virtual trainer answers alerts after some
days. Signs (falls, pain) are left out: they always rest, which needs no simulating. What virtual
clients are like is our choice, no source; the settings are arguments.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from rungwise.errors import ImpossibleValue
from rungwise.ladder.estimate import (
    LOGITS_PER_DEMAND,
    Abilities,
    chance,
    learn,
    start_at,
    success_chance,
)
from rungwise.ladder.progression import (
    DayReport,
    Move,
    PastDay,
    Plan,
    SideHold,
    decide,
    decide_absence,
    override_move,
)
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side, Stance, Steadiness, Support, Surface
from rungwise.ladder.tally import Tally

FIRST_DAY = date(2026, 1, 1)
HISTORY_KEPT = 150  # more than `decide` reads
_DRAWS = 12  # random numbers a client uses up a day


@dataclass(frozen=True, slots=True)
class World:
    """What virtual clients are like. Abilities in logits, chances from 0 to 1, days in days.

    `spread` is the width of the success curve: chance = 1 / (1 + exp(-(ability - difficulty) /
    spread)). Ability at the start is that of the rung at `start_place` (a share of the ladder's
    difficulty range), give or take `start_sd`; the first rung is one the client holds with about
    `start_chance`. Raises ImpossibleValue for a value outside its range.
    """

    spread: float = 1.0
    start_place: float = 0.3
    start_sd: float = 1.0
    start_chance: float = 0.8
    side_gap: float = 0.3
    practice_gain: float = 0.02
    most_gain: float = 3.0
    lay_off_loss: float = 0.01
    bad_day_chance: float = 0.08
    bad_day_drop: float = 1.5
    missed_chance: float = 0.15
    away_chance: float = 0.004
    told_better: float = 0.05
    told_worse: float = 0.02
    short_share: float = 0.35
    far_short_share: float = 0.1
    trainer_days: int = 3

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            low, high = _RANGES.get(name, (0.0, 1.0))
            if not low <= value <= high:
                raise ImpossibleValue(name, value, f"a number from {low:g} to {high:g}")
        if self.short_share + self.far_short_share > 1:
            allowed = f"at most {1 - self.far_short_share:g}, so that the shares add up to 1"
            raise ImpossibleValue("short_share", self.short_share, allowed)


_RANGES: Mapping[str, tuple[float, float]] = {
    "spread": (0.05, 20.0),
    "start_sd": (0.0, 10.0),
    "side_gap": (0.0, 10.0),
    "practice_gain": (0.0, 1.0),
    "most_gain": (0.0, 20.0),
    "lay_off_loss": (0.0, 1.0),
    "bad_day_drop": (0.0, 10.0),
    "trainer_days": (0, 365),
}

STILL = World(
    start_sd=0.0,
    side_gap=0.0,
    practice_gain=0.0,
    lay_off_loss=0.0,
    bad_day_chance=0.0,
    missed_chance=0.0,
    away_chance=0.0,
    told_better=0.0,
    told_worse=0.0,
    short_share=0.0,
    far_short_share=0.0,
)
"""The published rules' world: ability stands still, every day is practised and told truly."""


def even_ladder(count: int, spacing: float, landmark_every: int = 0) -> Ladder:
    """`count` rungs `spacing` logits apart, without sides; a landmark every so many, if any.

    An invented ladder for reproducing published rules; no stance changes on it.
    """
    return Ladder(
        tuple(
            Rung(
                key=f"even/{place}",
                stance=Stance.PARALLEL,
                offset_mm=0,
                step_mm=0,
                surface=Surface.FIRM,
                support=Support.HOVER,
                round="even",
                landmark=f"rung {place}" if landmark_every and not place % landmark_every else None,
                demand=place * spacing / LOGITS_PER_DEMAND,
            )
            for place in range(count)
        )
    )


def run_clients(
    ladder: Ladder,
    plan: Plan,
    world: World,
    *,
    days: int,
    clients: int,
    seed: int = 1,
    settling: int | None = None,
    progress: Callable[[int], object] | None = None,
) -> Tally:
    """`clients` virtual clients for `days` days each, added together.

    The same seed gives client number n the same luck under every plan. Days after the first
    `settling` (half of them) count as late. `progress` is called with the days done after each
    client.
    """
    labels = [_label(rung) for rung in ladder.rungs if rung.landmark is not None]
    total = Tally(days_to={label: [] for label in labels})  # in the ladder's order
    for number in range(clients):
        luck = np.random.default_rng([seed, number])
        total.add(VirtualClient(ladder, plan, world, luck).live(days, settling))
        if progress is not None:
            progress(days)
    return total


class VirtualClient:
    """One client's days, from the first rung on."""

    def __init__(self, ladder: Ladder, plan: Plan, world: World, luck: np.random.Generator) -> None:
        self.ladder, self.plan, self.world, self._luck = ladder, plan, world, luck
        hard = [rung.demand * LOGITS_PER_DEMAND for rung in ladder.rungs]
        self._hard = dict(zip((rung.key for rung in ladder.rungs), hard, strict=True))
        middle = min(hard) + world.start_place * (max(hard) - min(hard))
        ability, gap = luck.standard_normal(2) * (world.start_sd, world.side_gap / 2)
        self.ability = {Side.LEFT: middle + ability + gap, Side.RIGHT: middle + ability - gap}
        self.gained = 0.0
        self.at = self._first_rung().key
        self.known: Abilities | None = None
        self.history: list[PastDay] = []
        self.tally = Tally(clients=1, rung_days=[0] * len(ladder))
        self._ahead = _landmarks_above(ladder, self.at)
        for label in self._ahead.values():
            self.tally.days_to.setdefault(label, [None])
        self.path: list[tuple[int, str, str]] = []
        self._since = FIRST_DAY
        self._look_on: date | None = None
        self._away = 0
        self._gate: str | None = None
        self._target = float(plan.target_s)

    def live(self, days: int, settling: int | None = None) -> Tally:
        """Live `days` days; those after the first `settling` (half) count as late."""
        settled = days // 2 if settling is None else settling
        draws = self._luck.random((days, _DRAWS)).tolist()
        for number in range(days):
            today = FIRST_DAY + timedelta(days=number)
            if self._look_on is not None and today >= self._look_on:
                self._trainer_looks(today)
            if self._is_off(draws[number]):
                self.gained = max(self.gained - self.world.lay_off_loss, -self.world.most_gain)
            else:
                self._practise(today, number, draws[number], late=number >= settled)
        self.tally.days = days
        return self.tally

    def true_chance(self, rung: Rung, drop: float = 0.0) -> float:
        """The chance that every side the rung asks for is held steady on an ordinary day."""
        product = 1.0
        for side in rung.sides:
            product *= self._side_chance(rung, side, drop)
        if not rung.sides:
            product = min(self._side_chance(rung, side, drop) for side in Side)
        return product

    def _side_chance(self, rung: Rung, side: Side, drop: float) -> float:
        ability = self.ability[side] + self.gained - drop
        return success_chance((ability - self._hard[rung.key]) / self.world.spread, 0.0)

    def _first_rung(self) -> Rung:
        """The hardest rung before the first that is held with less than the start chance."""
        first = self.ladder.rungs[0]
        for rung in self.ladder.rungs:
            if self.true_chance(rung) < self.world.start_chance:
                break
            if rung.gate is not None and rung.gate not in self.plan.open_gates:
                break
            first = rung
        return first

    def _is_off(self, luck: list[float]) -> bool:
        if self._away:
            self._away -= 1
            return True
        if luck[0] < self.world.away_chance:
            self._away = 4 + int(luck[1] * 14)
            return True
        return luck[2] < self.world.missed_chance

    def _practise(self, today: date, number: int, luck: list[float], late: bool) -> None:
        absence = decide_absence(self.ladder, self.plan, self.history, self.at, self._since, today)
        if absence is not None:
            self._make(today, None, absence)
        if self.plan.resting:
            return
        rung = self.ladder[self.at]
        report, steady = self._day_told(rung, today, luck)
        self._count_day(rung, steady, late)
        before = start_at(rung, today) if self.known is None else self.known
        self.known = learn(before, rung, report, self._target)
        above = self.ladder.above(rung.key)
        opinion = None if above is None else chance(self.known, above, today)
        move = decide(self.ladder, self.plan, self.history, report, opinion)
        self._since = today
        self._make(today, report, move)
        label = self._ahead.pop(move.to_key, None) if move.kind == "up" else None
        if label is not None:
            self.tally.days_to[label] = [number + 1]
        world = self.world
        self.gained = min(self.gained + world.practice_gain, world.most_gain)

    def _day_told(self, rung: Rung, today: date, luck: list[float]) -> tuple[DayReport, bool]:
        """The day's report, and whether every side was truly held steady."""
        world = self.world
        drop = world.bad_day_drop if luck[3] < world.bad_day_chance else 0.0
        holds: list[SideHold] = []
        how: Steadiness = "steady"
        steady = True
        for place, side in enumerate(rung.sides or (None,)):
            if side is None:
                p = min(self._side_chance(rung, each, drop) for each in Side)
            else:
                p = self._side_chance(rung, side, drop)
            held = luck[4 + place] < p
            seconds, told = self._hold_told(held, luck[6 + place], luck[8 + place])
            steady = steady and held
            if told == "wobbly":
                how = "wobbly"
            holds.append(SideHold(seconds, side))
        return DayReport(today, rung.key, tuple(holds), how), steady

    def _hold_told(self, held: bool, kind: float, lie: float) -> tuple[float, Steadiness]:
        world = self.world
        if held:
            return self._target, "wobbly" if lie < world.told_worse else "steady"
        if lie < world.told_better:
            return self._target, "steady"
        if kind < world.far_short_share:
            return self._target * 0.3, "wobbly"
        if kind < world.far_short_share + world.short_share:
            return self._target * 0.75, "wobbly"
        return self._target, "wobbly"

    def _count_day(self, rung: Rung, steady: bool, late: bool) -> None:
        tally = self.tally
        tally.practised += 1
        tally.unsteady += not steady
        tally.rung_days[self.ladder.index(rung.key)] += 1
        if late:
            tally.late_days += 1
            tally.late_steady += steady
            tally.late_chance += self.true_chance(rung)

    def _make(self, today: date, report: DayReport | None, move: Move) -> None:
        tally = self.tally
        self.history.append(PastDay(today, report, move))
        if len(self.history) > 2 * HISTORY_KEPT:
            del self.history[:HISTORY_KEPT]
        self.at = move.to_key
        if move.kind == "up":
            tally.ups += 1
            tally.risky_ups += self.true_chance(self.ladder[move.to_key]) < 0.5
        elif move.kind == "back":
            tally.backs += 1
            tally.away_backs += report is None
        elif move.kind == "rest":
            tally.rests += 1
            self.plan = replace(self.plan, resting=True)
        tally.stuck += "stuck" in move.alerts
        tally.held_by_opinion += move.rule == "second_opinion"
        if move.kind != "stay":
            self.path.append(((today - FIRST_DAY).days, move.to_key, move.kind))
        if "gate_reached" in move.alerts:
            self._gate = str(move.facts["gate"])
        if move.alerts and self._look_on is None:
            self._look_on = today + timedelta(days=self.world.trainer_days)

    def _trainer_looks(self, today: date) -> None:
        """Opens the gate that was asked for, or has the client carry on (lower after a rest)."""
        self._look_on = None
        resting = self.plan.resting
        to_key = self.ladder.landmark_below(self.at).key if resting else self.at
        move = override_move(self.plan, self.history, self.at, to_key, "The trainer has looked.")
        gates = self.plan.open_gates if self._gate is None else self.plan.open_gates | {self._gate}
        self.plan, self._gate = replace(self.plan, resting=False, open_gates=gates), None
        self._since = today
        self._make(today, None, move)


def _label(rung: Rung) -> str:
    return f"{rung.round} {rung.landmark}".replace("_", " ")


def _landmarks_above(ladder: Ladder, key: str) -> dict[str, str]:
    """The landmarks harder than a rung: key to label."""
    above = ladder.rungs[ladder.index(key) + 1 :]
    return {rung.key: _label(rung) for rung in above if rung.landmark is not None}
