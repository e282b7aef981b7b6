"""Due times: one stored, indexed row for each thing to do at an instant."""

from datetime import date, datetime

from sqlmodel import Session, col, select

from rungwise.store.deferred_writes import due_later
from rungwise.store.tables import Due


def set_due(
    session: Session, kind: str, subject_id: int, at: datetime, local_date: date | None = None
) -> None:
    """Set the one due time of this kind for this subject, in place of an earlier one."""
    due_later(session, kind, subject_id, at, local_date)


def clear_due(session: Session, kind: str, subject_id: int) -> None:
    """There is nothing of this kind to do about this subject any more."""
    due_later(session, kind, subject_id, None)


def due_of(session: Session, kind: str, subject_id: int) -> Due | None:
    """The due time of this kind for this subject."""
    rows = select(Due).where(Due.kind == kind, Due.subject_id == subject_id)
    # Rows are set by plain statements, which what the session remembers knows nothing of.
    return session.exec(rows.execution_options(populate_existing=True)).first()


def due_by(session: Session, now: datetime, most: int) -> list[Due]:
    """The earliest things due at `now`, locked where the database can lock rows."""
    rows = (
        select(Due)
        .where(Due.at <= now)
        .order_by(col(Due.at), col(Due.id))
        .limit(most)
        .with_for_update(skip_locked=True)
    )
    return list(session.exec(rows).all())


def next_due_at(session: Session) -> datetime | None:
    """The instant of the earliest thing due, past or future."""
    return session.exec(select(Due.at).order_by(col(Due.at)).limit(1)).first()
