"""One day's report judged: steady, wobbly, short, far short, or nothing to count."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import isfinite
from typing import Literal

from rungwise.ladder.rungs import Rung
from rungwise.ladder.stance import Answer, Side, Steadiness

Verdict = Literal["steady", "wobbly", "short", "far_short", "unfinished", "skipped"]
NUMBER_ASKED = "whether the number is right"
BAD: frozenset[Verdict] = frozenset({"wobbly", "short", "far_short"})


@dataclass(frozen=True, slots=True)
class SideHold:
    """One hold as told: seconds (None when only its steadiness was told) and side, if told."""

    seconds: float | None
    side: Side | Literal["both"] | None = None


@dataclass(frozen=True, slots=True)
class DayReport:
    """All that a client told about one local date, after questions and corrections.

    `rung_key` is the rung the day's text asked for. `holds` keeps every set in the order told.
    `too_easy` is the client's own word for a steady day.
    `done`: practised, told without seconds. `near_fall`, `distress` and `health_news` were told
    beside or instead of a result. `no_credit` says in plain words why a good result of this
    day leads nowhere up; empty when it may. `unconfirmed`: a number so far from the usual that the
    client is asked about it first.
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
    too_easy: bool = False
    done: bool = False
    near_fall: bool = False
    distress: bool = False
    health_news: bool = False
    no_credit: str = ""
    unconfirmed: bool = False


@dataclass(frozen=True, slots=True)
class DayJudged:
    """What one day counts as.

    `shortest_s` is the shortest hold that counts, in seconds; `by_side` each asked side's
    shortest; `missing` what the report leaves open, in words, empty when nothing is.
    """

    verdict: Verdict
    shortest_s: float | None
    by_side: Mapping[Side, float]
    missing: tuple[str, ...] = ()

    @property
    def bad(self) -> bool:
        return self.verdict in BAD


def side_seconds(
    rung: Rung, holds: Sequence[SideHold]
) -> tuple[dict[Side, float], tuple[float, ...]]:
    """Each asked side's shortest hold, and the holds that belong to no side we know, in seconds.

    On a two-sided rung an even count of numbers without sides is read in the order the sides
    were asked, set by set. On a rung without sides every hold comes back in the second part.
    """
    sides = rung.sides
    by_side: dict[Side, float] = {}
    loose: list[float] = []
    for hold in holds:
        seconds = hold.seconds
        if seconds is None or not isfinite(seconds):
            continue
        if not sides or hold.side is None:
            loose.append(seconds)
            continue
        for side in sides if hold.side == "both" else (hold.side,):
            if side in sides:
                by_side[side] = min(seconds, by_side.get(side, seconds))
    in_order = loose and sides and not by_side and len(loose) % len(sides) == 0
    if in_order or (loose and len(sides) == 1):
        for place, seconds in enumerate(loose):
            side = sides[place % len(sides)]
            by_side[side] = min(seconds, by_side.get(side, seconds))
        loose = []
    return by_side, tuple(loose)


def judge_day(
    rung: Rung, report: DayReport, target_s: float, far_short_share: float = 0.5
) -> DayJudged:
    """What the day counts as. The shortest hold of the weaker side decides.

    A lone number on a two-sided rung counts neither way: nobody knows whose it is.
    """
    by_side, loose = side_seconds(rung, report.holds)
    counted = list(by_side.values())
    if not rung.sides or by_side or len(loose) > 1:
        counted += loose
    shortest = min(counted, default=None)
    if report.unconfirmed:
        return DayJudged("unfinished", shortest, by_side, (NUMBER_ASKED,))
    if shortest is not None and shortest < far_short_share * target_s:
        return DayJudged("far_short", shortest, by_side)
    if shortest is not None and shortest < target_s:
        return DayJudged("short", shortest, by_side)
    told = report.steadiness_by_side
    if report.steadiness == "wobbly" or "wobbly" in told.values():
        return DayJudged("wobbly", shortest, by_side)
    if report.skipped:
        return DayJudged("skipped", shortest, by_side)
    missing = _missing(rung, report, by_side, shortest)
    return DayJudged("unfinished" if missing else "steady", shortest, by_side, missing)


def _missing(
    rung: Rung, report: DayReport, by_side: Mapping[Side, float], shortest: float | None
) -> tuple[str, ...]:
    missing: list[str] = []
    if not rung.sides and shortest is None:
        missing.append("the seconds held")
    missing += [f"the seconds on the {side}" for side in rung.sides if side not in by_side]
    told = report.steadiness_by_side
    asked = rung.sides or tuple(Side)
    if report.steadiness != "steady" and any(told.get(side) != "steady" for side in asked):
        missing.append("whether it was steady")
    answers = (("a fall", report.fall), ("pain", report.pain), ("dizziness", report.dizzy))
    missing += [f"the answer about {sign}" for sign, answer in answers if answer != "no"]
    if report.emergency:
        missing.append("the answer about an emergency sign")
    if report.no_credit and not missing:
        missing.append(f"a day to count by ({report.no_credit})")
    return tuple(missing)
