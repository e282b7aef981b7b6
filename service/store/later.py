"""Rows that are written together a little later, but before anything could look for them.

Only within a transaction that is kept or undone as a whole: who may undo a part of it by a
savepoint must not have rows waiting.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import event, insert
from sqlmodel import Session, SQLModel

from service.store.ahead import wrote
from service.store.once import insert_row

_KEPT_IN = "rows for later"

Waiting = dict[type[SQLModel], list[dict[str, Any]]]


@contextmanager
def rows_may_wait(session: Session) -> Iterator[None]:
    """Inside, `insert_later` keeps rows back until the next statement, at the latest to the end.

    When it is left by an error, what waits is dropped: the whole transaction must be undone.
    """
    session.info[_KEPT_IN] = {}
    event.listen(session, "do_orm_execute", lambda _state: write_now(session))
    event.listen(session, "before_flush", lambda *_: write_now(session))
    try:
        yield
        write_now(session)
    finally:
        del session.info[_KEPT_IN]


def insert_later(session: Session, table: type[SQLModel], values: Mapping[str, Any]) -> None:
    """Insert one row whose number nobody asks for. All of a table's must name the same columns."""
    waiting: Waiting | None = session.info.get(_KEPT_IN)
    if waiting is None:
        insert_row(session, table, values)
        return
    waiting.setdefault(table, []).append(dict(values))
    wrote(session, table, values)


def write_what_waits_about(session: Session, table: type[SQLModel], client_id: int) -> None:
    """Needed before a statement about this client that does not go through the session itself."""
    waiting: Waiting | None = session.info.get(_KEPT_IN)
    if waiting and any(row["client_id"] == client_id for row in waiting.get(table, ())):
        write_now(session)


def write_now(session: Session) -> None:
    """Write what waits, in the order of the tables that asked first."""
    waiting: Waiting | None = session.info.get(_KEPT_IN)
    if not waiting:
        return
    for table in list(waiting):
        rows = waiting.pop(table)
        session.connection().execute(insert(table.__table__), rows)  # type: ignore[attr-defined]
