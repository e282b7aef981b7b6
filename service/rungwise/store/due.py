"""Due times: one stored, indexed row for each thing to do at an instant."""

from datetime import date, datetime

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from rungwise.store.deferred_inserts import insert_later
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.prefetch import known
from rungwise.store.tables import Due

# Those that are read ahead; a row of another kind with the same number as its subject may be about
# something else.
READ_AHEAD = ("prompt", "reminder")


def set_due(
    session: Session, kind: str, subject_id: int, at: datetime, local_date: date | None = None
) -> None:
    """Set the one due time of this kind for this subject, in place of an earlier one."""
    if not _surely_none(session, kind, subject_id):
        changed = rows_updated(
            session,
            update(Due)
            .where(col(Due.kind) == kind, col(Due.subject_id) == subject_id)
            .values(at=at, local_date=local_date),
        )
        if changed:
            return
    values = {"kind": kind, "subject_id": subject_id, "at": at, "local_date": local_date}
    insert_later(session, Due, values)


def clear_due(session: Session, kind: str, subject_id: int) -> None:
    """There is nothing of this kind to do about this subject any more."""
    if _surely_none(session, kind, subject_id):
        return
    session.execute(delete(Due).where(col(Due.kind) == kind, col(Due.subject_id) == subject_id))


def _surely_none(session: Session, kind: str, subject_id: int) -> bool:
    """Whether there is no such row, as far as was read ahead."""
    rows = known(session, Due, subject_id) if kind in READ_AHEAD else None
    return rows is not None and all(row.kind != kind for row in rows)


def due_of(session: Session, kind: str, subject_id: int) -> Due | None:
    """The due time of this kind for this subject."""
    rows = select(Due).where(Due.kind == kind, Due.subject_id == subject_id)
    return session.exec(rows).first()


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
