"""The alert inbox: which alerts a trainer sees, with the client's words behind each."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement
from sqlmodel import Session, case, col, func, or_, select

from rungwise.concepts.alert_kinds import ALERTS
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.sealing.crypto import in_clear, is_sealed
from rungwise.store.tables import Alert, AlertMessage, Client, Message, Trainer

URGENT_FIRST = case(
    (col(Alert.urgency) == "urgent", 0), (col(Alert.urgency) == "today", 1), else_=2
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to look for. Empty strings look for anything; `handled` for those already handled."""

    urgency: str = ""
    kind: str = ""
    words: str = ""
    handled: bool = False


@dataclass(frozen=True, slots=True)
class Entry:
    """One alert with its client, the client's texts oldest first, and who saw or handled it."""

    alert: Alert
    client: Client
    texts: tuple[Message, ...]
    seen_by: str | None = None
    handled_by: str | None = None


def entries(
    session: Session, scope: Scope, wanted: Wanted, most: int, after: int = 0
) -> tuple[list[Entry], int]:
    """A page of alerts, urgent and recent first, and how many there are in all. Three queries."""
    conditions = [scope.clients, *_conditions(scope, wanted)]
    joined = select(Alert, Client).join(Client, col(Client.id) == col(Alert.client_id))
    order = (
        (col(Alert.handled_at).desc(), col(Alert.id).desc())
        if wanted.handled
        else (URGENT_FIRST, col(Alert.state) == "seen", col(Alert.last_at).desc(), col(Alert.id))
    )
    if wanted.words and is_sealed(session):
        ids = _found_by_us(session, conditions, order, wanted.words)
        page = col(Alert.id).in_(ids[after : after + most])
        return with_texts(session, session.exec(joined.where(page).order_by(*order)).all()), len(
            ids
        )
    if wanted.words:
        conditions.append(_words_fit(wanted.words))
    rows = session.exec(joined.where(*conditions).order_by(*order).limit(most).offset(after)).all()
    total = len(rows)
    if total == most or after:
        counted = select(func.count(col(Alert.id))).join(
            Client, col(Client.id) == col(Alert.client_id)
        )
        total = session.exec(counted.where(*conditions)).one()
    return with_texts(session, rows), total


def _conditions(scope: Scope, wanted: Wanted) -> list[ColumnElement[bool]]:
    states = ("handled",) if wanted.handled else ("new", "seen")
    found = [col(Alert.practice_id) == scope.practice_id, col(Alert.state).in_(states)]
    if wanted.urgency:
        found.append(col(Alert.urgency) == wanted.urgency)
    if wanted.kind:
        found.append(col(Alert.kind) == wanted.kind)
    return found


def _words_fit(words: str) -> ColumnElement[bool]:
    """The condition that the client's name or words hold these."""
    said = (
        select(AlertMessage.alert_id)
        .join(Message, col(Message.id) == col(AlertMessage.message_id))
        .where(
            AlertMessage.alert_id == Alert.id,
            in_clear(Message.body).icontains(words, autoescape=True),
        )
    )
    return or_(
        in_clear(Client.name).icontains(words, autoescape=True),
        in_clear(Client.called).icontains(words, autoescape=True),
        said.exists(),
    )


def _found_by_us(
    session: Session, conditions: list[ColumnElement[bool]], order: Sequence[Any], words: str
) -> list[int]:
    """The ids of alerts that hold the words, in order, where the database cannot read them."""
    asked = (
        select(Alert.id, Client.name, Client.called, Message.body)
        .join(Client, col(Client.id) == col(Alert.client_id))
        .join(AlertMessage, col(AlertMessage.alert_id) == col(Alert.id), isouter=True)
        .join(Message, col(Message.id) == col(AlertMessage.message_id), isouter=True)
        .where(*conditions)
        .order_by(*order)
    )
    wanted = words.lower()
    found: dict[int, None] = {}
    for alert_id, *texts in session.execute(asked):
        if any(wanted in text.lower() for text in texts if text):
            found.setdefault(alert_id)
    return list(found)


def with_texts(session: Session, rows: Sequence[tuple[Alert, Client]]) -> list[Entry]:
    """Put the client's words and the trainers' names to alerts, in two queries for all of them."""
    texts: dict[int, list[Message]] = defaultdict(list)
    said = (
        select(AlertMessage.alert_id, Message)
        .join(Message, col(Message.id) == col(AlertMessage.message_id))
        .where(col(AlertMessage.alert_id).in_([alert.id for alert, _ in rows]))
        .order_by(col(Message.id))
    )
    for alert_id, message in session.exec(said).all():
        texts[alert_id].append(message)
    names = trainer_names(
        session, {who for alert, _ in rows for who in (alert.seen_by, alert.handled_by)}
    )
    return [
        Entry(
            alert,
            client,
            tuple(texts[alert.id]),
            names.get(alert.seen_by or 0),
            names.get(alert.handled_by or 0),
        )
        for alert, client in rows
    ]


def trainer_names(session: Session, ids: set[int | None]) -> dict[int, str]:
    if not ids - {None}:
        return {}
    rows = select(Trainer.id, Trainer.name).where(col(Trainer.id).in_(ids - {None}))
    return dict(session.exec(rows).all())


def just_handled(session: Session, scope: Scope, trainer_id: int, since: datetime) -> list[Entry]:
    """What this trainer handled since then, latest first: it may still be undone."""
    rows = (
        select(Alert, Client)
        .join(Client, col(Client.id) == col(Alert.client_id))
        .where(
            scope.clients,
            col(Alert.practice_id) == scope.practice_id,
            Alert.state == "handled",
            Alert.handled_by == trainer_id,
            col(Alert.handled_at) >= since,
        )
        .order_by(col(Alert.handled_at).desc())
        .limit(5)
    )
    return [Entry(alert, client, ()) for alert, client in session.exec(rows).all()]


def to_see(session: Session, scope: Scope, most: int = 6) -> list[tuple[Client, str]]:
    """Clients who should be seen for an open alert, the longest waiting first, with its kind."""
    kinds = [kind for kind, row in ALERTS.items() if row.visit or kind in ("stuck", "retest_due")]
    rows = (
        select(Client, Alert.kind)
        .join(Alert, col(Alert.client_id) == col(Client.id))
        .where(
            scope.clients,
            col(Alert.practice_id) == scope.practice_id,
            col(Alert.state) != "handled",
            col(Alert.kind).in_(kinds),
        )
        .order_by(col(Alert.opened_at))
        .limit(4 * most)
    )
    found: dict[int, tuple[Client, str]] = {}
    for client, kind in session.exec(rows):
        found.setdefault(client.id, (client, kind))
    return list(found.values())[:most]
