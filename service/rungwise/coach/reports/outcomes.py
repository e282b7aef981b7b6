"""Whether it works: the picture across a practice, or across one trainer's clients.

What is counted and how is said in docs/evidence.md. Everything here is description: people who
practise by text are not a trial, and nothing is compared with people who don't.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from sqlalchemy import Row, or_
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from rungwise.coach.record.falls_followed import followed
from rungwise.coach.reviews.retests import local_date
from rungwise.coach.reviews.sessions import LEFT, sessions_of, stays_of
from rungwise.coach.reviews.visits import day_seen
from rungwise.errors import ImpossibleValue
from rungwise.evidence.dose import Dose, MonthOfStay, by_month, dose_of
from rungwise.evidence.falls import FallsFound, falls_found
from rungwise.evidence.landmarks import LANDMARKS, Path
from rungwise.evidence.rates import WHO_DAYS_A_WEEK, Estimate, share
from rungwise.evidence.survival import Curve, curve
from rungwise.ladder.body import profile_from_stored
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import present_plans
from rungwise.store.tables import Client, Message, MoveRow, Placement, PlanRow, Report

WEEKS = (4, 52)
USUAL_WEEKS = 12
WEEK_DAYS = 7
REVERSED_WITHIN_DAYS = 14


@dataclass(frozen=True, slots=True)
class WeekPractice:
    """One week, Monday first, over the clients who got at least one prompt in it."""

    monday: date
    clients: int
    asked_days: int
    practised_days: int
    enough: int

    @property
    def days_a_client(self) -> float | None:
        return self.practised_days / self.clients if self.clients else None

    @property
    def enough_share(self) -> float | None:
        """The share with practice on 3 or more days (WHO 2020)."""
        return self.enough / self.clients if self.clients else None


@dataclass(frozen=True, slots=True)
class LandmarkTime:
    """Days from the first rung to a landmark, for those who began below it."""

    landmark: str
    curve: Curve


@dataclass(frozen=True, slots=True)
class Reversals:
    """What trainers did about the rule's moves. A move is reversed when the next change of rung is
    a trainer's, within 14 days, back to where the client was or farther.
    """

    ups: int
    ups_reversed: int
    backs: int
    backs_reversed: int
    placed: int

    @property
    def share(self) -> Estimate | None:
        return share(self.ups_reversed + self.backs_reversed, self.ups + self.backs)


@dataclass(frozen=True, slots=True)
class Outcomes:
    """The whole picture. `by_landmark` has None for those before feet together.

    `passed` of the `under_way` who began below one have reached at least one landmark.
    """

    clients: int
    by_landmark: Mapping[str | None, int]
    weeks: tuple[WeekPractice, ...]
    dose: Dose
    months: tuple[MonthOfStay, ...]
    falls: FallsFound
    times: tuple[LandmarkTime, ...]
    reversals: Reversals
    passed: int
    under_way: int


def outcomes(session: Session, scope: Scope, now: datetime, weeks: int = USUAL_WEEKS) -> Outcomes:
    """The picture of this scope's clients who ever agreed to texts, over the last full weeks."""
    first, end = _span(now, weeks)
    clients = _clients(session, scope)
    paths = _paths(session, [client.id for client in clients])
    practice = _practice(session, clients, first, end)
    moved = _moved(session, clients)
    return Outcomes(
        clients=len(clients),
        by_landmark=_by_landmark(session, clients, paths),
        weeks=_weeks(practice, first, weeks),
        dose=dose_of(
            one for theirs in sessions_of(session, clients, first, end).values() for one in theirs
        ),
        months=by_month(stays_of(session, clients, now)),
        falls=falls_found(tuple(followed(session, clients, first, end).values())),
        times=_times(clients, moved, paths, now),
        reversals=_reversals(moved, paths),
        **_passed(moved, paths),
    )


def weeks_of(
    session: Session, scope: Scope, now: datetime, weeks: int = USUAL_WEEKS
) -> tuple[WeekPractice, ...]:
    """Only the practice by week, for its chart."""
    first, end = _span(now, weeks)
    return _weeks(_practice(session, _clients(session, scope), first, end), first, weeks)


