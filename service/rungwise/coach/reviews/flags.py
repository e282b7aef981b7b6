"""The flags on clients' courses, from their stored days: getting worse, and told too well."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from rungwise.coach.record.codec import stored_ladder
from rungwise.coach.record.situation import read_pasts
from rungwise.evidence import Flag, decline, told_too_well
from rungwise.evidence.decline import DayTried, day_tried
from rungwise.evidence.told_too_well import DayHeard
from rungwise.ladder.day import BAD
from rungwise.ladder.estimate import difficulty
from rungwise.ladder.moves import PastDay
from rungwise.ladder.rungs import Ladder
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import PlanRow


@dataclass(frozen=True, slots=True)
class Flags:
    """The latest flag of each kind; whether it still stands is for the rules of visits."""

    decline: Flag | None = None
    told_too_well: Flag | None = None


def flags_of(session: Session, client_ids: Sequence[int]) -> dict[int, Flags]:
    """The flags of clients who have a plan, all weighed together.

    Flags move and hold nobody: no decision reads them.
    """
    ladders = {
        client_id: stored_ladder(profile)
        for client_id, profile in session.exec(present_plans(PlanRow.profile, client_ids))
    }
    pasts = read_pasts(session, list(ladders))
    tried = {one: list(days_tried(ladders[one], pasts[one])) for one in ladders}
    after = decline.standings_of(list(tried.values()))
    found = {}
    for (client_id, days), standings in zip(tried.items(), after, strict=True):
        raised = decline.flagged(standings)
        worse = Flag(raised[-1].day, decline.told_of(days, raised[-1])) if raised else None
        heard = list(days_heard(ladders[client_id], pasts[client_id]))
        doubt = told_too_well.first_flag(told_too_well.doubts(heard))
        fib = None if doubt is None else Flag(doubt.day, told_too_well.told_of(doubt))
        found[client_id] = Flags(worse, fib)
    return found


def days_tried(ladder: Ladder, past: Iterable[PastDay]) -> Iterable[DayTried]:
    """The practised days of a past; those with pain, dizziness or a fall say nothing of ability."""
    for one in past:
        report = one.report
        if report is None or report.skipped or report.rung_key not in ladder:
            continue
        unwell = report.pain != "no" or report.dizzy != "no" or report.fall != "no"
        target_s = one.move.facts.get("target_s")
        if not isinstance(target_s, int | float):
            continue
        tried = day_tried(ladder[report.rung_key], [report], target_s, unwell)
        if tried is not None:
            yield tried


def days_heard(ladder: Ladder, past: Iterable[PastDay]) -> Iterable[DayHeard]:
    """The days that counted for the rule, steady or not, each on its rung."""
    for one in past:
        report, verdict = one.report, one.move.facts.get("verdict")
        if report is None or report.rung_key not in ladder:
            continue
        if verdict == "steady" or verdict in BAD:
            hard = difficulty(ladder[report.rung_key])
            yield DayHeard(report.day, hard, verdict == "steady")
