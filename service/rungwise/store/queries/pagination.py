"""Going through everything, a page at a time: each begins after the last row of the one before.

What is added or changed meanwhile neither doubles a row nor makes one be missed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, and_
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.current_plan import PRESENT
from rungwise.store.queries.inbox import Entry, with_texts
from rungwise.store.tables import Alert, Client, Due, Message, MoveRow, Placement, PlanRow, Report


@dataclass(frozen=True, slots=True)
class Listed:
    """A client with their rung and when the next text is due. `body` is what rungs are drawn by."""

    client: Client
    rung_key: str | None
    body: dict[str, Any] | None
    next_at: datetime | None


def _listed() -> Select[Any]:
    return (
        columns(Client, col(Placement.rung_key), col(PlanRow.profile)["body"], col(Due.at))
        .select_from(Client)
        .outerjoin(Placement, col(Placement.client_id) == col(Client.id))
        .outerjoin(PlanRow, PRESENT)
        .outerjoin(Due, and_(col(Due.kind) == "prompt", col(Due.subject_id) == col(Client.id)))
        .order_by(col(Client.id))
    )


def clients_of(session: Session, ids: Sequence[int]) -> list[Listed]:
    """The clients of these ids. One query."""
    rows = _listed().where(col(Client.id).in_(ids))
    return [Listed(*row) for row in session.execute(rows).all()] if ids else []


def clients_after(
    session: Session, scope: Scope, most: int, after: int = 0, state: str = ""
) -> list[Listed]:
    """Clients in the order they were added, from after the one of that id. One query."""
    rows = _listed().where(scope.clients, col(Client.id) > after).limit(most)
    if state:
        rows = rows.where(col(Client.state) == state)
    return [Listed(*row) for row in session.execute(rows).all()]


Reported = tuple[Report, MoveRow | None]


def _reported() -> Select[Report, MoveRow]:
    made = and_(col(MoveRow.report_id) == col(Report.id), col(MoveRow.superseded_at).is_(None))
    return columns(Report, MoveRow).outerjoin(MoveRow, made).order_by(col(Report.id).desc())


def reports_of(session: Session, ids: Sequence[int]) -> list[Reported]:
    """The reports of these ids, also those that stand no longer, each with its move."""
    rows = _reported().where(col(Report.id).in_(ids))
    return [(report, move) for report, move in session.execute(rows).all()] if ids else []


@dataclass(frozen=True, slots=True)
class ReportsWanted:
    """Whose reports to give, and of which local dates; None leaves nothing out."""

    scope: Scope
    since: date | None = None
    until: date | None = None


def practice_reports_before(
    session: Session, wanted: ReportsWanted, most: int, before: int | None = None
) -> list[Reported]:
    """The reports that stand of all clients in scope, latest told first."""
    rows = _reported().join(Client, col(Client.id) == col(Report.client_id))
    rows = rows.where(wanted.scope.clients, col(Report.superseded_at).is_(None)).limit(most)
    if wanted.since is not None:
        rows = rows.where(col(Report.local_date) >= wanted.since)
    if wanted.until is not None:
        rows = rows.where(col(Report.local_date) <= wanted.until)
    if before is not None:
        rows = rows.where(col(Report.id) < before)
    return [(report, move) for report, move in session.execute(rows).all()]


def reports_before(
    session: Session, client_id: int, most: int, before: int | None = None
) -> list[Reported]:
    """A client's reports that stand, latest first, each with the move made of it."""
    standing = (col(Report.client_id) == client_id, col(Report.superseded_at).is_(None))
    rows = _reported().where(*standing).limit(most)
    if before is not None:
        rows = rows.where(col(Report.id) < before)
    return [(report, move) for report, move in session.execute(rows).all()]


def messages_before(
    session: Session, client_id: int, most: int, before: int | None = None
) -> list[Message]:
    """A client's texts, latest first."""
    rows = select(Message).where(Message.client_id == client_id)
    if before is not None:
        rows = rows.where(col(Message.id) < before)
    return list(session.exec(rows.order_by(col(Message.id).desc()).limit(most)).all())


@dataclass(frozen=True, slots=True)
class AlertsWanted:
    """Which alerts to give; empty strings leave nothing out. `state`: open, handled or all."""

    state: str = "open"
    urgency: str = ""
    kind: str = ""


def alerts_before(
    session: Session, scope: Scope, wanted: AlertsWanted, most: int, before: int | None = None
) -> list[Entry]:
    """Alerts, latest opened first, with the client's words. Three queries."""
    rows = (
        select(Alert, Client)
        .join(Client, col(Client.id) == col(Alert.client_id))
        .where(scope.clients, Alert.practice_id == scope.practice_id)
        .order_by(col(Alert.id).desc())
        .limit(most)
    )
    states = {"open": ("new", "seen"), "handled": ("handled",)}.get(wanted.state)
    if states is not None:
        rows = rows.where(col(Alert.state).in_(states))
    if wanted.urgency:
        rows = rows.where(Alert.urgency == wanted.urgency)
    if wanted.kind:
        rows = rows.where(Alert.kind == wanted.kind)
    if before is not None:
        rows = rows.where(col(Alert.id) < before)
    return with_texts(session, session.exec(rows).all())
