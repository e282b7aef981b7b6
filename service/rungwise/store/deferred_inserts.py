"""Rows that are written together a little later, but before anything could look for them.

Only within a transaction that is kept or undone as a whole: who may undo a part of it by a
savepoint must not have rows waiting.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import event, insert
from sqlmodel import Session, SQLModel

from rungwise.store.idempotent_inserts import insert_row, insert_rows
from rungwise.store.prefetch import wrote

_KEPT_IN = "rows for later"


@dataclass(slots=True)
class RowId:
    """The number of a row that may wait: it is there once the row is written."""

    number: int | None = None


@dataclass(slots=True)
class _Waiting:
    """One table's rows, and for those whose numbers other waiting rows name, where these go."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    ids: list[RowId] = field(default_factory=list)


Waiting = dict[tuple[type[SQLModel], bool], _Waiting]


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
    """Insert one row whose number nobody asks for. All of a table's must name the same columns.

    A value may be the RowId of a row that waits too.
    """
    if not _may_wait(session, table, values):
        insert_row(session, table, _with_numbers(values))


def insert_named_later(session: Session, table: type[SQLModel], values: Mapping[str, Any]) -> RowId:
    """The same for a row whose number only other rows that may wait will name."""
    row_id = RowId()
    if not _may_wait(session, table, values, row_id):
        row_id.number = insert_row(session, table, values)
    return row_id


def _may_wait(
    session: Session,
    table: type[SQLModel],
    values: Mapping[str, Any],
    row_id: RowId | None = None,
) -> bool:
    waiting: Waiting | None = session.info.get(_KEPT_IN)
    if waiting is None:
        return False
    kept = waiting.setdefault((table, row_id is not None), _Waiting())
    kept.rows.append(dict(values))
    if row_id is not None:
        kept.ids.append(row_id)
    wrote(session, table, values)
    return True


def write_what_waits_about(session: Session, table: type[SQLModel], client_id: int) -> None:
    """Needed before a statement about this client that does not go through the session itself."""
    waiting: Waiting = session.info.get(_KEPT_IN) or {}
    about = (row for named in (True, False) for row in _rows(waiting, table, named))
    if any(row["client_id"] == client_id for row in about):
        write_now(session)


def _rows(waiting: Waiting, table: type[SQLModel], named: bool) -> list[dict[str, Any]]:
    return waiting[table, named].rows if (table, named) in waiting else []


def write_now(session: Session) -> None:
    """Write what waits: first what others name, then in the order of the tables that asked."""
    waiting: Waiting | None = session.info.get(_KEPT_IN)
    if not waiting:
        return
    for table, named in sorted(waiting, key=lambda each: not each[1]):
        kept = waiting.pop((table, named))
        if named:
            numbers = insert_rows(session, table, kept.rows)
            for row_id, number in zip(kept.ids, numbers, strict=True):
                row_id.number = number
            continue
        rows = [_with_numbers(row) for row in kept.rows]
        session.connection().execute(insert(table.__table__), rows)  # type: ignore[attr-defined]


def _with_numbers(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.number if isinstance(value, RowId) else value for name, value in values.items()
    }
