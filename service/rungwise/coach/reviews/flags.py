"""What is thought of clients' courses, from their stored days: flags, and what stands on a page."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlmodel import Session

from rungwise.coach.record.codec import stored_ladder
from rungwise.coach.record.situation import Situation, read_pasts
from rungwise.coach.reviews.retests import last_reviews, local_date
from rungwise.evidence import ClientSeen, Flag, Reason, decline, reasons, told_too_well
from rungwise.evidence.decline import DayTried, day_tried
from rungwise.evidence.plateau import WINDOW_DAYS, DayOnPath, plateau
from rungwise.evidence.told_too_well import DayHeard
from rungwise.evidence.visits import planned_days
from rungwise.ladder.day import BAD
from rungwise.ladder.estimate import difficulty
from rungwise.ladder.moves import PastDay
from rungwise.ladder.rungs import Ladder
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import PlanRow

COUNTED = BAD | {"steady"}
# A change that began before these days is the client's usual level by now.
MOST_DAYS = 7 * decline.WEEKS + 28


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
    return flags_in([(one, ladders[one], pasts[one]) for one in ladders])


def flags_in(lives: Sequence[tuple[int, Ladder, Sequence[PastDay]]]) -> dict[int, Flags]:
    """The same from each client's ladder and past, by client."""
    tried = [list(days_tried(ladder, past))[-MOST_DAYS:] for _, ladder, past in lives]
    found = {}
    for (client_id, ladder, past), days, standings in zip(
        lives, tried, decline.standings_of(tried), strict=True
    ):
        raised = decline.flagged(standings)
        worse = Flag(raised[-1].day, decline.told_of(days, raised[-1])) if raised else None
        doubt = told_too_well.first_flag(told_too_well.doubts(list(days_heard(ladder, past))))
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
        if verdict in COUNTED:
            hard = difficulty(ladder[report.rung_key])
            yield DayHeard(report.day, hard, verdict == "steady")


def course_of(
    session: Session, situation: Situation, past: Sequence[PastDay], today: date
) -> Reason | None:
    """What stands on a client's course, at most one: a flag, else a plateau named with its act."""
    client = situation.client
    if client.state != "active":
        return None
    flags = flags_in([(client.id, situation.ladder, past)])[client.id]
    seen = ClientSeen(
        state=client.state,
        state_since=local_date(client, client.state_since),
        started=local_date(client, client.consent_at or client.created_at),
        weekdays=situation.settings.weekdays,
        away=situation.settings.away,
        decline=flags.decline,
        told_too_well=flags.told_too_well,
        reviewed=last_reviews(session, [client]).get(client.id),
    )
    standing = reasons(seen, today)
    if standing:
        return standing[0]
    first = today - timedelta(days=WINDOW_DAYS)
    ladder = situation.ladder
    on_path = [
        DayOnPath(one.day, ladder.index(one.report.rung_key), one.move.facts["verdict"] == "steady")
        for one in past
        if one.report is not None
        and one.report.rung_key in ladder
        and one.move.facts.get("verdict") in COUNTED
    ]
    found = plateau(on_path, planned_days(seen, first, today - timedelta(days=1)), today)
    return None if found is None else Reason(f"plateau_{found.act}", found.says, found.since)
