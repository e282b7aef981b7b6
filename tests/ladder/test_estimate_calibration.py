"""The second opinion's 90% intervals, simulated: the truth lies inside on 85 to 95% of days."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from rungwise.ladder.body import Body, Equipment, Limits
from rungwise.ladder.build import build_ladder
from rungwise.ladder.estimate import (
    DRIFT_VARIANCE_DAY,
    START_CHANCE_LOGIT,
    START_VARIANCE,
    Z90,
    Abilities,
    chance,
    difficulty,
    learn,
    start_at,
    success_chance,
)
from rungwise.ladder.progression import DayReport, PastDay, Plan, SideHold, decide
from rungwise.ladder.simulate import FIRST_DAY, HISTORY_KEPT
from rungwise.ladder.stance import Side

LADDER = build_ladder(Body(246, 93, 175), Equipment(), Limits(closed_gates=frozenset()))
CHECKED = range(5, 100, 5)


class DriftingClient:
    """Ability starts and drifts as the model says; every report goes through `decide`."""

    def __init__(self, luck: np.random.Generator, start: int, tells_side: bool = True) -> None:
        self.luck, self.tells_side = luck, tells_side
        first = LADDER.rungs[start]
        spread = START_VARIANCE**0.5
        middle = difficulty(first) + START_CHANCE_LOGIT
        self.ability = {side: middle + spread * luck.standard_normal() for side in Side}
        self.at, self.known = first.key, start_at(first, FIRST_DAY)
        self.history: list[PastDay] = []

    def live(self, days: int, missed: float) -> list[tuple[int, int]]:
        """Where the truth lay beside the interval, for the current and the next rung."""
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

    def practise(self, today: date) -> None:
        rung = LADDER[self.at]
        if rung.sides:
            held = [
                self.luck.random() < success_chance(self.ability[side], difficulty(rung))
                for side in rung.sides
            ]
            short = 15 if self.tells_side else 20
            holds = tuple(
                SideHold(20 if ok else short, side)
                for ok, side in zip(held, rung.sides, strict=True)
            )
        else:
            weaker = min(self.ability.values())
            held = [self.luck.random() < success_chance(weaker, difficulty(rung))]
            holds = (SideHold(20 if held[0] else 15),)
        how = "steady" if self.tells_side or all(held) else "wobbly"
        report = DayReport(today, rung.key, holds, how)  # type: ignore[arg-type]
        self.known = learn(self.known, rung, report, 20)
        above = LADDER.above(rung.key)
        opinion = None if above is None else chance(self.known, above, today)
        move = decide(LADDER, Plan(), self.history[-HISTORY_KEPT:], report, opinion)
        self.history.append(PastDay(today, report, move))
        self.at = move.to_key

    def covered(self, today: date) -> tuple[int, int]:
        """Where the truth lies on this rung and the next: below (-1), in (0), above (1)."""
        answers = []
        for rung in (LADDER[self.at], LADDER.above(self.at) or LADDER[self.at]):
            shown = chance(self.known, rung, today)
            each = [success_chance(self.ability[side], difficulty(rung)) for side in Side]
            truth = each[0] * each[1] if rung.sides else min(each)
            answers.append((truth > shown.high) - (truth < shown.low))
        return answers[0], answers[1]

    def sides_covered(self, today: date) -> list[int]:
        """The same for each side by itself, on the present rung."""
        rung = LADDER[self.at]
        answers = []
        for side in rung.sides:
            shown = chance(self.known, replace(rung, sides=(side,)), today)
            truth = success_chance(self.ability[side], difficulty(rung))
            answers.append((truth > shown.high) - (truth < shown.low))
        return answers


@pytest.mark.parametrize(("missed", "tells_side"), [(0.0, True), (0.3, True), (0.1, False)])
def test_nine_intervals_in_ten_hold_the_truth(missed: float, tells_side: bool) -> None:
    found = []
    for number in range(100):
        # Begins where both sides are asked for, so that each is told of by itself.
        start = 14 + number % 25
        found += DriftingClient(np.random.default_rng([3, number]), start, tells_side).live(
            100, missed
        )
    for cover in zip(*found, strict=True):
        assert 0.85 <= np.mean(np.equal(cover, 0)) <= 0.95
        assert np.mean(np.equal(cover, -1)) <= 0.07  # the truth below what was shown


def test_each_side_by_itself_is_covered_when_the_sides_are_told() -> None:
    found: list[int] = []
    for number in range(200):
        client = DriftingClient(np.random.default_rng([4, number]), 14 + number % 25)
        client.live(60, 0.1)
        found += client.sides_covered(FIRST_DAY + timedelta(days=59))
    assert 0.85 <= np.mean(np.equal(found, 0)) <= 0.95


def test_the_interval_is_neither_a_point_nor_everything() -> None:
    client = DriftingClient(np.random.default_rng(1), 20)
    client.live(100, 0.1)
    known: Abilities = client.known
    assert 0.05 < 2 * Z90 * known.left.variance**0.5 < 3
