"""The decision after a day's report: up, stay, back or rest, with the reason.

`decide` chooses by rule version: version 1 stands here, version 2 in `climb.py`.

Everything here is a function of its arguments, so deciding again from what was stored gives the
same move. Only the end of a history is read, however long it is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import takewhile

from rungwise.ladder.absence import (
    caution_for,
    decide_absence,
    is_resting,
    override_move,
)
from rungwise.ladder.bounds import (
    about_another_rung,
    closed_gate,
    join,
    now_on,
    safety_first,
)
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, Caution, stricter
from rungwise.ladder.day import DayJudged, DayReport, SideHold, judge_day, side_seconds
from rungwise.ladder.moves import (
    NEWEST_RULE,
    RULE_VERSIONS,
    RULES,
    TARGET_BOUNDS_S,
    Chance,
    Move,
    MoveKind,
    PastDay,
    Plan,
)
from rungwise.ladder.rungs import Ladder, Rung

__all__ = [
    "HISTORY_ENTRIES",
    "NEWEST_RULE",
    "PRESETS",
    "RULES",
    "RULE_VERSIONS",
    "SAFE_BOUNDS",
    "TARGET_BOUNDS_S",
    "Caution",
    "Chance",
    "DayJudged",
    "DayReport",
    "Move",
    "MoveKind",
    "PastDay",
    "Plan",
    "SideHold",
    "caution_for",
    "closed_gate",
    "decide",
    "decide_absence",
    "is_resting",
    "judge_day",
    "override_move",
    "side_seconds",
    "stricter",
]

BACK_RULES = frozenset({"bad_days", "far_short"})
UNCOUNTED = frozenset({"skipped", "unfinished"})
HISTORY_ENTRIES = 100  # what a caller need load; no window that may be set reaches further


@dataclass(frozen=True, slots=True)
class _Case:
    """One decision's inputs, with what every branch needs worked out once."""

    ladder: Ladder
    plan: Plan
    caution: Caution
    history: Sequence[PastDay]
    report: DayReport
    rung: Rung
    judged: DayJudged
    facts: dict[str, object]

    def move(
        self, kind: MoveKind, to_key: str, rule: str, because: str, *alerts: str, **facts: object
    ) -> Move:
        return Move(kind, self.rung.key, to_key, rule, because, alerts, {**self.facts, **facts})

    def stay(self, rule: str, because: str, *alerts: str, **facts: object) -> Move:
        return self.move("stay", self.rung.key, rule, because, *alerts, **facts)


@dataclass(frozen=True, slots=True)
class _Stay:
    """The earlier days of the present stay on a rung: since the last move or override.

    `steady_running` counts back from the newest and stops at `enough`; `bad` are the wobbly or
    short ones among the newest judged days; `gate_told` the gate the trainer already knows of.
    """

    steady_running: int
    bad: int
    gate_told: str | None


def decide(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    report: DayReport,
    next_chance: Chance | None = None,
) -> Move:
    """The move after `report`. `history` is earlier dates in order, oldest first.

    `history` holds every report, override and absence move there was, without what `report`
    replaces: a correction is decided on the history before the day it corrects. What is
    older than the present stay on a rung, the last rest and the longest window (60 days) changes
    nothing. `next_chance` is the second opinion on the next harder rung; it can turn an up into
    a stay and nothing else; rule version 2 takes its own and needs none. Never raises for any
    report.
    """
    if plan.rule_version == 2:
        # Loaded here: version 2 takes numpy, which a reader of ladders need not wait for.
        from rungwise.ladder.climb import decide_climb  # noqa: PLC0415

        return decide_climb(ladder, plan, history, report)
    return _decide_one_step(ladder, plan, history, report, next_chance)


