"""Rows that are written together a little later, but before anything could look for them.

Only within a transaction that is kept or undone as a whole: who may undo a part of it by a
savepoint must not have rows waiting.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import delete, event, insert
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel, col

from rungwise.store.idempotent_inserts import insert_row, insert_rows
from rungwise.store.tables import Due

_KEPT_IN = "rows for later"


@dataclass(slots=True)
class RowId:
    """The number of a row that may wait: it is there once the row is written."""

    number: int | None = None


@dataclass(slots=True)
class _Rows:
    """One table's rows, and for those whose numbers other waiting rows name, where these go."""

    rows: list[dict[str, Any]] = field(default_factory=list)
    ids: list[RowId] = field(default_factory=list)


@dataclass(slots=True)
class _Waiting:
    """What waits: rows by table and whether others name them; and of each kind and subject, when it
    is due, or None for no more. Of what is due only the last said counts.
    """

    rows: dict[tuple[type[SQLModel], bool], _Rows] = field(default_factory=dict)
    dues: dict[tuple[str, int], tuple[datetime, date | None] | None] = field(default_factory=dict)


@contextmanager
def rows_may_wait(session: Session) -> Iterator[None]:
    """Inside, rows are kept back until the next statement, at the latest to the end.

    When it is left by an error, what waits is dropped: the whole transaction must be undone.
    """
    session.info[_KEPT_IN] = _Waiting()
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


def due_later(
    session: Session, kind: str, subject_id: int, at: datetime | None, day: date | None = None
) -> None:
    """Set the one due time of this kind for this subject, in place of an earlier one; None: there
    is none any more.
    """
    waiting: _Waiting | None = session.info.get(_KEPT_IN)
    here = waiting if waiting is not None else _Waiting()
    here.dues[kind, subject_id] = (at, day) if at is not None else None
    if waiting is None:
        _write_dues(session, here)


def _may_wait(
    session: Session,
    table: type[SQLModel],
    values: Mapping[str, Any],
    row_id: RowId | None = None,
) -> bool:
    waiting: _Waiting | None = session.info.get(_KEPT_IN)
    if waiting is None:
        return False
    kept = waiting.rows.setdefault((table, row_id is not None), _Rows())
    kept.rows.append(dict(values))
    if row_id is not None:
        kept.ids.append(row_id)
    return True


def write_now(session: Session) -> None:
    """Write what waits: first what others name, then in the order of the tables that asked."""
    waiting: _Waiting | None = session.info.get(_KEPT_IN)
    if waiting is None:
        return
    for table, named in sorted(waiting.rows, key=lambda each: not each[1]):
        kept = waiting.rows.pop((table, named))
        if named:
            numbers = insert_rows(session, table, kept.rows)
            for row_id, number in zip(kept.ids, numbers, strict=True):
                row_id.number = number
            continue
        rows = [_with_numbers(row) for row in kept.rows]
        session.connection().execute(insert(table.__table__), rows)  # type: ignore[attr-defined]
    if waiting.dues:
        _write_dues(session, waiting)


def _write_dues(session: Session, waiting: _Waiting) -> None:
    dues, waiting.dues = waiting.dues, {}
    # In one order, so that two processes never wait for each other.
    set_anew = [
        {"kind": kind, "subject_id": subject_id, "at": due[0], "local_date": due[1]}
        for (kind, subject_id), due in sorted(dues.items(), key=lambda each: each[0])
        if due is not None
    ]
    if set_anew:
        session.connection().execute(_due_in_place(session.get_bind().dialect.name), set_anew)
    for kind in sorted({kind for (kind, _), due in dues.items() if due is None}):
        gone = sorted(each[1] for each, due in dues.items() if due is None and each[0] == kind)
        table = Due.__table__  # type: ignore[attr-defined]
        here = (col(Due.kind) == kind, col(Due.subject_id).in_(gone))
        session.connection().execute(delete(table).where(*here))


def _due_in_place(dialect: str) -> Any:
    table = Due.__table__  # type: ignore[attr-defined]  # every table has it
    begun = sqlite.insert(table) if dialect == "sqlite" else postgresql.insert(table)
    new = {"at": begun.excluded.at, "local_date": begun.excluded.local_date}
    return begun.on_conflict_do_update(index_elements=["kind", "subject_id"], set_=new)


def _with_numbers(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: value.number if isinstance(value, RowId) else value for name, value in values.items()
    }
