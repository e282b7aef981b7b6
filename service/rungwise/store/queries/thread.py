"""The thread of texts with one client, and the moves made for them."""

from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, select

from rungwise.store.tables import Audit, Message, MoveRow, Trainer


@dataclass(frozen=True, slots=True)
class MoveLine:
    """One move, with the name of the trainer who made it if the rule did not."""

    move: MoveRow
    trainer: str | None


def texts(session: Session, client_id: int, most: int, before: int | None = None) -> list[Message]:
    """The latest texts with a client, oldest of them first. `before` a message's id pages back."""
    rows = select(Message).where(Message.client_id == client_id)
    if before is not None:
        rows = rows.where(col(Message.id) < before)
    found = session.exec(rows.order_by(col(Message.id).desc()).limit(most)).all()
    return list(reversed(found))


def moves(session: Session, client_id: int, most: int, since: date | None = None) -> list[MoveLine]:
    """The latest moves that stand, latest first."""
    rows = (
        select(MoveRow, Trainer.name)
        .join(Trainer, col(Trainer.id) == col(MoveRow.trainer_id), isouter=True)
        .where(MoveRow.client_id == client_id, col(MoveRow.superseded_at).is_(None))
        .order_by(col(MoveRow.id).desc())
        .limit(most)
    )
    if since is not None:
        rows = rows.where(MoveRow.local_date >= since)
    return [MoveLine(move, name) for move, name in session.exec(rows).all()]


def changes(
    session: Session, client_id: int, most: int, after: int = 0
) -> list[tuple[Audit, str | None]]:
    """Who changed or looked at what, latest first."""
    rows = (
        select(Audit, Trainer.name)
        .join(Trainer, col(Trainer.id) == col(Audit.trainer_id), isouter=True)
        .where(Audit.client_id == client_id)
        .order_by(col(Audit.id).desc())
        .limit(most)
        .offset(after)
    )
    return [(line, name) for line, name in session.exec(rows).all()]