def _decide_one_step(
    ladder: Ladder,
    plan: Plan,
    history: Sequence[PastDay],
    report: DayReport,
    next_chance: Chance | None,
) -> Move:
    """Rule version 1: one rung at a time."""
    here = now_on(ladder, history, report)
    facts: dict[str, object] = {
        "day": report.day.isoformat(),
        "rung": here,
        "target_s": plan.target_s,
        "caution": plan.caution.name,
    }
    held_back = safety_first(plan, history, report, here, facts)
    if held_back is not None:
        return held_back
    if here not in ladder:
        because = "The rung the client told about is no longer on their ladder: choose a rung."
        return Move("stay", here, here, "unknown_rung", because, ("stuck",), facts)
    if report.rung_key != here:
        return about_another_rung(ladder, plan, report, here, facts)
    caution = caution_for(plan, history, report.day)
    judged = judge_day(ladder[here], report, plan.target_s, caution.far_short_share)
    facts.update(caution=caution.name, verdict=judged.verdict, shortest_s=judged.shortest_s)
    if judged.by_side:
        facts["by_side_s"] = {side.value: held for side, held in judged.by_side.items()}
    case = _Case(ladder, plan, caution, history, report, ladder[here], judged, facts)
    stay = _present_stay(case)
    if stay.gate_told is not None:
        facts["gate_told"] = stay.gate_told
    if judged.bad:
        return _after_bad_day(case, stay)
    if judged.verdict == "steady":
        return _after_steady_day(case, stay, next_chance)
    return _after_uncounted_day(case)


def _present_stay(case: _Case) -> _Stay:
    key, caution = case.rung.key, case.caution
    enough = _days_needed(case.rung, caution)
    steady = bad = judged_days = 0
    gate_told: str | None = None
    unbroken = True
    for past in reversed(case.history):
        move = past.move
        if move.kind != "stay" or move.to_key != key or move.rule == "lowest":
            break
        if gate_told is None:
            told = move.facts.get("gate_told")
            gate_told = told if isinstance(told, str) else None
        report = past.report
        if report is None or move.rule in UNCOUNTED or report.rung_key != key:
            continue
        if past.day >= case.report.day:
            continue
        verdict = _verdict_then(case, report, move)
        if verdict == "bad":
            unbroken = False
            bad += judged_days < caution.back_window_days - 1
            judged_days += 1
        elif verdict == "steady":
            steady += unbroken
            judged_days += 1
        if judged_days >= caution.back_window_days - 1 and (steady >= enough or not unbroken):
            break
    return _Stay(steady, bad, gate_told)


def _verdict_then(case: _Case, report: DayReport, move: Move) -> str:
    """An earlier day by the target of its own date; steady only if it also meets today's."""
    target = move.facts.get("target_s")
    then_s = target if isinstance(target, (int, float)) else case.plan.target_s
    judged = judge_day(case.rung, report, then_s, case.caution.far_short_share)
    if judged.bad:
        return "bad"
    held = judged.shortest_s
    if judged.verdict == "steady" and held is not None and held >= case.plan.target_s:
        return "steady"
    return "neither"


def _days_needed(rung: Rung, caution: Caution) -> int:
    return caution.steady_days_landmark if rung.landmark else caution.steady_days_step


def _after_bad_day(case: _Case, stay: _Stay) -> Move:
    caution, judged, ladder, key = case.caution, case.judged, case.ladder, case.rung.key
    bad = stay.bad + 1
    case.facts.update(bad_days=bad, back_days=caution.back_days, window=caution.back_window_days)
    place = ladder.index(key)
    if judged.verdict == "far_short":
        rule = "far_short"
        landmark = ladder.index(ladder.landmark_below(key).key)
        to = min(landmark, max(place - caution.back_steps, 0))
        because = (
            f"Held {judged.shortest_s:g} s of {case.plan.target_s}, "
            f"under {caution.far_short_share:.0%} of the target"
        )
        where = "back to the landmark below"
    elif bad >= caution.back_days:
        rule = "bad_days"
        to = max(place - caution.back_steps, 0)
        because = f"Wobbly or short on {_of_last(bad, caution.back_window_days)}"
        where = "back one step" if caution.back_steps == 1 else f"back {caution.back_steps} steps"
    else:
        held = "wobbly" if judged.verdict == "wobbly" else f"only {judged.shortest_s:g} s"
        because = f"Today was {held}: the same rung again, and the steady days start afresh."
        return case.stay("one_bad_day", because)
    if to == place:
        return case.stay("lowest", f"{because}, and there is no easier rung: please look.", "stuck")
    backs = 1 + sum(
        1
        for past in _since_look(case.history, case.report.day, caution.stuck_window_days)
        if past.move.kind == "back" and past.move.from_key == key and past.move.rule in BACK_RULES
    )
    to_key = ladder.rungs[to].key
    if backs < caution.stuck_backs:
        return case.move("back", to_key, rule, f"{because}: {where}.", backs_from_here=backs)
    because = (
        f"{because}: {where}. That makes {backs} backs from this rung in "
        f"{caution.stuck_window_days} days, so no move up until you have looked."
    )
    return case.move("back", to_key, rule, because, "stuck", backs_from_here=backs)


