"""Virtual clients of known courses through the real rule: steady, worse, ill, away, fibbing.

Each practises on some weekdays for one or more sets a day. What they tell goes through the rule as
in the simulator, and is kept as the plain values that the flags look at. What virtual clients are
like is our choice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from rungwise.evidence.decline import DayTried, day_tried
from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.estimate import success_chance
from rungwise.ladder.moves import RULE_VERSIONS, Move
from rungwise.ladder.progression import DayReport, Plan, SideHold, override_move
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.simulate import FIRST_DAY, VirtualClient, World
from rungwise.ladder.stance import Side

LADDER = build_ladder(Body(246, 93, 175), Equipment(8, True, True), Limits())
STABLE = replace(World(), practice_gain=0.0, lay_off_loss=0.0)
THREE_DAYS, EVERY_DAY = (0, 2, 4), tuple(range(7))

# Logits lost by (left, right) on a day number; None: not practised that day.
Lost = Callable[[int], tuple[float, float] | None]


def never(_day: int) -> tuple[float, float]:
    return 0.0, 0.0


def at_once(logits: float, change: int, sides: tuple[int, int] = (1, 1)) -> Lost:
    """So many logits lost on the day `change`, for good."""
    return lambda day: (0.0, 0.0) if day < change else (logits * sides[0], logits * sides[1])


def weekly(logits: float, change: int) -> Lost:
    """So many logits lost a week from the day `change` on."""

    def lost(day: int) -> tuple[float, float]:
        gone = logits * max(day - change, 0) / 7
        return gone, gone

    return lost


def off(change: int, days: int, then: float, mends_days: int) -> Lost:
    """Not practising for `days`, then `then` logits worse, which mends over `mends_days`."""

    def lost(day: int) -> tuple[float, float] | None:
        if change <= day < change + days:
            return None
        back = max(1 - (day - change - days) / mends_days, 0.0) if day >= change + days else 0.0
        return then * back, then * back

    return lost


@dataclass(frozen=True, slots=True)
class Lived:
    """One virtual client's days: as told, the truth beside it, and the rule's "stuck" alerts."""

    days: tuple[DayTried, ...]
    ability: tuple[float, float]
    place: tuple[int, ...]
    stuck: tuple[date, ...]
    truly_steady: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """How they practise and tell. `placed` moves them so many rungs on the day `placed_on`."""

    weekdays: Sequence[int] = EVERY_DAY
    sets: int = 1
    fibs: bool = False
    rungs_too_low: int = 0
    placed: int = 0
    placed_on: int = 0
    rule_version: int = max(RULE_VERSIONS)
    world: World = field(default=STABLE)


class CourseClient(VirtualClient):
    """A virtual client of the simulator whose ability follows a course."""

    def __init__(
        self, way: Way, lost: Lost, luck: np.random.Generator, ladder: Ladder = LADDER
    ) -> None:
        plan = Plan(rule_version=way.rule_version, weekdays=frozenset(way.weekdays))
        super().__init__(ladder, plan, way.world, luck)
        self.way, self.lost = way, lost
        self.more_luck = np.random.default_rng(int(luck.integers(1 << 60)))
        low = max(ladder.index(self.at) - way.rungs_too_low, 0)
        self.at = ladder.rungs[low].key
        self.day_number, self.gone = -1, (0.0, 0.0)
        self.days: list[DayTried] = []
        self.place: list[int] = []
        self.stuck: list[date] = []
        self.truly_steady: list[bool] = []

    def lived(self, days: int) -> Lived:
        self.live(days)
        both = (self.ability[Side.LEFT], self.ability[Side.RIGHT])
        told = (tuple(self.days), both, tuple(self.place), tuple(self.stuck))
        return Lived(*told, tuple(self.truly_steady))

    def _is_off(self, luck: list[float]) -> bool:
        elsewhere = super()._is_off(luck)
        self.day_number += 1
        if self.way.placed and self.day_number == self.way.placed_on:
            self._be_placed()
        gone = self.lost(self.day_number)
        self.gone = gone or (0.0, 0.0)
        planned = self.day_number % 7 in self.way.weekdays
        return elsewhere or gone is None or not planned

    def _be_placed(self) -> None:
        to = self.ladder.rungs[max(self.ladder.index(self.at) + self.way.placed, 0)].key
        today = FIRST_DAY + timedelta(days=self.day_number)
        self._make(today, None, override_move(self.plan, self.history, self.at, to, "Placed."))

    def _side_chance(self, rung: Rung, side: Side, drop: float) -> float:
        gone = getattr(self, "gone", (0.0, 0.0))[side is Side.RIGHT]
        ability = self.ability[side] + self.gained - gone - drop
        return success_chance((ability - self._hard[rung.key]) / self.world.spread, 0.0)

    def _day_told(self, rung: Rung, today: date, luck: list[float]) -> tuple[DayReport, bool]:
        """All the sets of a day as one report for the rule, and singly for the flags."""
        sets = []
        steady = True
        for number in range(self.way.sets):
            draws = luck if number == 0 else [*luck[:4], *self.more_luck.random(8).tolist()]
            one, held = super()._day_told(rung, today, draws)
            if self.way.fibs:
                holds = tuple(SideHold(self._target, side) for side in rung.sides or (None,))
                one = DayReport(today, rung.key, holds, "steady")
            sets.append(one)
            steady = steady and held
        tried = day_tried(rung, sets, self._target)
        if tried is not None:
            self.days.append(tried)
            self.place.append(self.ladder.index(rung.key))
            self.truly_steady.append(steady)
        wobbly = any(one.steadiness == "wobbly" for one in sets)
        holds = tuple(hold for one in sets for hold in one.holds)
        return DayReport(today, rung.key, holds, "wobbly" if wobbly else "steady"), steady

    def _make(self, today: date, report: DayReport | None, move: Move) -> None:
        if "stuck" in move.alerts:
            self.stuck.append(today)
        super()._make(today, report, move)


def live(
    way: Way, lost_of: Callable[[int], Lost], *, clients: int, days: int, seed: int
) -> list[Lived]:
    """`clients` virtual clients; `lost_of(n)` is client n's course. Same seed, same luck."""
    return [
        CourseClient(way, lost_of(number), np.random.default_rng([seed, number])).lived(days)
        for number in range(clients)
    ]
