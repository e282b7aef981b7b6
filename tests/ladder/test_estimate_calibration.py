"""The second opinion's 90% intervals, simulated: the truth lies inside on 85 to 95% of days."""

from datetime import timedelta

import numpy as np
import pytest

from service.ladder.body import Body, Equipment, Limits
from service.ladder.build import build_ladder
from service.ladder.estimate import (
    DRIFT_VARIANCE_DAY,
    START_CHANCE_LOGIT,
    START_VARIANCE,
    Z90,
    BothSides,
    chance,
    difficulty,
    learn,
    start_at,
    success_chance,
)
from service.ladder.progression import DayReport, PastDay, Plan, SideHold, decide
from service.ladder.simulate import FIRST_DAY, HISTORY_KEPT
from service.ladder.stance import Side

LADDER = build_ladder(Body(246, 93, 175), Equipment(), Limits(closed_gates=frozenset()))
CHECKED = range(5, 100, 5)


class DriftingClient:
    """Ability starts and drifts as the model says; every report goes through `decide`."""

    def __init__(self, luck: np.random.Generator, start: int) -> None:
        self.luck = luck
        first = LADDER.rungs[start]
        spread = START_VARIANCE**0.5
        middle = difficulty(first) + START_CHANCE_LOGIT
        self.ability = {side: middle + spread * luck.standard_normal() for side in Side}
        self.at, self.known = first.key, start_at(first, FIRST_DAY)
        self.history: list[PastDay] = []

    def live(self, days: int, missed: float) -> list[tuple[bool, bool]]:
        """Whether the interval held the truth, for the current and the next rung."""
        found = []
        for number in range(days):
            today = FIRST_DAY + timedelta(days=number)
            for side in Side:
                self.ability[side] += DRIFT_VARIANCE_DAY**0.5 * self.luck.standard_normal()
            if self.luck.random() < missed:
                continue
            self.practise(today)
            if number in CHECKED:
                found.append(self.covered(today))
        return found

    def practise(self, today) -> None:  # type: ignore[no-untyped-def]
        rung = LADDER[self.at]
        if rung.sides:
            held = [
                self.luck.random() < success_chance(self.ability[side], difficulty(rung))
                for side in rung.sides
            ]
            holds = tuple(
                SideHold(20 if ok else 15, side) for ok, side in zip(held, rung.sides, strict=True)
            )
        else:
            weaker = min(self.ability.values())
            held = [self.luck.random() < success_chance(weaker, difficulty(rung))]
            holds = (SideHold(20 if held[0] else 15),)
        report = DayReport(today, rung.key, holds, "steady")
        self.known = learn(self.known, rung, report, 20)
        above = LADDER.above(rung.key)
        opinion = None if above is None else chance(self.known, above, today)
        move = decide(LADDER, Plan(), self.history[-HISTORY_KEPT:], report, opinion)
        self.history.append(PastDay(today, report, move))
        self.at = move.to_key

    def covered(self, today) -> tuple[bool, bool]:  # type: ignore[no-untyped-def]
        """On the side that the estimate takes for the weaker, as the trainer is shown it."""
        answers = []
        for rung in (LADDER[self.at], LADDER.above(self.at) or LADDER[self.at]):
            shown = chance(self.known, rung, today)
            side = min(rung.sides or Side, key=lambda each: self.known.of(each).mean)
            truth = success_chance(self.ability[side], difficulty(rung))
            answers.append(shown.low <= truth <= shown.high)
        return answers[0], answers[1]


@pytest.mark.parametrize("missed", [0.0, 0.3])
def test_nine_intervals_in_ten_hold_the_truth(missed: float) -> None:
    found = []
    for number in range(150):
        # Begins where both sides are asked for, so that each is told of by itself.
        start = 14 + number % 25
        found += DriftingClient(np.random.default_rng([3, number]), start).live(100, missed)
    for cover in zip(*found, strict=True):
        assert 0.85 <= np.mean(cover) <= 0.95


def test_the_interval_is_neither_a_point_nor_everything() -> None:
    client = DriftingClient(np.random.default_rng(1), 20)
    client.live(100, 0.1)
    known: BothSides = client.known
    assert 0.05 < 2 * Z90 * known.left.variance**0.5 < 2.5
