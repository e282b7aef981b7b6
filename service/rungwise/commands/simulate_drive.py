"""`rungwise simulate --drive`: an outside program plays the client, a JSON line a session."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from math import nan
from typing import Any, Literal, TextIO

from rungwise.coach.record.situation import HISTORY_DAYS
from rungwise.coach.record.verdict import verdict
from rungwise.commands.ladder import as_plain
from rungwise.concepts.alert_kinds import ALERTS
from rungwise.concepts.signs import FLAGS
from rungwise.errors import ImpossibleValue
from rungwise.ladder.absence import decide_absence, override_move
from rungwise.ladder.day import DayReport, SideHold
from rungwise.ladder.moves import Move, PastDay, Plan
from rungwise.ladder.rungs import Ladder
from rungwise.ladder.stance import Side, Steadiness
from rungwise.wording.rung_words import Telling

FIRST_DATE = date(2026, 1, 5)  # a Monday
# The weekdays of so many sessions a week, 0 for Monday, spread as evenly as may be.
WEEKDAYS: Mapping[int, frozenset[int]] = {
    1: frozenset({0}),
    2: frozenset({0, 3}),
    3: frozenset({0, 2, 4}),
    4: frozenset({0, 1, 3, 4}),
    5: frozenset({0, 1, 2, 3, 4}),
    6: frozenset({0, 1, 2, 3, 4, 5}),
    7: frozenset(range(7)),
}
LONGEST_HOLD_S = 3600
KEYS = ("holds", "steadiness", "steadiness_by_side", "say", "missed", *FLAGS, "act")
TOO_EASY = "too easy"


def drive(ladder: Ladder, plan: Plan, start: str | None, lines: Iterable[str], out: TextIO) -> None:
    """Write a line for each planned session and read what the client told, until the input ends.

    `start` None is the lowest rung. Raises ImpossibleValue for a start that the ladder lacks and
    for a line that can't be read, naming what is wrong with it.
    """
    client = Driven(ladder, plan, ladder.rungs[0].key if start is None else start)
    answers = iter(lines)
    for number, day in enumerate(session_dates(plan.weekdays), start=1):
        out.write(json.dumps(client.session(number, day), ensure_ascii=False) + "\n")
        out.flush()
        line = next((line for line in answers if line.strip()), None)
        if line is None:
            return
        client.answer(day, answer_in(line, number))


def session_dates(weekdays: frozenset[int]) -> Iterator[date]:
    """Every planned date from the first Monday on."""
    day = FIRST_DATE
    while True:
        if day.weekday() in weekdays:
            yield day
        day += timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Answer:
    """One session's answer, read: what was told, or that nothing was, or the trainer's word."""

    holds: tuple[SideHold, ...] = ()
    steadiness: Steadiness | None = None
    by_side: Mapping[Side, Steadiness] = field(default_factory=dict)
    too_easy: bool = False
    missed: bool = False
    signs: frozenset[str] = frozenset()
    clear: bool = False

    @property
    def told(self) -> bool:
        """Whether the client told anything."""
        return bool(self.holds or self.steadiness or self.by_side or self.signs)


class Driven:
    """The client that is driven, as the service keeps one: rung, plan, past, rest."""

    def __init__(self, ladder: Ladder, plan: Plan, start: str) -> None:
        if start not in ladder:
            raise ImpossibleValue("start", start, "a rung of this ladder (rungwise ladder --json)")
        self.ladder, self.plan, self.at = ladder, plan, start
        placed = override_move(plan, (), start, start, "First rung.")
        self.history = [PastDay(FIRST_DATE, None, placed)]
        self.since = FIRST_DATE
        self._followed: list[Move] = []

    def session(self, number: int, day: date) -> dict[str, Any]:
        """The line of one planned session, after what days away call for."""
        past = self.history[-HISTORY_DAYS:]
        away = decide_absence(self.ladder, self.plan, past, self.at, self.since, day)
        if away is not None:
            self._make(day, None, away)
        followed, self._followed = self._followed, []
        shown = next((move for move in reversed(followed) if move.kind != "stay"), None)
        shown = shown or (followed[-1] if followed else None)
        kinds = dict.fromkeys(kind for move in followed for kind in move.alerts)
        rung = {
            **as_plain(self.ladder[self.at], self.ladder.measured, Telling(self.plan.target_s)),
            "target_s": self.plan.target_s,
        }
        return {
            "day": number,
            "date": day.isoformat(),
            "state": "rest" if self.plan.resting else "practising",
            "rung": rung,
            "move": None if shown is None else shown.kind,
            "reason": None if shown is None else shown.because,
            "alerts": [{"kind": kind, "urgency": str(ALERTS[kind].urgency)} for kind in kinds],
        }

    def answer(self, day: date, told: Answer) -> None:
        """Decide on what was told. A clear counts after the day's report."""
        if told.told:
            report = DayReport(
                day=day,
                rung_key=self.at,
                holds=told.holds,
                steadiness=told.steadiness,
                steadiness_by_side=told.by_side,
                fall="yes" if "fall" in told.signs else "no",
                pain="yes" if "pain" in told.signs else "no",
                dizzy="yes" if "dizzy" in told.signs else "no",
                too_easy=told.too_easy,
            )
            past = self.history[-HISTORY_DAYS:]
            self._make(day, report, verdict(self.ladder, self.plan, past, report))
            self.since = day
        if told.clear:
            past = self.history[-HISTORY_DAYS:]
            cleared = override_move(self.plan, past, self.at, self.at, "The trainer has looked.")
            self.plan = replace(self.plan, resting=False)
            self._make(day, None, cleared)
            self.since = day

    def _make(self, day: date, report: DayReport | None, move: Move) -> None:
        self.history.append(PastDay(day, report, move))
        self.at = move.to_key
        if move.kind == "rest":
            self.plan = replace(self.plan, resting=True)
        self._followed.append(move)
        if len(self.history) > 4 * HISTORY_DAYS:
            del self.history[: 2 * HISTORY_DAYS]