def _since_look(history: Sequence[PastDay], day: date, window_days: int) -> Iterator[PastDay]:
    """Past entries, newest first, since the trainer's last override and within the window."""
    for past in reversed(history):
        if past.move.kind == "override" or (day - past.day).days > window_days:
            return
        yield past


def _stuck_since(case: _Case) -> date | None:
    for past in _since_look(case.history, case.report.day, case.caution.stuck_window_days):
        if past.move.kind == "back" and "stuck" in past.move.alerts:
            return past.day
    return None


def _after_uncounted_day(case: _Case) -> Move:
    if case.judged.verdict == "skipped":
        return case.stay("skipped", "Not practised: the day counts neither way.")
    missing = list(case.judged.missing)
    because = f"The report lacks {join(missing)}: the day counts neither way."
    return case.stay("unfinished", because, missing=missing)


def _after_steady_day(case: _Case, stay: _Stay, next_chance: Chance | None) -> Move:
    """Up, if nothing holds the client; each hold is a stay with its own reason."""
    run, needed = stay.steady_running + 1, _days_needed(case.rung, case.caution)
    case.facts.update(steady_days=run, steady_days_needed=needed)
    if run < needed:
        leaving = " before leaving a landmark" if case.rung.landmark else ""
        because = f"Steady on {_running(run)}; {needed} are needed{leaving}."
        return case.stay("gathering", because)
    steady = f"Steady on {_running(run)}"
    above = case.ladder.above(case.rung.key)
    gate = "top" if above is None else closed_gate(case.ladder, case.plan, above)
    if gate is not None or above is None:
        return _held_at_gate(case, stay, steady, gate or "top")
    case.facts["next_rung"] = above.key
    stuck_since = _stuck_since(case)
    if stuck_since is not None:
        because = (
            f"{steady}, but moves up wait after repeated backs from one rung: look and choose a "
            f"rung, or wait until {case.caution.stuck_window_days} days have passed."
        )
        return case.stay("stuck", because, stuck_since=stuck_since.isoformat())
    if _up_already(case):
        return case.stay("one_move_a_day", f"{steady}, but there was a move up for this date.")
    least = case.caution.least_chance
    if next_chance is not None and next_chance.rung_key == above.key:
        case.facts["chance"] = [next_chance.mean, next_chance.low, next_chance.high]
        # Written so that a chance that is no number holds the client back too.
        if least is not None and not next_chance.mean >= least:
            because = (
                f"{steady}, but the chance of a steady hold on the next rung is about "
                f"{next_chance.mean:.0%}, under the {least:.0%} asked for: more practice here."
            )
            return case.stay("second_opinion", because, least_chance=least)
    return case.move("up", above.key, "steady_run", f"{steady}: up one step.")


def _up_already(case: _Case) -> bool:
    """Whether there was a move up for this date, or for a later one when this is a correction."""
    latest = takewhile(lambda past: past.day >= case.report.day, reversed(case.history))
    return any(past.move.kind == "up" for past in latest)


def _held_at_gate(case: _Case, stay: _Stay, steady: str, gate: str) -> Move:
    """Tells the trainer once per stay on the rung and gate; `gate_told` carries that on."""
    if gate == "top":
        because = f"{steady}, and this is the top of the ladder as you limited it."
    else:
        because = f"{steady}, but the gate '{gate.replace('_', ' ')}' is closed."
    alerts = () if stay.gate_told == gate else ("gate_reached",)
    rule = "top" if gate == "top" else "gate"
    return case.stay(rule, because, *alerts, gate=gate, gate_told=gate)


def _running(days: int) -> str:
    return "1 day" if days == 1 else f"{days} days running"


def _of_last(bad: int, window: int) -> str:
    if window == 1:
        return "the last day"
    return f"{bad} of the last {window} days practised"
