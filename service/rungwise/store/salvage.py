"""Reading rows of which a stored value is broken: what can be read of them, and what cannot.

One value that no longer decodes makes a query fail for every row that it gives. Whoever must not
be stopped by it reads the rows through here: all at once, and only when that fails one by one and
column by column.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import Column
from sqlalchemy import select as select_columns
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.orm import defer
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session, SQLModel, select

Row = TypeVar("Row", bound=SQLModel)

# In place of a value that cannot be read, by what a column holds.
INSTEAD: dict[type, Any] = {
    str: "",
    int: 0,
    float: 0.0,
    bool: False,
    datetime: datetime(1970, 1, 1, tzinfo=UTC),
    date: date(1970, 1, 1),
}


@dataclass(frozen=True, slots=True)
class Salvaged(Generic[Row]):
    """A row, and the names of its columns that could not be read and hold a stand-in."""

    row: Row
    broken: tuple[str, ...] = ()


def undecodable(problem: Exception) -> bool:
    """Whether it was a stored value and not the database that failed."""
    return not isinstance(problem, DBAPIError | SQLAlchemyError)


def salvage(session: Session, table: type[Row], ids: Sequence[int]) -> list[Salvaged[Row]]:
    """The rows with these ids that there are, in this order, whatever can be read of them."""
    if not ids:
        return []
    key = _key(table)
    try:
        rows = {getattr(row, key.name): row for row in session.exec(_rows(table, ids)).all()}
        return [Salvaged(rows[row_id]) for row_id in ids if row_id in rows]
    except Exception as problem:
        if not undecodable(problem):
            raise
    there = session.exec(select(key).where(key.in_(ids))).all()
    return [salvage_one(session, table, row_id) for row_id in ids if row_id in there]


def salvage_one(session: Session, table: type[Row], row_id: int) -> Salvaged[Row]:
    """The row with this id, whatever can be read of it. NoResultFound when there is none."""
    try:
        return Salvaged(session.get_one(table, row_id))
    except Exception as problem:
        if not undecodable(problem):
            raise
    key = _key(table)
    others = [column for column in table.__table__.columns if column is not key]  # type: ignore[attr-defined]
    left = [defer(getattr(table, column.name)) for column in others]
    row = session.exec(_rows(table, [row_id]).options(*left)).one()
    broken = []
    for column in others:
        try:
            value = session.execute(select_columns(column).where(key == row_id)).scalar_one()
        except Exception as problem:
            if not undecodable(problem):
                raise
            broken.append(column.name)
            value = None if column.nullable else INSTEAD.get(_holds(column), {})
        set_committed_value(row, column.name, value)
    return Salvaged(row, tuple(broken))


def _rows(table: type[Row], ids: Sequence[int]) -> Any:
    return select(table).where(_key(table).in_(ids))


def _key(table: type[SQLModel]) -> Column[Any]:
    (column,) = table.__table__.primary_key  # type: ignore[attr-defined]  # every table has it
    return column  # type: ignore[no-any-return]


def _holds(column: Column[Any]) -> type:
    try:
        return column.type.python_type
    except NotImplementedError:
        return dict
