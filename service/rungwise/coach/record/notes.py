"""What trainers note of a client; only ever added to."""

from datetime import datetime

from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import ClientNote, Trainer

LONGEST_NOTE = 4000


def add_note(
    session: Session, now: datetime, trainer: Trainer, client_id: int, body: str
) -> ClientNote:
    body = body.replace("\r\n", "\n").strip()
    if not body or len(body) > LONGEST_NOTE:
        raise ImpossibleValue("note", f"{len(body)} characters", f"1 to {LONGEST_NOTE}")
    note = ClientNote(client_id=client_id, trainer_id=trainer.id, body=body, at=now)
    session.add(note)
    session.flush()
    record(session, now, trainer, "note added", client_id=client_id, note=note.id)
    return note


def notes_of(session: Session, client_id: int, most: int) -> list[tuple[ClientNote, str]]:
    """The latest notes first, each with its writer's name."""
    rows = (
        select(ClientNote, Trainer.name)
        .join(Trainer, col(Trainer.id) == col(ClientNote.trainer_id))
        .where(ClientNote.client_id == client_id)
        .order_by(col(ClientNote.id).desc())
        .limit(most)
    )
    return [(note, name) for note, name in session.exec(rows).all()]
