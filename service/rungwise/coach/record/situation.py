"""Where a client stands: practice, plan, ladder, placement and past, loaded once for a decision."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from json import dumps
from typing import Any, overload
from zoneinfo import ZoneInfo

from sqlalchemy import JSON, Text, and_, bindparam, cast, exists, func, or_
from sqlalchemy import select as plain_select
from sqlmodel import Session, col, select

from rungwise.coach.record.codec import (
    PlanSettings,
    ladder_in,
    profile_in,
    report_from_json,
    rung_on,
    telling_of,
)
from rungwise.concepts.measures import Lengths
from rungwise.ladder.body import Profile
from rungwise.ladder.progression import DayReport, Move, PastDay
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.store.database import from_json
from rungwise.store.deferred_writes import write_now
from rungwise.store.tables import Client, Message, MoveRow, Placement, PlanRow, Practice, Report
from rungwise.wording.rung_words import Telling

# The rule looks back at most a few weeks and the second opinion half a year; older days no longer
# change a decision.
HISTORY_DAYS = 180
# A day's text that left or may have left.
LEFT = (
    col(Message.direction) == "out",
    col(Message.kind) == "prompt",
    col(Message.state).not_in(("missed", "cancelled")),
)


@dataclass(slots=True)
class Situation:
    """Everything a decision about one client needs. `profile` is the plan's, as stored text."""

    practice: Practice
    client: Client
    plan_row: PlanRow
    settings: PlanSettings
    profile: str
    placement: Placement

    @property
    def client_id(self) -> int:
        return self.client.id

    @property
    def ladder(self) -> Ladder:
        """Built when it is asked for: most days' texts need only the rung."""
        return ladder_in(self.profile)

    @property
    def rung(self) -> Rung:
        return self.ladder[self.placement.rung_key]

    def rung_on(self, day: date) -> Rung:
        """What the text of this date asks for."""
        return rung_on(self.settings, self.profile, self.placement.rung_key, day)

    @property
    def measures(self) -> Profile:
        """What the ladder is built from: body, equipment, limits."""
        return profile_in(self.profile)

    def telling(self, *, first_day: bool = False) -> Telling:
        """How this client is told a rung today."""
        return telling_of(self.settings, self.profile, self.lengths, first_day=first_day)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.client.time_zone)

    @property
    def resting(self) -> bool:
        return self.client.state == "resting"

    @property
    def lengths(self) -> Lengths:
        return self.practice.measures.lengths

    @property
    def language(self) -> str:
        return self.client.language

    def adopt(self, plan_row: PlanRow) -> None:
        """Go on with another version of the plan."""
        self.plan_row = plan_row
        self.settings = PlanSettings.from_json(plan_row.settings)
        self.profile = dumps(plan_row.profile)

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
        profile=dumps(plan_row.profile),
        placement=placement,
    )


def current_plan(session: Session, client_id: int, version: int) -> PlanRow:
    rows = select(PlanRow).where(PlanRow.client_id == client_id, PlanRow.version == version)
    return session.exec(rows).one()


class UnreadPast(Sequence[PastDay]):
    """A past whose days are made of their rows when somebody looks at them.

    A decision mostly looks at the last few only.
    """

    def __init__(self, rows: Sequence[Any]) -> None:
        self._days = list(rows)

    def __len__(self) -> int:
        return len(self._days)

    @overload
    def __getitem__(self, place: int) -> PastDay: ...

    @overload
    def __getitem__(self, place: slice) -> "UnreadPast": ...

    def __getitem__(self, place: int | slice) -> "PastDay | UnreadPast":
        if isinstance(place, slice):
            return UnreadPast(self._days[place])
        found = self._days[place]
        if isinstance(found, PastDay):
            return found
        day, told, *move, alerts, facts, version = found
        told_then = from_json(told) if told is not None else None
        made_now = _past_day(day, told_then, *move, from_json(alerts), from_json(facts), version)
        self._days[place] = made_now
        return made_now


def past(session: Session, client_id: int, as_of: MoveRow | None = None) -> Sequence[PastDay]:
    """Earlier days in order, oldest first: every move that still stands, with its report.

    `as_of` gives the past as it was when that move was decided, for replay.
    """
    if any(isinstance(row, MoveRow | Report) for row in (*session.new, *session.dirty)):
        session.flush()  # the plain statements below don't
    write_now(session)
    asked, values = _PAST_NOW, {"client_id": client_id}
    if as_of is not None:
        later = _MOVE.superseded_at > as_of.decided_at
        # Several decisions may be of one instant: what this one replaced is left out, and what one
        # after it replaced is not.
        replaced = exists().where(
            _EARLIER.client_id == _MOVE.client_id,
            _EARLIER.local_date == _MOVE.local_date,
            _EARLIER.report_id.is_not(None),
            _EARLIER.id > _MOVE.id,
            _EARLIER.id <= as_of.id,
        )
        then = and_(_MOVE.superseded_at == as_of.decided_at, ~replaced)
        stood = or_(_MOVE.superseded_at.is_(None), later, then)
        asked = _PAST.where(_MOVE.id < as_of.id, stood)
    rows = session.connection().execute(asked, values).all()
    return [_past_day(*row) for row in reversed(rows)]


