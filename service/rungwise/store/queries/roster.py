"""The list of clients: each one's day, place and latest moves, a page at a time.

The number of queries is the same however many clients there are. Finding the page touches only
what it is sorted and filtered by; all else is read for the clients on the page alone.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, case, func, literal, or_, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import PRESENT
from rungwise.store.queries.today import Days, today_is, todays_due, todays_report
from rungwise.store.sealing.crypto import in_clear, is_sealed
from rungwise.store.tables import (
    Alert,
    Client,
    ClientTag,
    Due,
    MoveRow,
    Placement,
    PlanRow,
    Report,
)
from rungwise.store.tables import Trainer as TrainerRow

TREND_DAYS = 56
STANCES = ("parallel", "staggered", "semi_tandem", "tandem", "toe_touch", "single_leg")
SORTS = ("name", "today", "days", "rung")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to show and in which order; empty values leave nothing out."""

    words: str = ""
    today: str = ""
    trainer_id: int | None = None
    sort: str = "name"
    turned: bool = False
    tag_id: int | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One move for the trend line."""

    day: date
    kind: str
    to_key: str


@dataclass(frozen=True, slots=True)
class Row:
    """One client as the list shows them. `told` is the day's report, `last_day` of practice."""

    client: Client
    trainer: str
    today: str
    local_date: date
    told: dict[str, Any] | None
    rung_key: str | None
    last_day: date | None
    body: dict[str, Any] | None
    due_at: datetime | None
    steps: tuple[Step, ...]
    alerts: tuple[str, ...]

    @property
    def days_since(self) -> int | None:
        return None if self.last_day is None else max((self.local_date - self.last_day).days, 0)


def clients_page(
    session: Session, scope: Scope, now: datetime, wanted: Wanted, most: int, after: int = 0
) -> tuple[list[Row], int]:
    """One page of clients and how many there are in all."""
    days = Days.at(session, scope, now)
    ids, total = _found(session, scope, wanted, days, most, after)
    return _rows(session, ids, days), total


def client_ids(
    session: Session, scope: Scope, now: datetime, wanted: Wanted, most: int
) -> list[int]:
    """The first so many clients that fit, in the list's order."""
    return _found(session, scope, wanted, Days.at(session, scope, now), most, 0)[0]


def rows_in(session: Session, scope: Scope, now: datetime, ids: Sequence[int]) -> list[Row]:
    """The list's lines of these clients, in this order."""
    return _rows(session, ids, Days.at(session, scope, now)) if ids else []


def _found(
    session: Session, scope: Scope, wanted: Wanted, days: "Days", most: int, after: int
) -> tuple[list[int], int]:
    conditions = [scope.clients, *_conditions(wanted, days)]
    if is_sealed(session):
        found = _found_by_us(session, conditions, wanted, days)
        return found[after : after + most], len(found)
    if wanted.words:
        conditions.append(_words_fit(wanted.words))
    # Another trainer's name gives nothing away: the scope's own condition stays.
    fitting = select(func.count(col(Client.id))).where(*conditions).scalar_subquery()
    # Where the day must be known to count, count in the same pass: that looks up rows a client.
    total = func.count().over() if wanted.today else fitting
    order = [*_order(wanted, days), func.lower(in_clear(Client.name))]
    order = [each.desc() if wanted.turned else each for each in order]
    asked = _joined(select(col(Client.id), total), wanted).where(*conditions)
    asked = asked.order_by(*order, col(Client.id))
    page = session.execute(asked.limit(most).offset(after)).all()
    one = page[0] if page else session.execute(asked.limit(1)).first()
    return [client_id for client_id, _ in page], one[1] if one else 0


def _joined(query: Select[Any], wanted: Wanted) -> Select[Any]:
    query = query.select_from(Client)
    if wanted.sort == "rung":
        query = query.outerjoin(Placement, col(Placement.client_id) == col(Client.id))
    return query


_TOLD = aliased(Report)
# The last date that the client told practice of: being placed is none.
_LAST_DAY = (
    select(col(_TOLD.local_date))
    .where(
        col(_TOLD.client_id) == col(Client.id),
        col(_TOLD.superseded_at).is_(None),
        col(_TOLD.told)["skipped"].as_boolean().is_(False),
    )
    .order_by(col(_TOLD.local_date).desc())
    .limit(1)
    .correlate(Client)
    .scalar_subquery()
)


def _conditions(wanted: Wanted, days: Days) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if wanted.trainer_id is not None:
        found.append(col(Client.trainer_id) == wanted.trainer_id)
    if wanted.today:
        found.append(today_is(days) == wanted.today)
    if wanted.tag_id is not None:
        tagged = select(col(ClientTag.client_id)).where(col(ClientTag.tag_id) == wanted.tag_id)
        found.append(col(Client.id).in_(tagged))
    return found


def _words_fit(words: str) -> ColumnElement[bool]:
    fits = [
        in_clear(Client.name).icontains(words, autoescape=True),
        in_clear(Client.called).icontains(words, autoescape=True),
    ]
    number = _number_in(words)
    if number:
        fits.append(in_clear(Client.phone).contains(number))
    return or_(*fits)


