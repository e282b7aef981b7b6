"""Both versions of the rule side by side, on virtual clients who stand still.

A client holds each rung with a logistic chance of ability minus difficulty (0.2 logits a point of
demand), tells the truth but for a share of misreports, and is placed so many rungs under the level
or above it: the level is the hardest rung held with a chance of 0.8. Every planned session goes
through `verdict`, as the service decides, and before it through `decide_absence`; every gate is
open, and no trainer looks. What such clients are like is our choice, no source.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from itertools import islice
from math import log

import numpy as np
from numpy.typing import NDArray

from rungwise.coach.record.verdict import verdict
from rungwise.commands.simulate import USUAL_PROFILE
from rungwise.commands.simulate_drive import WEEKDAYS, session_dates
from rungwise.ladder.absence import decide_absence, override_move
from rungwise.ladder.body import GATES
from rungwise.ladder.build import build_ladder
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.estimate import LOGITS_PER_DEMAND, success_chance
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.rungs import Ladder

OWN = build_ladder(
    USUAL_PROFILE.body, USUAL_PROFILE.equipment, USUAL_PROFILE.limits, USUAL_PROFILE.narrowing
)
FIRM_COUNT = sum(rung.round == "firm" for rung in OWN.rungs)
LEVEL_LOGIT = log(0.8 / 0.2)
NEAR = 3  # rungs; so near counts as there
HELD_S = {"s": 20, "w": 20, "h": 15, "f": 6}
CLIENTS, WEEKS, EARLY_WEEKS = 40, 52, 8


@dataclass(frozen=True, slots=True)
class Setting:
    """What a row of the table is about; `below` rungs under the level, negative above it."""

    label: str = ""
    below: int = 30
    days_a_week: int = 3
    told_steady: float = 0.05  # of failures
    told_wobbly: float = 0.05  # of steady holds
    far_short: float = 0.1  # of failures


SETTINGS = (
    Setting("30 rungs under the level"),
    Setting("12 under", below=12),
    Setting("at the level", below=0),
    Setting("6 too high", below=-6),
    Setting("12 too high", below=-12),
    Setting("30 under, seven days a week", days_a_week=7),
    Setting("30 under, a fifth of failures told as steady", told_steady=0.2),
    Setting("30 under, a tenth told wrongly", told_steady=0.1, told_wobbly=0.1),
)


class Client:
    """One client's place, plan and past, as the service keeps them."""

    def __init__(self, rule: int, start: int, days_a_week: int = 3, ladder: Ladder = OWN) -> None:
        self.ladder = ladder
        self.plan = Plan(
            open_gates=frozenset(GATES), rule_version=rule, weekdays=WEEKDAYS[days_a_week]
        )
        self.at = ladder.rungs[start].key
        self.since = next(session_dates(self.plan.weekdays))
        placed = override_move(self.plan, (), self.at, self.at, "Placed.")
        self.history = [PastDay(self.since, None, placed)]

    @property
    def place(self) -> int:
        return self.ladder.index(self.at)

    def before(self, day: date) -> None:
        """What the days away call for, before the day's text."""
        past = self.history[-180:]
        away = decide_absence(self.ladder, self.plan, past, self.at, self.since, day)
        if away is not None:
            self._made(day, None, away)
            resting = self.plan.resting or away.kind == "rest"
            self.plan = replace(self.plan, resting=resting)

    def tell(self, day: date, letter: str) -> Move:
        """s steady, w wobbly, h short, f far short."""
        how = "steady" if letter == "s" else "wobbly"
        report = DayReport(day, self.at, (SideHold(HELD_S[letter], "both"),), how)
        move = verdict(self.ladder, self.plan, self.history[-180:], report)
        self._made(day, report, move)
        self.since = day
        return move

    def _made(self, day: date, report: DayReport | None, move: Move) -> None:
        self.history.append(PastDay(day, report, move))
        self.at = move.to_key


@dataclass(slots=True)
class Life:
    """One client's sessions: the places, the true chances there, whether truly steady."""

    level: int
    years: float
    places: list[int] = field(default_factory=list)
    chances: list[float] = field(default_factory=list)
    steady: list[bool] = field(default_factory=list)
    risky: int = 0
    most_landmarks: int = 0

    def days_to_level(self) -> float:
        """Practised days until near the level; infinite if never."""
        there = (day for day, at in enumerate(self.places, 1) if at >= self.level - NEAR)
        return next(there, float("inf"))