def read_pasts(session: Session, client_ids: Sequence[int]) -> Mapping[int, UnreadPast]:
    """The past of several clients at once."""
    if not client_ids:
        return {}
    rows = session.connection().execute(_PASTS, {"client_ids": client_ids}).all()
    found: dict[int, list[Sequence[Any]]] = {client_id: [] for client_id in client_ids}
    for client_id, *row in rows:
        found[client_id].append(row)
    return {client_id: UnreadPast(rows) for client_id, rows in found.items()}


_MOVE = MoveRow.__table__.c  # type: ignore[attr-defined]  # every table has it
_TOLD = Report.__table__.c  # type: ignore[attr-defined]
# Columns and not rows: there are up to HISTORY_DAYS of them for each decision.
_COLUMNS = (
    _MOVE.local_date, _TOLD.told, _MOVE.kind, _MOVE.from_key, _MOVE.to_key, _MOVE.rule,
    _MOVE.because, _MOVE.alerts, _MOVE.facts, _MOVE.rule_version,
)  # fmt: skip
# The same, with what is stored as JSON still to be read.
_UNREAD = [cast(column, Text) if isinstance(column.type, JSON) else column for column in _COLUMNS]
_PAST = (
    plain_select(*_COLUMNS)
    .join_from(_MOVE.id.table, _TOLD.id.table, _TOLD.id == _MOVE.report_id, isouter=True)
    .where(_MOVE.client_id == bindparam("client_id"))
    .order_by(_MOVE.id.desc())
    .limit(HISTORY_DAYS)
)
_PAST_NOW = _PAST.where(_MOVE.superseded_at.is_(None))
_WHOSE = Client.__table__.c  # type: ignore[attr-defined]
_EARLIER = _MOVE.id.table.alias("earlier").c
# The first of the last HISTORY_DAYS moves; none when there are fewer.
_FIRST = (
    plain_select(_EARLIER.id)
    .where(_EARLIER.client_id == _WHOSE.id, _EARLIER.superseded_at.is_(None))
    .order_by(_EARLIER.id.desc())
    .limit(1)
    .offset(HISTORY_DAYS - 1)
    .correlate(_WHOSE.id.table)
    .scalar_subquery()
)
_PASTS = (
    plain_select(_MOVE.client_id, *_UNREAD)
    .join_from(
        _WHOSE.id.table,
        _MOVE.id.table,
        and_(_MOVE.client_id == _WHOSE.id, _MOVE.id >= func.coalesce(_FIRST, 0)),
    )
    .join(_TOLD.id.table, _TOLD.id == _MOVE.report_id, isouter=True)
    .where(_WHOSE.id.in_(bindparam("client_ids", expanding=True)), _MOVE.superseded_at.is_(None))
    .order_by(_MOVE.client_id, _MOVE.id)
)


def _past_day(day: date, told: Mapping[str, Any] | None, *move: Any) -> PastDay:
    report: DayReport | None = report_from_json(told) if told is not None else None
    kind, from_key, to_key, rule, because, alerts, facts, version = move
    decided = Move(kind, from_key, to_key, rule, because, tuple(alerts), facts, version)
    return PastDay(day, report, decided)


def last_prompt(session: Session, client_id: int) -> Message | None:
    """The latest day's text that left or may have left."""
    rows = (
        select(Message)
        .where(Message.client_id == client_id, *LEFT)
        .order_by(col(Message.id).desc())
        .limit(1)
    )
    return session.exec(rows).first()


def current_report(session: Session, client_id: int, day: date) -> Report | None:
    """The report of this date that stands."""
    rows = select(Report).where(
        Report.client_id == client_id,
        Report.local_date == day,
        col(Report.superseded_at).is_(None),
    )
    return session.exec(rows).first()


def current_reports(session: Session, client_id: int, since: date) -> list[Report]:
    """The reports that stand of this date or later."""
    rows = select(Report).where(
        Report.client_id == client_id,
        Report.local_date >= since,
        col(Report.superseded_at).is_(None),
    )
    return list(session.exec(rows).all())