def times_of(session: Session, scope: Scope, now: datetime) -> tuple[LandmarkTime, ...]:
    """Only the times to landmarks, for their chart."""
    clients = _clients(session, scope)
    paths = _paths(session, [client.id for client in clients])
    return _times(clients, _moved(session, clients), paths, now)


def _span(now: datetime, weeks: int) -> tuple[date, date]:
    """The first Monday looked at, and the Monday of this week, which is left out."""
    low, high = WEEKS
    if not low <= weeks <= high:
        raise ImpossibleValue("weeks", weeks, f"from {low} to {high}")
    end = _monday(now.date())
    return end - timedelta(weeks=weeks), end


def _clients(session: Session, scope: Scope) -> Sequence[Client]:
    rows = select(Client).where(scope.clients, col(Client.consent_at).is_not(None))
    return session.exec(rows).all()


def _paths(session: Session, ids: Sequence[int]) -> dict[int, Path]:
    """Each client's path. Bodies are often alike, so that one path serves several clients."""
    rows = present_plans(PlanRow.profile, ids)
    made: dict[object, Path] = {}
    found = {}
    for client_id, stored in session.exec(rows):
        body = profile_from_stored(stored).body
        found[client_id] = made.setdefault(body, Path(body))
    return found


def _by_landmark(
    session: Session, clients: Sequence[Client], paths: Mapping[int, Path]
) -> dict[str | None, int]:
    """How many of those who practise or rest are at each landmark now."""
    here = [client.id for client in clients if client.state not in ("invited", "stopped")]
    rows = select(Placement.client_id, Placement.rung_key).where(col(Placement.client_id).in_(here))
    counted = Counter(paths[one].landmark_of(key) for one, key in session.exec(rows))
    return {name: counted[name] for name in (None, *LANDMARKS)}


# --- practice ------------------------------------------------------------------------------------


@dataclass(slots=True)
class _ClientWeek:
    asked: int = 0
    practised: int = 0


_Practice = dict[tuple[int, date], _ClientWeek]


def _practice(session: Session, clients: Sequence[Client], first: date, end: date) -> _Practice:
    """By client and Monday: days asked for practice, and days practised."""
    ids = [client.id for client in clients]
    found: _Practice = defaultdict(_ClientWeek)
    asked = select(col(Message.client_id), col(Message.local_date)).where(
        col(Message.client_id).in_(ids),
        col(Message.kind) == "prompt",
        col(Message.direction) == "out",
        col(Message.state).in_(LEFT),
        col(Message.local_date) >= first,
        col(Message.local_date) < end,
    )
    row: Row[Any]
    for row in session.execute(asked.execution_options(yield_per=5000)):
        found[row.client_id, _monday(row.local_date)].asked += 1
    told = select(col(Report.client_id), col(Report.local_date), col(Report.told)).where(
        col(Report.client_id).in_(ids),
        col(Report.local_date) >= first,
        col(Report.local_date) < end,
        col(Report.superseded_at).is_(None),
    )
    for row in session.execute(told.execution_options(yield_per=5000)):
        week = found[row.client_id, _monday(row.local_date)]
        week.practised += day_seen(row.local_date, row.told, None).practised
    return found


def _weeks(practice: _Practice, first: date, weeks: int) -> tuple[WeekPractice, ...]:
    by_week: dict[date, list[_ClientWeek]] = defaultdict(list)
    for (_, monday), week in practice.items():
        if week.asked:
            by_week[monday].append(week)
    mondays = [first + timedelta(weeks=number) for number in range(weeks)]
    return tuple(
        WeekPractice(
            monday=monday,
            clients=len(by_week[monday]),
            asked_days=sum(one.asked for one in by_week[monday]),
            practised_days=sum(one.practised for one in by_week[monday]),
            enough=sum(one.practised >= WHO_DAYS_A_WEEK for one in by_week[monday]),
        )
        for monday in mondays
    )


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


# --- landmarks and reversals ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Moved:
    """A change of rung, or a client's first placing."""

    client_id: int
    day: date
    kind: str
    from_key: str
    to_key: str
    after_rest: bool


