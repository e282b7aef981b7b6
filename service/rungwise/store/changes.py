"""Noting what changes of clients, in the transaction of the change, for programs that follow.

Only for practices with a feed; for all others it costs one look a transaction.
"""

from typing import Any

from sqlalchemy import event, insert, inspect, select
from sqlmodel import Session, SQLModel, col

from rungwise.store.tables import (
    Alert,
    Change,
    ChangeFeed,
    Client,
    Fall,
    MoveRow,
    Placement,
    PlanRow,
    Report,
    Retest,
)

# Of a table, what kind of change its rows make, and the columns that nobody follows.
FOLLOWED: dict[type[SQLModel], tuple[str, frozenset[str]]] = {
    Client: ("client", frozenset({"last_reply_at", "unreadable_run", "state_since", "version"})),
    Placement: ("client", frozenset({"since"})),
    PlanRow: ("client", frozenset()),
    Report: ("day", frozenset({"superseded_at"})),
    MoveRow: ("move", frozenset({"superseded_at"})),
    Alert: ("alert", frozenset({"pages", "paged_at"})),
    Fall: ("fall", frozenset()),
    Retest: ("retest", frozenset()),
}
_KEPT_IN = "practices followed"


def followed(session: Session, practice_id: int) -> bool:
    """Whether this practice's changes are kept."""
    return practice_id in _practices(session)


def _practices(session: Session) -> frozenset[int]:
    if _KEPT_IN not in session.info:
        rows = session.connection().execute(select(col(ChangeFeed.practice_id)))
        session.info[_KEPT_IN] = frozenset(rows.scalars())
    found: frozenset[int] = session.info[_KEPT_IN]
    return found


def follow_again(session: Session) -> None:
    """A feed was begun or ended in this session."""
    session.info.pop(_KEPT_IN, None)


def note(
    session: Session,
    practice_id: int,
    client_id: int | None,
    kind: str,
    subject_id: int,
    what: str | None = None,
) -> None:
    """Keep one change of a practice that is followed."""
    if followed(session, practice_id):
        values = {
            "practice_id": practice_id,
            "client_id": client_id,
            "kind": kind,
            "subject_id": subject_id,
            "what": what,
        }
        session.connection().execute(insert(Change), [values])


def _flushed(session: Session, _context: object) -> None:
    """What was flushed as objects is noted by itself."""
    rows = [row for row in (*session.new, *session.dirty) if type(row) in FOLLOWED]
    if not rows or not _practices(session):
        return
    for row in rows:
        kind, nobodys = FOLLOWED[type(row)]
        if _changed(row) <= nobodys:
            continue
        client_id = row.id if isinstance(row, Client) else row.client_id
        subject_id = client_id if kind == "client" else row.id
        practice_id = _practice_of(session, row, client_id)
        note(session, practice_id, client_id, kind, subject_id, _what(row))


def _changed(row: Any) -> set[str]:
    attributes = inspect(row).attrs
    return {attribute.key for attribute in attributes if attribute.history.added}


def _practice_of(session: Session, row: Any, client_id: int) -> int:
    if hasattr(row, "practice_id"):
        return int(row.practice_id)
    found = select(col(Client.practice_id)).where(col(Client.id) == client_id)
    return session.connection().execute(found).scalar_one()


def _what(row: Any) -> str | None:
    if isinstance(row, Client):
        return row.state if inspect(row).attrs["state"].history.added else None
    return row.kind if isinstance(row, MoveRow) else None


event.listen(Session, "after_flush", _flushed)
