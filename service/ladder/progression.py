"""The decision after a day's report: up, stay, back or rest, with the reason."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from service.ladder.rungs import Ladder
from service.ladder.stance import Answer, Side, Steadiness

MoveKind = Literal["up", "stay", "back", "rest", "override"]


@dataclass(frozen=True, slots=True)
class SideHold:
    """One hold as told: seconds (None when only its steadiness was told) and side, if told."""

    seconds: float | None
    side: Side | Literal["both"] | None = None


@dataclass(frozen=True, slots=True)
class DayReport:
    """All that a client told about one local date, after questions and corrections.

    `rung_key` is the rung the day's text asked for. `holds` keeps every set in the order told.
    """

    day: date
    rung_key: str
    holds: tuple[SideHold, ...] = ()
    steadiness: Steadiness | None = None
    steadiness_by_side: Mapping[Side, Steadiness] = field(default_factory=dict)
    skipped: bool = False
    fall: Answer = "no"
    pain: Answer = "no"
    dizzy: Answer = "no"
    emergency: bool = False


@dataclass(frozen=True, slots=True)
class Move:
    """What was decided, why, by which rule, and from what.

    `because` is a plain sentence for the trainer; `rule` a short stable name of the rule that
    decided; `alerts` the alert kinds this calls for; `facts` the plain JSON values it was computed
    from, enough to check it by hand.
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

    An override by the trainer is a PastDay with no report and a move of kind `override`.
    """

    day: date
    report: DayReport | None
    move: Move


@dataclass(frozen=True, slots=True)
class Caution:
    """How cautious the rule is. See PRESETS for the three named settings."""

    name: str = "usual"
    steady_days_step: int = 2
    steady_days_landmark: int = 3
    back_days: int = 2
    back_window_days: int = 3
    far_short_share: float = 0.5
    stuck_backs: int = 2
    stuck_window_days: int = 14
    away_back_days: int = 7
    away_rest_days: int = 21
    least_chance: float | None = 0.5


@dataclass(frozen=True, slots=True)
class Plan:
    """What the trainer set: hold target, caution, which gates are open, whether resting."""

    target_s: int = 20
    caution: Caution = Caution()
    open_gates: frozenset[str] = frozenset()
    resting: bool = False


@dataclass(frozen=True, slots=True)
class Chance:
    """The second opinion: chance of a steady hold at target on one rung, with a 90% interval."""

    rung_key: str
    mean: float
    low: float
    high: float


def decide(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    report: DayReport,
    next_chance: Chance | None = None,
) -> Move:
    """The move after `report`. `history` is earlier dates in order, oldest first."""
    raise NotImplementedError


def decide_absence(
    ladder: Ladder, plan: Plan, history: Sequence[PastDay], rung_key: str, since: date, today: date
) -> Move | None:
    """The move that days away call for, before the next text; None if none, or already made.

    `since` is the date the client was last placed or practised, whichever is later.
    """
    raise NotImplementedError