def _moved(session: Session, clients: Sequence[Client]) -> dict[int, list[_Moved]]:
    """Each client's placing and changes of rung that stand, in order."""
    ids = [client.id for client in clients]
    rows = (
        columns(
            col(MoveRow.id),
            col(MoveRow.client_id),
            col(MoveRow.local_date),
            col(MoveRow.kind),
            col(MoveRow.from_key),
            col(MoveRow.to_key),
        )
        .where(
            col(MoveRow.client_id).in_(ids),
            col(MoveRow.superseded_at).is_(None),
            or_(
                col(MoveRow.from_key) != col(MoveRow.to_key),
                col(MoveRow.kind) == "override",
            ),
        )
        .order_by(col(MoveRow.client_id), col(MoveRow.id))
        .execution_options(yield_per=5000)
    )
    rested = _after_rest(session, ids)
    in_order = (
        _Moved(one, day, kind, start, to, move_id in rested)
        for move_id, one, day, kind, start, to in session.execute(rows)
    )
    return {one: list(moves) for one, moves in groupby(in_order, lambda moved: moved.client_id)}


def _after_rest(session: Session, ids: Sequence[int]) -> set[int]:
    """The placings that ended a rest: no judgement on the move before it."""
    rows = select(MoveRow.id, MoveRow.facts).where(
        col(MoveRow.client_id).in_(ids), MoveRow.kind == "override"
    )
    return {move_id for move_id, facts in session.exec(rows) if facts.get("after_rest") is True}


def _times(
    clients: Iterable[Client],
    moved: Mapping[int, list[_Moved]],
    paths: Mapping[int, Path],
    now: datetime,
) -> tuple[LandmarkTime, ...]:
    days: dict[str, list[float]] = {name: [] for name in LANDMARKS}
    reached: dict[str, list[bool]] = {name: [] for name in LANDMARKS}
    for client in clients:
        moves = moved.get(client.id)
        if not moves or client.id not in paths or client.consent_at is None:
            continue
        path = paths[client.id]
        start = max(moves[0].day, local_date(client, client.consent_at))
        end = local_date(client, client.state_since if client.state == "stopped" else now)
        for name in LANDMARKS:
            if path.has_reached(name, moves[0].to_key):
                continue
            on = next((m.day for m in moves[1:] if path.has_reached(name, m.to_key)), None)
            days[name].append(max(((on or end) - start).days, 0))
            reached[name].append(on is not None)
    return tuple(LandmarkTime(name, curve(days[name], reached[name])) for name in LANDMARKS)


def _passed(moved: Mapping[int, list[_Moved]], paths: Mapping[int, Path]) -> dict[str, int]:
    """How many began below a landmark, and how many of them have reached one since."""
    passed = under_way = 0
    for client_id, moves in moved.items():
        path = paths.get(client_id)
        if path is None:
            continue
        ahead = [name for name in LANDMARKS if not path.has_reached(name, moves[0].to_key)]
        under_way += bool(ahead)
        passed += any(path.has_reached(name, move.to_key) for move in moves[1:] for name in ahead)
    return {"passed": passed, "under_way": under_way}


def _reversals(moved: Mapping[int, list[_Moved]], paths: Mapping[int, Path]) -> Reversals:
    counted: Counter[str] = Counter()
    for client_id, moves in moved.items():
        changes = [move for move in moves if move.from_key != move.to_key]
        counted["placed"] += sum(move.kind == "override" for move in changes)
        for place, move in enumerate(changes):
            if move.kind not in ("up", "back"):
                continue
            counted[move.kind] += 1
            after = changes[place + 1] if place + 1 < len(changes) else None
            if after is not None and _reverses(move, after, paths[client_id]):
                counted[f"{move.kind} reversed"] += 1
    return Reversals(
        ups=counted["up"],
        ups_reversed=counted["up reversed"],
        backs=counted["back"],
        backs_reversed=counted["back reversed"],
        placed=counted["placed"],
    )


def _reverses(move: _Moved, after: _Moved, path: Path) -> bool:
    if after.kind != "override" or after.after_rest:
        return False
    if (after.day - move.day).days > REVERSED_WITHIN_DAYS:
        return False
    was, to = path.order(move.from_key), path.order(after.to_key)
    if was is None or to is None:
        return False
    return to <= was if move.kind == "up" else to >= was