def live(rule: int, setting: Setting, level: int, luck: np.random.Generator) -> Life:
    """One still client for WEEKS weeks."""
    hard = [rung.demand * LOGITS_PER_DEMAND for rung in OWN.rungs]
    ability = hard[level] + LEVEL_LOGIT
    client = Client(rule, max(level - setting.below, 0), setting.days_a_week)
    count = WEEKS * setting.days_a_week
    life = Life(level, WEEKS / 52)
    days = islice(session_dates(client.plan.weekdays), count)
    for day, (hold, lie, kind) in zip(days, luck.random((count, 3)).tolist(), strict=True):
        client.before(day)
        place = client.place
        chance = success_chance(ability, hard[place])
        held = hold < chance
        told = lie >= setting.told_wobbly if held else lie < setting.told_steady
        failed = "f" if not held and kind < setting.far_short else "w"
        client.tell(day, "s" if told else failed)
        life.places.append(place)
        life.chances.append(chance)
        life.steady.append(held)
        life.risky += client.place > place and success_chance(ability, hard[client.place]) < 0.5
        low, high = sorted((place, client.place))
        passed = sum(rung.landmark is not None for rung in OWN.rungs[low + 1 : high])
        life.most_landmarks = max(life.most_landmarks, passed + 1)
    return life


@cache
def lives(rule: int, setting: Setting, seed: int = 41, clients: int = CLIENTS) -> list[Life]:
    found = []
    for number in range(clients):
        luck = np.random.default_rng([seed, number])
        low = max(setting.below, 5)
        level = int(luck.integers(low, FIRM_COUNT - 4 + min(setting.below, 0)))
        found.append(live(rule, setting, level, luck))
    return found


Figure = Callable[[Sequence[Life]], float]


def median_days(found: Sequence[Life]) -> float:
    return float(np.median([life.days_to_level() for life in found]))


def late_days(found: Sequence[Life]) -> float:
    """The 90th percentile of the practised days to the level."""
    days = [life.days_to_level() for life in found]
    return float(np.percentile(days, 90, method="higher"))


def risky_year(found: Sequence[Life]) -> float:
    return sum(life.risky for life in found) / sum(life.years for life in found)


def early_steady(found: Sequence[Life]) -> float:
    return float(np.mean([np.mean(life.steady[: _early(life)]) for life in found]))


def later_steady(found: Sequence[Life]) -> float:
    """By the true chances, without the luck of the day."""
    return float(np.mean([np.mean(life.chances[_early(life) :]) for life in found]))


def _early(life: Life) -> int:
    return len(life.places) * EARLY_WEEKS // WEEKS


def interval(figure: Figure, found: Sequence[Life], tries: int = 500) -> tuple[float, float]:
    """A 95% interval over clients, by drawing them again (bootstrap percentiles)."""
    luck = np.random.default_rng(1)
    drawn: list[float] = []
    for _ in range(tries):
        chosen: NDArray[np.int64] = luck.integers(0, len(found), len(found))
        drawn.append(figure([found[number] for number in chosen]))
    low, high = np.percentile(drawn, [2.5, 97.5], method="nearest")
    return float(low), float(high)


def told(figure: Figure, found: Sequence[Life], form: str) -> str:
    low, high = interval(figure, found)
    words = [("never" if value == float("inf") else format(value, form)) for value in (low, high)]
    value = figure(found)
    shown = "never" if value == float("inf") else format(value, form)
    return f"{shown} ({words[0]} to {words[1]})"


def side_by_side() -> list[tuple[str, ...]]:
    """The rows of the table: each setting under both versions."""
    rows = []
    for setting in SETTINGS:
        for rule in (1, 2):
            found = lives(rule, setting)
            far = setting.below > NEAR
            days = (told(median_days, found, ".0f"), told(late_days, found, ".0f"))
            rows.append(
                (
                    setting.label,
                    str(rule),
                    *(days if far else ("", "")),
                    told(risky_year, found, ".2f"),
                    told(early_steady, found, ".0%"),
                    told(later_steady, found, ".0%"),
                )
            )
    return rows


def steady_path(rule: int, script: dict[int, str] | None = None, sessions: int = 120) -> list[int]:
    """The places of an always steady client from the lowest rung, three days a week.

    `script` has other letters for some sessions, from 0; - misses one.
    """
    client, places = Client(rule, 0), []
    for number, day in enumerate(islice(session_dates(client.plan.weekdays), sessions)):
        client.before(day)
        places.append(client.place)
        letter = (script or {}).get(number, "s")
        if letter != "-":
            client.tell(day, letter)
    return places


def first_at(places: Iterable[int], place: int) -> int:
    """The session, from 1, on which a place is first reached."""
    return next(session for session, at in enumerate(places, 1) if at >= place)


@cache
def costs(rule: int, away: bool) -> tuple[int, ...]:
    """Practised days lost by one far-short day, or a week away, on each of many days of the climb.

    Lost: how much later the client stands above the rung of that day than without it.
    """
    still = steady_path(rule, sessions=160)
    last = first_at(still, landmark_place("tandem"))
    days = range(3, last, max((last - 3) // 20, 1))
    found = []
    for day in days:
        script = {day + missed: "-" for missed in range(3)} if away else {day: "f"}
        target = min(at for at in still if at > still[day])
        later = first_at(steady_path(rule, script, 200), target) - first_at(still, target)
        found.append(later - 3 if away else later)
    return tuple(found)


def landmark_place(name: str) -> int:
    return next(place for place, rung in enumerate(OWN.rungs) if rung.landmark == name)
