"""What a client has told over time, ready to be drawn or listed. Pure, but for reading alerts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.record.situation import Situation
from rungwise.ladder.day import judge_day
from rungwise.ladder.progression import PastDay
from rungwise.ladder.rungs import Ladder
from rungwise.store.tables import Alert

MOVED = ("up", "back", "rest", "override")


@dataclass(frozen=True, slots=True)
class DayHeld:
    """One day's holds in seconds: `by_side` the shortest of each side, "both" without sides."""

    day: date
    rung_key: str
    by_side: Mapping[str, float]
    target_s: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened on a date: a move up or back, a rest, a placing, an alert."""

    day: date
    kind: str
    about: str


@dataclass(frozen=True, slots=True)
class Progress:
    """Everything the chart of holds shows. Dates are the client's; `away` both ends included."""

    days: tuple[DayHeld, ...]
    moves: tuple[Mark, ...]
    alerts: tuple[Mark, ...]
    away: tuple[tuple[date, date], ...]
    first: date
    last: date


def progress(
    session: Session, situation: Situation, history: Sequence[PastDay], first: date, last: date
) -> Progress:
    """What happened from `first` to `last`; `history` as `situation.past` gives it. One query."""
    within = [past for past in history if first <= past.day <= last]
    held = (day_held(situation.ladder, past, situation.settings.target_s) for past in within)
    return Progress(
        days=tuple(day for day in held if day is not None),
        moves=tuple(
            Mark(past.day, past.move.kind, past.move.because)
            for past in within
            if past.move.kind in MOVED
        ),
        alerts=_alerts(session, situation, first, last),
        away=tuple(
            (max(begins, first), min(ends, last))
            for begins, ends in situation.settings.away
            if begins <= last and ends >= first
        ),
        first=first,
        last=last,
    )


def day_held(ladder: Ladder, past: PastDay, target_s: float) -> DayHeld | None:
    """The holds of one day, judged by the target of its own date; None without any."""
    report = past.report
    if report is None or report.rung_key not in ladder:
        return None
    told = past.move.facts.get("target_s")
    target = float(told) if isinstance(told, (int, float)) else target_s
    judged = judge_day(ladder[report.rung_key], report, target)
    by_side = {side.value: seconds for side, seconds in judged.by_side.items()}
    if not by_side and judged.shortest_s is not None:
        by_side = {"both": judged.shortest_s}
    if not by_side:
        return None
    return DayHeld(past.day, report.rung_key, by_side, target, judged.verdict)


def _alerts(session: Session, situation: Situation, first: date, last: date) -> tuple[Mark, ...]:
    zone = ZoneInfo(situation.client.time_zone)
    rows = select(Alert).where(Alert.client_id == situation.client_id).order_by(col(Alert.id))
    marks = (
        Mark(alert.opened_at.astimezone(zone).date(), alert.kind, alert.urgency)
        for alert in session.exec(rows).all()
    )
    return tuple(mark for mark in marks if first <= mark.day <= last)
