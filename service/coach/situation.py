"""Where a client stands: practice, plan, ladder, placement and past, loaded once for a decision."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import or_
from sqlmodel import Session, col, select

from service.coach.stored import PlanSettings, move_from_row, report_from_json, stored_ladder
from service.ladder.progression import DayReport, PastDay
from service.ladder.rungs import Ladder, Rung
from service.store.tables import Client, Message, MoveRow, Placement, PlanRow, Practice, Report

# The rule looks back at most a few weeks and the second opinion half a year; older days no longer
# change a decision.
HISTORY_DAYS = 180


@dataclass(slots=True)
class Situation:
    """Everything a decision about one client needs."""

    practice: Practice
    client: Client
    plan_row: PlanRow
    settings: PlanSettings
    ladder: Ladder
    placement: Placement

    @property
    def client_id(self) -> int:
        return self.client.id

    @property
    def rung(self) -> Rung:
        return self.ladder[self.placement.rung_key]

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.client.time_zone)

    @property
    def resting(self) -> bool:
        return self.client.state == "resting"

    @property
    def language(self) -> str:
        return self.client.language

    def adopt(self, plan_row: PlanRow) -> None:
        """Go on with another version of the plan."""
        self.plan_row = plan_row
        self.settings = PlanSettings.from_json(plan_row.settings)
        self.ladder = stored_ladder(plan_row.profile)

    def local_date(self, now: datetime) -> date:
        return now.astimezone(self.zone).date()


def load(session: Session, client: Client) -> Situation | None:
    """The client's situation, or None before a first rung has been set."""
    placement = session.get(Placement, client.id)
    if placement is None:
        return None
    plan_row = current_plan(session, placement.client_id, placement.plan_version)
    return Situation(
        practice=session.get_one(Practice, client.practice_id),
        client=client,
        plan_row=plan_row,
        settings=PlanSettings.from_json(plan_row.settings),
        ladder=stored_ladder(plan_row.profile),
        placement=placement,
    )


def current_plan(session: Session, client_id: int, version: int) -> PlanRow:
    rows = select(PlanRow).where(PlanRow.client_id == client_id, PlanRow.version == version)
    return session.exec(rows).one()


def past(session: Session, client_id: int, as_of: MoveRow | None = None) -> list[PastDay]:
    """Earlier days in order, oldest first: every move that still stands, with its report.

    `as_of` gives the past as it was when that move was decided, for replay.
    """
    stands = col(MoveRow.superseded_at).is_(None)
    rows = (
        select(MoveRow, Report)
        .join(Report, col(Report.id) == col(MoveRow.report_id), isouter=True)
        .where(MoveRow.client_id == client_id)
        .order_by(col(MoveRow.id).desc())
        .limit(HISTORY_DAYS)
    )
    if as_of is None:
        rows = rows.where(stands)
    else:
        # What this very decision replaced was superseded at the same instant, so it is left out.
        later = col(MoveRow.superseded_at) > as_of.decided_at
        rows = rows.where(col(MoveRow.id) < as_of.id, or_(stands, later))
    return [_past_day(move, report) for move, report in reversed(session.exec(rows).all())]


def _past_day(move: MoveRow, report: Report | None) -> PastDay:
    told: DayReport | None = report_from_json(report.told) if report is not None else None
    return PastDay(day=move.local_date, report=told, move=move_from_row(move))


def last_prompt(session: Session, client_id: int) -> Message | None:
    """The latest day's text that left or may have left."""
    rows = (
        select(Message)
        .where(
            Message.client_id == client_id,
            Message.direction == "out",
            Message.kind == "prompt",
            col(Message.state).not_in(("missed", "cancelled")),
        )
        .order_by(col(Message.id).desc())
        .limit(1)
    )
    return session.exec(rows).first()


def current_report(session: Session, client_id: int, day: date) -> Report | None:
    rows = select(Report).where(
        Report.client_id == client_id,
        Report.local_date == day,
        col(Report.superseded_at).is_(None),
    )
    return session.exec(rows).first()
