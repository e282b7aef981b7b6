"""Virtual clients who stand still, through the decisions as the service takes them.

A client holds every rung with a logistic chance of ability minus difficulty and tells the truth but
for a share of misreports; placed some rungs under the level (the hardest rung held with a chance of
0.8) or above it. Every planned session goes through `verdict` and, before it, `decide_absence`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from math import log

import numpy as np

from rungwise.coach.verdict import verdict
from rungwise.commands.simulate import USUAL_PROFILE
from rungwise.ladder.absence import decide_absence, override_move
from rungwise.ladder.body import GATES
from rungwise.ladder.build import build_ladder
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.estimate import LOGITS_PER_DEMAND, success_chance
from rungwise.ladder.moves import PastDay, Plan
from rungwise.ladder.rungs import Ladder

OWN = build_ladder(
    USUAL_PROFILE.body, USUAL_PROFILE.equipment, USUAL_PROFILE.limits, USUAL_PROFILE.narrowing
)
FIRM_COUNT = sum(rung.round == "firm" for rung in OWN.rungs)
MONDAY = date(2026, 1, 5)
WEEKDAYS = {1: {0}, 2: {0, 3}, 3: {0, 2, 4}, 4: {0, 1, 3, 4}, 5: set(range(5)), 6: set(range(6)), 7: set(range(7))}
LEVEL_LOGIT = log(0.8 / 0.2)


@dataclass(frozen=True, slots=True)
class Setting:
    """One row: the rule, the week, where the client is placed, and how reports are wrong."""

    rule: int = 2
    days_a_week: int = 3
    below: int = 30
    told_steady: float = 0.05
    told_wobbly: float = 0.05
    far_short: float = 0.1
    spread: float = 1.0
    by_rung: float = 0.0  # logits a rung, instead of by demand
    preset: str = "usual"
    gain: float = 0.0


@dataclass(slots=True)
class Life:
    """What one client's sessions were: places, true chances, whether steady, moves."""

    level: int
    places: list[int] = field(default_factory=list)
    chances: list[float] = field(default_factory=list)
    steady: list[bool] = field(default_factory=list)
    risky: int = 0
    ups: int = 0
    biggest_landmarks: int = 0
    rules: list[str] = field(default_factory=list)
    days: int = 0
    why: list[str] = field(default_factory=list)


class Still:
    """One client; `hold` tells what a session came to, and may be scripted."""

    def __init__(self, ladder: Ladder, plan: Plan, start: int) -> None:
        self.ladder, self.plan = ladder, plan
        key = ladder.rungs[start].key
        self.at, self.since = key, MONDAY
        self.history = [PastDay(MONDAY, None, override_move(plan, (), key, key, "Placed."))]

    def before(self, day: date) -> None:
        move = decide_absence(self.ladder, self.plan, self.history[-180:], self.at, self.since, day)
        if move is not None:
            self._made(day, None, move)
            self.plan = replace(self.plan, resting=self.plan.resting or move.kind == "rest")

    def tell(self, day: date, held: str):
        seconds = {"s": 20, "w": 20, "h": 15, "f": 6}[held]
        report = DayReport(day, self.at, (SideHold(seconds, "both"),), "steady" if held == "s" else "wobbly")
        move = verdict(self.ladder, self.plan, self.history[-180:], report)
        self._made(day, report, move)
        self.since = day
        return move

    def _made(self, day, report, move) -> None:
        self.history.append(PastDay(day, report, move))
        if len(self.history) > 400:
            del self.history[:200]
        self.at = move.to_key


def sessions(days_a_week: int, count: int) -> Iterator[date]:
    day, wanted = MONDAY, WEEKDAYS[days_a_week]
    while count:
        if day.weekday() in wanted:
            count -= 1
            yield day
        day += timedelta(days=1)


def plan_of(setting: Setting, ladder: Ladder = OWN) -> Plan:
    from rungwise.ladder.caution import PRESETS
    return Plan(
        caution=PRESETS[setting.preset], open_gates=frozenset(GATES), rule_version=setting.rule,
        weekdays=frozenset(WEEKDAYS[setting.days_a_week]),
    )


def live(setting: Setting, level: int, count: int, luck: np.random.Generator, ladder: Ladder = OWN) -> Life:
    hard = [r.demand * LOGITS_PER_DEMAND for r in ladder.rungs]
    if setting.by_rung:
        hard = [n * setting.by_rung for n in range(len(ladder))]
    ability = hard[level] + LEVEL_LOGIT * setting.spread
    start = max(level - setting.below, 0)
    client = Still(ladder, plan_of(setting), start)
    life = Life(level)
    p_of = lambda place: success_chance((ability - hard[place]) / setting.spread, 0.0)
    draws = luck.random((count, 3))
    for number, day in enumerate(sessions(setting.days_a_week, count)):
        client.before(day)
        if client.plan.resting:
            break
        place = ladder.index(client.at)
        p = p_of(place)
        held = draws[number, 0] < p
        life.places.append(place); life.chances.append(p); life.steady.append(bool(held))
        told = held
        if held and draws[number, 1] < setting.told_wobbly:
            told = False
        elif not held and draws[number, 1] < setting.told_steady:
            told = True
        letter = "s" if told else ("f" if not held and draws[number, 2] < setting.far_short else "w")
        move = client.tell(day, letter)
        ability += setting.gain
        life.rules.append(move.rule)
        to = ladder.index(move.to_key)
        if to > place:
            life.ups += 1
            life.risky += p_of(to) < 0.5
            if p_of(to) < 0.5:
                life.why.append(move.rule)
        lo, hi = sorted((to, place))
        passed = sum(ladder.rungs[n].landmark is not None for n in range(lo + 1, hi))
        life.biggest_landmarks = max(life.biggest_landmarks, passed)
        life.days = (day - MONDAY).days + 1
    return life


def days_to_level(life: Life, within: int = 3) -> float:
    for n, place in enumerate(life.places):
        if place >= life.level - within:
            return n + 1
    return float("inf")


def run(setting: Setting, clients: int, count: int, seed: int, ladder: Ladder = OWN) -> list[Life]:
    lives = []
    for n in range(clients):
        luck = np.random.default_rng([seed, n])
        low = min(max(setting.below, 0) + 0, FIRM_COUNT - 8)
        high = FIRM_COUNT - 5 + min(setting.below, 0)
        level = int(luck.integers(max(low, 5), high))
        lives.append(live(setting, level, count, luck, ladder))
    return lives


def summary(lives: list[Life], setting: Setting) -> dict:
    early = setting.days_a_week * 8
    to = np.array([days_to_level(l) for l in lives])
    years = sum(l.days for l in lives) / 365
    rate = sum(l.risky for l in lives) / years
    e = np.mean([np.mean(l.steady[:early]) for l in lives])
    late = [np.mean(l.chances[early:]) for l in lives if len(l.chances) > early]
    return dict(median=float(np.median(to)), p90=float(np.percentile(to, 90, method="higher")), risky=round(rate, 2), early=round(float(e), 3),
                late=round(float(np.mean(late)), 3), lm=max(l.biggest_landmarks for l in lives))