def _number_in(words: str) -> str:
    """The digits to look for in phone numbers; none when there are too few to tell anything."""
    number = "".join(letter for letter in words if letter.isdigit())
    return number if len(number) >= 4 else ""


def _order(wanted: Wanted, days: Days) -> list[Any]:
    """What the list is sorted by before the name."""
    if wanted.sort == "today":
        return [today_is(days, as_place=True)]
    if wanted.sort == "days":
        return [func.coalesce(_LAST_DAY, literal(date.min))]
    if wanted.sort == "rung":
        return [_stance_place()]
    return []


def _found_by_us(
    session: Session, conditions: list[ColumnElement[bool]], wanted: Wanted, days: Days
) -> list[int]:
    """All clients that fit, in order, where the database cannot read their names."""
    shown = [col(Client.name)]
    if wanted.words:
        shown += [col(Client.called), col(Client.phone)]
    order = _order(wanted, days)
    asked = select(col(Client.id), *order, *shown).where(*conditions).order_by(col(Client.id))
    lines = []
    for client_id, *rest in session.execute(_joined(asked, wanted)):
        keys, (name, *more) = rest[: len(order)], rest[len(order) :]
        if not wanted.words or _fits(wanted.words, name, *more):
            lines.append(([(key is not None, key) for key in keys], name.lower(), client_id))
    # Sorting keeps what is equal in its order, which is that of the ids, turned or not.
    lines.sort(key=lambda line: line[:2], reverse=wanted.turned)
    return [client_id for _, _, client_id in lines]


def _fits(words: str, name: str, called: str, phone: str) -> bool:
    number = _number_in(words)
    wanted = words.lower()
    return wanted in name.lower() or wanted in called.lower() or bool(number and number in phone)


@cache
def _stance_place() -> ColumnElement[int]:
    """How far along the ladder a rung's key says it is: its ground, then its stance."""
    key = col(Placement.rung_key)
    ground = case((key.startswith("firm/"), 0), (key.startswith("mat"), 100), else_=200)
    stance = case(
        *((key.contains(f"/{name}/"), place) for place, name in enumerate(STANCES)), else_=-1
    )
    return ground + stance


def _rows(session: Session, ids: Sequence[int], days: Days) -> list[Row]:
    """Everything the list shows of these clients, in three queries."""
    asked = (
        select(
            Client,
            col(TrainerRow.name),
            today_is(days),
            col(Report.told),
            col(Placement.rung_key),
            _LAST_DAY,
            col(PlanRow.profile)["body"],
            col(Due.at),
        )
        .select_from(Client)
        .outerjoin(Report, and_(*todays_report(days)))
        .outerjoin(Due, and_(*todays_due(days)))
        .join(TrainerRow, col(TrainerRow.id) == col(Client.trainer_id))
        .outerjoin(Placement, col(Placement.client_id) == col(Client.id))
        .outerjoin(PlanRow, PRESENT)
        .where(col(Client.id).in_(ids))
    )
    steps = _steps(session, ids, days.usual - timedelta(days=TREND_DAYS))
    alerts = _open_alerts(session, ids)
    found = {}
    for client, trainer, today, told, key, last_day, body, due_at in session.execute(asked):
        found[client.id] = Row(
            client=client,
            trainer=trainer,
            today=today,
            local_date=days.of(client.time_zone),
            told=told,
            rung_key=key,
            last_day=last_day,
            body=body,
            due_at=due_at,
            steps=tuple(steps[client.id]),
            alerts=tuple(alerts[client.id]),
        )
    return [found[client_id] for client_id in ids]


def _steps(session: Session, ids: Sequence[int], since: date) -> dict[int, list[Step]]:
    rows = (
        select(
            col(MoveRow.client_id),
            col(MoveRow.local_date),
            col(MoveRow.kind),
            col(MoveRow.to_key),
        )
        .where(
            col(MoveRow.client_id).in_(ids),
            col(MoveRow.local_date) >= since,
            col(MoveRow.superseded_at).is_(None),
            col(MoveRow.kind).in_(("up", "back", "override")),
        )
        .order_by(col(MoveRow.client_id), col(MoveRow.id))
    )
    found: dict[int, list[Step]] = defaultdict(list)
    for client_id, day, kind, to_key in session.execute(rows):
        found[client_id].append(Step(day, kind, to_key))
    return found


def _open_alerts(session: Session, ids: Sequence[int]) -> dict[int, list[str]]:
    """The urgencies of each client's open alerts, gravest first."""
    rows = select(col(Alert.client_id), col(Alert.urgency)).where(
        col(Alert.client_id).in_(ids), col(Alert.state) != "handled"
    )
    found: dict[int, list[str]] = defaultdict(list)
    for client_id, urgency in session.execute(rows):
        found[client_id].append(urgency)
    grave = ("urgent", "today", "note")
    return defaultdict(list, {key: sorted(value, key=grave.index) for key, value in found.items()})
