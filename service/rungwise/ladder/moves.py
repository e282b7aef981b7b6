"""The values of a decision: the move with its reason, the plan, the past, the second opinion."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from rungwise.errors import ImpossibleValue
from rungwise.ladder.caution import Caution
from rungwise.ladder.day import DayReport

MoveKind = Literal["up", "stay", "back", "rest", "override"]

# A plan says which version decides for it; what was decided under one is replayed under it.
RULE_VERSIONS = (1, 2)
NEWEST_RULE = 2
EVERY_DAY = frozenset(range(7))
TARGET_BOUNDS_S = (10, 30)

# Every rule by its short name, with what it says. Names are stored: never reuse one.
RULES: Mapping[str, str] = {
    "safety_sign": "A fall, pain, dizziness or an emergency sign was told: rest at once.",
    "resting": "A resting client is never moved.",
    "waiting_answer": "A fall, pain or dizziness may have been meant: no move until answered.",
    "unknown_rung": "The rung told about isn't on the client's ladder.",
    "other_rung": "The report is about another rung than the one the client is now on.",
    "skipped": "Not practised: counts neither way.",
    "unfinished": "Something is missing from the report: counts neither way.",
    "gathering": "Steady, but not yet on enough days running.",
    "one_bad_day": "Wobbly or short, but not yet on enough days.",
    "bad_days": "Wobbly or short on enough of the last days: back.",
    "far_short": "Held far under the target: back to the landmark below.",
    "lowest": "A back move is due, but there is no easier rung.",
    "gate": "An up move is due, but the next gate is closed.",
    "top": "An up move is due, but this is the top of the ladder.",
    "stuck": "Up moves wait after repeated backs from the same rung.",
    "one_move_a_day": "An up move was already made for this date.",
    "later_told": "An up move is due, but a later day is told already: the next one decides.",
    "second_opinion": "The chance of a steady hold on the next rung is too low.",
    "steady_run": "Steady on enough days running: up one rung.",
    "climb": "Steady on enough days running: up as far as the second opinion goes along.",
    "regain": "Steady again: back up to ground that was held before.",
    "unlikely": "Wobbly or short where a steady hold is less likely than not: back.",
    "away_back": "Away for some days: back one landmark, or as far as the second opinion says.",
    "away_rest": "Away for long: rest until the trainer has looked.",
    "trainer": "The trainer chose the rung.",
}


@dataclass(frozen=True, slots=True)
class Move:
    """What was decided, why, by which rule, and from what.

    `because` is a plain sentence for the trainer; `rule` a short stable name of the rule that
    decided (see RULES); `alerts` the alert kinds this calls for; `facts` the plain JSON values it
    was computed from, enough to check it by hand. Store `facts` with the move: later decisions
    read `target_s`, `verdict`, `gate_told`, `climb`, `since` and `after_rest` from them. `version`
    is the rule's that decided.
    """

    kind: MoveKind
    from_key: str
    to_key: str
    rule: str
    because: str
    alerts: tuple[str, ...] = ()
    facts: Mapping[str, object] = field(default_factory=dict)
    version: int = 1


@dataclass(frozen=True, slots=True)
class PastDay:
    """One earlier date: the report, if there was one, and the move then made.

    An override by the trainer is a PastDay with no report and a move of kind `override`, a move
    for absence one with no report and a move of kind `back` or `rest`.
    """

    day: date
    report: DayReport | None
    move: Move


@dataclass(frozen=True, slots=True)
class Plan:
    """What the trainer set: hold target, caution, which gates are open, whether resting.

    `rule_version` is the rule that decides; `weekdays` the days of practice, 0 for Monday, from
    which rule version 2 counts missed sessions. `keeps_up`: at the top of the ladder the day's rung
    goes round. Raises ImpossibleValue for a target outside 10 to
    30 whole seconds or a rule version there isn't.
    """

    target_s: int = 20
    caution: Caution = field(default_factory=Caution)
    open_gates: frozenset[str] = frozenset()
    resting: bool = False
    rule_version: int = 1
    weekdays: frozenset[int] = EVERY_DAY
    keeps_up: bool = False

    def __post_init__(self) -> None:
        low, high = TARGET_BOUNDS_S
        if type(self.target_s) is not int or not low <= self.target_s <= high:
            raise ImpossibleValue(
                "target_s", self.target_s, f"a whole number of seconds from {low} to {high}"
            )
        if self.rule_version not in RULE_VERSIONS:
            raise ImpossibleValue("rule_version", self.rule_version, "1 or 2")


@dataclass(frozen=True, slots=True)
class Chance:
    """The second opinion: chance of a steady hold at target on one rung, with a 90% interval."""

    rung_key: str
    mean: float
    low: float
    high: float
