"""What trainers note of a client; only ever added to. An edit is a further version of its note."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, func, or_, select

from rungwise.coach.record.access import client_of
from rungwise.coach.record.audit import record
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound
from rungwise.store.tables import Client, ClientNote, Trainer

LONGEST_NOTE = 4000


def add_note(
    session: Session, now: datetime, trainer: Trainer, client_id: int, body: str
) -> ClientNote:
    note = ClientNote(client_id=client_id, trainer_id=trainer.id, body=_tidy(body), at=now)
    session.add(note)
    session.flush()
    record(session, now, trainer, "note added", client_id=client_id, note=note.id)
    return note


def _tidy(body: str) -> str:
    body = body.replace("\r\n", "\n").strip()
    if not body or len(body) > LONGEST_NOTE:
        raise ImpossibleValue("note", f"{len(body)} characters", f"1 to {LONGEST_NOTE}")
    return body


def edit_note(
    session: Session, now: datetime, trainer: Trainer, note_id: int, body: str, version: int
) -> ClientNote:
    """Say it another way; what it said before stays in its history.

    `version` is the row that was looked at: EditedMeanwhile when there is a later one.
    """
    client, _ = note_of(session, trainer, note_id)
    # Two editors one after the other, so that the second sees what the first made of it.
    session.refresh(client, with_for_update={"key_share": True})
    _, versions = note_of(session, trainer, note_id)
    first, latest = versions[0], versions[-1]
    body = _tidy(body)
    if latest.id != version:
        raise EditedMeanwhile
    if body == latest.body:
        return latest
    note = ClientNote(
        client_id=first.client_id, trainer_id=trainer.id, body=body, at=now, edits_id=first.id
    )
    session.add(note)
    session.flush()
    record(session, now, trainer, "note edited", client_id=first.client_id, note=first.id)
    return note


def note_of(
    session: Session, trainer: Trainer, note_id: int
) -> tuple[Client, Sequence[ClientNote]]:
    """A note of one of this trainer's clients in all its versions, oldest first; or NotFound."""
    first = session.get(ClientNote, note_id)
    if first is None or first.edits_id is not None:
        raise NotFound("There is no such note.")
    client = client_of(session, trainer, first.client_id)
    rows = select(ClientNote).where(or_(ClientNote.id == note_id, ClientNote.edits_id == note_id))
    return client, session.exec(rows.order_by(col(ClientNote.id))).all()


def notes_of(session: Session, client_id: int, most: int) -> list[tuple[ClientNote, str]]:
    """The latest notes first, each as it was last edited, with who wrote that."""
    first = func.coalesce(ClientNote.edits_id, ClientNote.id)
    newest = (
        select(func.max(ClientNote.id))
        .where(ClientNote.client_id == client_id)
        .group_by(first)
        .order_by(first.desc())
        .limit(most)
    )
    rows = (
        select(ClientNote, Trainer.name)
        .join(Trainer, col(Trainer.id) == col(ClientNote.trainer_id))
        .where(col(ClientNote.id).in_(newest))
    )
    found = [(note, name) for note, name in session.exec(rows).all()]
    return sorted(found, key=lambda one: one[0].first_id, reverse=True)