# --- reading an answer ----------------------------------------------------------------------------


def answer_in(line: str, number: int) -> Answer:
    """One line of input, read. ImpossibleValue names the session and the key that is wrong."""
    try:
        return _answer(_json(line))
    except ImpossibleValue as wrong:
        field_name = f"day {number}: {wrong.field}"
        raise ImpossibleValue(field_name, wrong.value, wrong.allowed) from wrong


def _json(line: str) -> Mapping[str, Any]:
    try:
        told = json.loads(line)
    except ValueError as problem:
        raise ImpossibleValue("the line", line.strip()[:80], f"JSON ({problem})") from problem
    if not isinstance(told, dict):
        raise ImpossibleValue("the line", told, "a JSON object")
    return told


def _answer(told: Mapping[str, Any]) -> Answer:
    for key in told:
        if key not in KEYS:
            raise ImpossibleValue("key", key, f"one of {', '.join(KEYS)}")
    answer = Answer(
        holds=_holds(told.get("holds", [])),
        steadiness=_steadiness("steadiness", told.get("steadiness")),
        by_side=_by_side(told.get("steadiness_by_side", {})),
        too_easy=_word("say", told.get("say"), TOO_EASY),
        missed=_flag("missed", told.get("missed", False)),
        signs=frozenset(sign for sign in FLAGS if _flag(sign, told.get(sign, False))),
        clear=_word("act", told.get("act"), "clear"),
    )
    if answer.missed and (answer.told or answer.too_easy):
        raise ImpossibleValue("missed", True, "alone: nothing else can be told of a missed session")
    if answer.too_easy and not answer.holds:
        raise ImpossibleValue("say", TOO_EASY, "beside holds")
    if not (answer.told or answer.missed or answer.clear):
        raise ImpossibleValue("the line", dict(told), "holds, missed, a sign or an act")
    return answer


def _holds(told: Any) -> tuple[SideHold, ...]:
    if not isinstance(told, list):
        raise ImpossibleValue("holds", told, 'a list such as [{"seconds": 20, "side": "left"}]')
    return tuple(_hold(hold) for hold in told)


def _hold(told: Any) -> SideHold:
    if not isinstance(told, dict):
        raise ImpossibleValue("holds", told, 'objects such as {"seconds": 20, "side": "left"}')
    for key in told:
        if key not in ("seconds", "side"):
            raise ImpossibleValue("holds key", key, "seconds or side")
    seconds = told.get("seconds")
    whole_or_part = isinstance(seconds, int | float) and not isinstance(seconds, bool)
    number = float(seconds) if whole_or_part and seconds is not None else nan
    if not 0 <= number <= LONGEST_HOLD_S:  # nan is in no range
        raise ImpossibleValue("seconds", seconds, f"a number from 0 to {LONGEST_HOLD_S}")
    side = told.get("side")
    if side not in (None, "left", "right", "both"):
        raise ImpossibleValue("side", side, "left, right, both or null")
    whose: Side | Literal["both"] | None = None
    if side is not None:
        whose = "both" if side == "both" else Side(side)
    return SideHold(number, whose)


def _steadiness(key: str, told: Any) -> Steadiness | None:
    if told is None:
        return None
    if isinstance(told, str) and told in ("steady", "wobbly"):
        return "steady" if told == "steady" else "wobbly"
    raise ImpossibleValue(key, told, "steady, wobbly or null")


def _by_side(told: Any) -> Mapping[Side, Steadiness]:
    if not isinstance(told, dict):
        raise ImpossibleValue("steadiness_by_side", told, 'an object such as {"left": "steady"}')
    found: dict[Side, Steadiness] = {}
    for side, word in told.items():
        if side not in ("left", "right"):
            raise ImpossibleValue("steadiness_by_side key", side, "left or right")
        how = _steadiness(f"steadiness_by_side {side}", word)
        if how is not None:
            found[Side(side)] = how
    return found


def _flag(key: str, told: Any) -> bool:
    if not isinstance(told, bool):
        raise ImpossibleValue(key, told, "true or false")
    return told


def _word(key: str, told: Any, word: str) -> bool:
    if told is not None and told != word:
        raise ImpossibleValue(key, told, f'"{word}"')
    return told is not None
