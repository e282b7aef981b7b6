"""Erasing a client: everything of them goes, and one line says that something was erased.

The lines of the audit trail about the client keep who did something and when, and lose the client
and every detail. They keep their hashes, and the line about the erasure names them, so that the
trail goes on and an erasure can be told from tampering. The client's days keep their hashes too.
"""

import logging
import re
from collections.abc import Set
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, or_, select

from rungwise.coach.daily.strangers import forget_stranger
from rungwise.coach.data.export_rows import rows_of
from rungwise.coach.record.audit import ERASURE, record
from rungwise.coach.record.day_seals import forget_client
from rungwise.concepts.due_kinds import OF_CLIENTS
from rungwise.errors import ServiceError
from rungwise.store import Store
from rungwise.store.changes import note
from rungwise.store.tables import (
    Alert,
    Audit,
    Client,
    ClientPhone,
    Due,
    InboundPart,
    Incident,
    Message,
    Practice,
    Question,
    Stranger,
    Trainer,
)

log = logging.getLogger(__name__)

ERASED = "(erased)"
# Whose id `subject_id` of a due thing is, by kind.
DUE_OF_CLIENT = tuple(OF_CLIENTS)
DUE_OF_ALERT = ("escalate",)
DUE_OF_INCIDENT = ("chain",)
DUE_OF_QUESTION = ("doubt",)
DUE_OF_MESSAGE = ("reread", "unsettled", "unsent")
DUE_OF_PART = ("parts",)
# What is about a practice as a whole stays.
DUE_OF_PRACTICE = ("retention",)
DUE_OF_STRANGER = ("stranger",)


class LeavingNow(ServiceError):
    """A text to this client is leaving at this moment. Try again in a minute."""


class OtherName(ServiceError):
    """The name typed is not this client's. Type it as it stands on the page."""


def erase_client(
    session: Session, now: datetime, trainer: Trainer, client: Client, typed_name: str
) -> None:
    """Erase everything of the client in this transaction.

    `typed_name` is the client's name as the trainer typed it. OtherName or LeavingNow, and nothing
    is erased, if it is another or a text is just leaving.
    """
    if not is_named(client, typed_name):
        raise OtherName
    # A busy database must not hand out a text while its row is going.
    session.refresh(client, with_for_update=True)
    sending = select(Message.id).where(Message.client_id == client.id, Message.state == "sending")
    if session.exec(sending.limit(1)).first() is not None:
        raise LeavingNow
    if session.get_bind().dialect.name == "sqlite":
        # Otherwise the bytes stay in the file until something is written over them.
        session.connection().exec_driver_sql("PRAGMA secure_delete = ON")
    practice = session.get_one(Practice, client.practice_id)
    client_id, called, phone, since = client.id, client.called, client.phone, client.created_at
    _clear_due(session, client_id)
    second = select(ClientPhone.phone).where(ClientPhone.client_id == client_id)
    _erase_strays(session, practice, {phone, *session.exec(second).all()})
    _blank_pages(session, practice, called, phone, since)
    session.flush()
    session.expunge_all()
    for table, condition in reversed(rows_of([client_id]).items()):
        session.execute(delete(table).where(condition))
    days = forget_client(session, client_id)
    note(session, practice.id, None, "erased", client_id)
    record(session, now, trainer, ERASURE, emptied=_blank_trail(session, client_id), days=days)


def is_named(client: Client, typed_name: str) -> bool:
    """Whether that is the client's name, however many spaces were typed."""
    return " ".join(typed_name.split()) == client.name


def _clear_due(session: Session, client_id: int) -> None:
    of_alert = select(Alert.id).where(Alert.client_id == client_id)
    of_incident = select(Incident.id).where(Incident.client_id == client_id)
    of_question = select(Question.id).where(Question.client_id == client_id)
    of_message = select(Message.id).where(Message.client_id == client_id)
    of_part = select(InboundPart.id).where(col(InboundPart.message_id).in_(of_message))
    own = (col(Due.kind).in_(DUE_OF_CLIENT)) & (col(Due.subject_id) == client_id)
    theirs = [
        col(Due.kind).in_(kinds) & col(Due.subject_id).in_(ids)
        for kinds, ids in (
            (DUE_OF_ALERT, of_alert),
            (DUE_OF_INCIDENT, of_incident),
            (DUE_OF_QUESTION, of_question),
            (DUE_OF_MESSAGE, of_message),
            (DUE_OF_PART, of_part),
        )
    ]
    session.execute(delete(Due).where(or_(own, *theirs)))


def _erase_strays(session: Session, practice: Practice, phones: Set[str]) -> None:
    """Texts from and to the client's phones that were never put to them, and parts of texts.

    Compared here, for the database may hold the numbers sealed.
    """
    known = select(Stranger).where(
        Stranger.practice_id == practice.id, col(Stranger.phone).in_(sorted(phones))
    )
    for stranger in session.exec(known).all():
        forget_stranger(session, stranger)
    rows = select(Message).where(
        Message.practice_id == practice.id,
        col(Message.client_id).is_(None),
        col(Message.trainer_id).is_(None),
    )
    for message in session.exec(rows).all():
        if phones & {message.from_phone, message.to_phone}:
            session.delete(message)
    for part in session.exec(select(InboundPart)).all():
        if part.from_phone in phones:
            session.delete(part)


def _blank_pages(
    session: Session, practice: Practice, called: str, phone: str, since: datetime
) -> None:
    """What was texted to trainers about the client loses the name and the number."""
    name = re.compile(rf"(?<!\w){re.escape(called)}(?!\w)|{re.escape(phone)}")
    rows = select(Message).where(
        Message.practice_id == practice.id,
        col(Message.client_id).is_(None),
        # Pages, and the answers to the digits that people text back.
        col(Message.kind).in_(("page", "answer")),
        col(Message.created_at) >= since,
    )
    for message in session.exec(rows).all():
        if name.search(message.body):
            message.body = name.sub(ERASED, message.body)
            session.add(message)


def _blank_trail(session: Session, client_id: int) -> list[int]:
    """Take the client and every detail out of the lines about them; those lines' numbers."""
    lines = session.exec(select(Audit).where(Audit.client_id == client_id)).all()
    for line in lines:
        line.client_id, line.detail = None, {"erased": True}
        session.add(line)
    session.flush()
    return sorted(line.number for line in lines)


def scrub(store: Store) -> bool:
    """After an erasure, rewrite a SQLite file without what was freed in it; False if it is busy.

    PostgreSQL does this by itself (autovacuum). Copies and backups are the installation's own.
    """
    if not store.is_sqlite:
        return True
    connection = store.engine.raw_connection()
    try:
        cursor = connection.cursor()
        cursor.execute("VACUUM")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        cursor.close()
    except Exception:
        log.exception("the database file could not be rewritten after an erasure")
        return False
    finally:
        connection.close()
    return True
