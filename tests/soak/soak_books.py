"""What a run left in the database, as the books need it, and which texts are still to leave."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from soak_clients import SECOND, TRAINER
from soak_ledger import Books, Person, StoredAlert, StoredIn, StoredOut
from sqlmodel import Session, col, select

from rungwise.coach.outbox.texts import AT_LEAST_ONCE
from rungwise.store.tables import QUEUED, Alert, AlertPage, Client, Due, Message


def books_of(
    session: Session,
    now: datetime,
    prompt_dates: Mapping[str, tuple[date, ...]],
    **operators: Any,
) -> Books:
    """Both sides' books: the service's from its tables, the operator's as given."""
    clients = session.exec(select(Client)).all()
    phones = {client.id: client.phone for client in clients}
    return Books(
        people=_people(session, now, clients, prompt_dates),
        trainers=frozenset((TRAINER, SECOND)),
        stored_in=[
            StoredIn(
                row.id, row.carrier_id or "", row.from_phone, row.body, row.state, row.created_at
            )
            for row in session.exec(select(Message).where(Message.direction == "in"))
        ],
        stored_out=[
            StoredOut(row.id, row.to_phone, row.kind, row.state, row.answers_id, row.local_date)
            for row in session.exec(select(Message).where(Message.direction == "out"))
        ],
        alerts=[
            StoredAlert(phones[row.client_id], row.kind, row.urgency)
            for row in session.exec(select(Alert))
        ],
        about=_about(session, phones),
        **operators,
    )


def _people(session, now, clients, prompt_dates) -> dict[str, Person]:
    rows = select(Due.subject_id).where(Due.kind == "prompt", Due.at > now)
    has_next = set(session.exec(rows).all())
    return {
        client.phone: Person(
            client.phone,
            client.called,
            client.time_zone,
            client.state,
            client.id in has_next,
            prompt_dates[client.phone],
        )
        for client in clients
    }


def _about(session: Session, phones: Mapping[int, str]) -> dict[int, frozenset[str]]:
    rows = select(AlertPage.message_id, Alert.client_id).join(
        Alert, col(Alert.id) == col(AlertPage.alert_id)
    )
    about: dict[int, set[str]] = defaultdict(set)
    for message_id, client_id in session.exec(rows):
        about[message_id].add(phones[client_id])
    return {message_id: frozenset(told) for message_id, told in about.items()}


def waiting(session: Session, now: datetime) -> list[str]:
    """Texts that could leave now, or are on their way."""
    rows = select(Message.id, Message.kind, Message.state).where(
        Message.direction == "out",
        col(Message.state).in_(("queued", "sending")),
        col(Message.not_before) <= now,
    )
    return [f"{kind} {number} is {state}" for number, kind, state in session.exec(rows)]


def put_off(session: Session, now: datetime) -> list[str]:
    """Texts that must arrive, were tried, and wait for their next try: up to an hour where the
    last may have arrived. Until then nobody may have been told.
    """
    rows = select(Message.id, Message.kind).where(
        QUEUED, col(Message.kind).in_(AT_LEAST_ONCE), col(Message.not_before) > now
    )
    return [f"{kind} {number} waits for its next try" for number, kind in session.exec(rows)]
