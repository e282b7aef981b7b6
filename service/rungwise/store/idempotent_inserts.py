"""Inserting rows by statements of their own: unless they are there already, or just quickly; and
updates whose count tells who was first.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, TypeVar, cast

from sqlalchemy import Column, Insert, Update, insert, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel

Row = TypeVar("Row", bound=SQLModel)


def insert_once(
    session: Session, table: type[Row], unique: Sequence[str], values: Mapping[str, Any]
) -> Row | None:
    """The new row, or None when a row with the same `unique` columns is there already.

    Whoever inserted it goes on. Waits for another transaction that is just inserting the same key.
    Unlike a failed insert, it leaves the transaction whole.
    """
    return next(iter(insert_all_once(session, table, unique, [values])), None)


def insert_all_once(
    session: Session,
    table: type[Row],
    unique: Sequence[str],
    many: Sequence[Mapping[str, Any]],
) -> Sequence[Row]:
    """The same for several rows with the same columns: those that are new, in any order."""
    kind = session.get_bind().dialect.name
    statement = _insert_once(table, tuple(unique), kind)
    made = session.connection().execute(statement, [dict(values) for values in many])
    keys = made.scalars().all()
    return session.scalars(select(table).where(_key(table).in_(keys))).all() if keys else []


def insert_row(session: Session, table: type[SQLModel], values: Mapping[str, Any]) -> int:
    """Insert one row by a plain statement, in a fraction of a flush's time; gives its id.

    Columns that are not named become NULL: what has another default must be named.
    """
    statement = _insert(table)
    row_id: int = session.connection().execute(statement, dict(values)).scalar_one()
    return row_id


def insert_rows(
    session: Session, table: type[SQLModel], many: Sequence[Mapping[str, Any]]
) -> Sequence[int]:
    """The same for several rows with the same columns; their ids, in the rows' order."""
    made = session.connection().execute(_insert_in_order(table), [dict(values) for values in many])
    return made.scalars().all()


def insert_row_once(
    session: Session, table: type[SQLModel], unique: Sequence[str], values: Mapping[str, Any]
) -> int | None:
    """The same, unless a row with the same `unique` columns is there: then None."""
    statement = _insert_once(table, tuple(unique), session.get_bind().dialect.name)
    row_id: int | None = session.connection().execute(statement, dict(values)).scalar()
    return row_id


def rows_updated(session: Session, change: Update) -> int:
    """Make the change; gives how many rows met its conditions.

    Of two transactions that change the same row away from a condition, only one has a count.
    """
    done = session.execute(change)
    return int(done.rowcount)  # type: ignore[attr-defined]  # an UPDATE always has a count


@cache
def _insert_once(table: type[SQLModel], unique: tuple[str, ...], kind: str) -> Any:
    plain = table.__table__  # type: ignore[attr-defined]  # every table has it
    begun = sqlite.insert(plain) if kind == "sqlite" else postgresql.insert(plain)
    return begun.on_conflict_do_nothing(index_elements=list(unique)).returning(_key(table))


def _key(table: type[SQLModel]) -> Column[Any]:
    """The primary key, where it is one column."""
    (column,) = table.__table__.primary_key  # type: ignore[attr-defined]  # every table has it
    return cast("Column[Any]", column)


@cache
def _insert(table: type[SQLModel]) -> Insert:
    return insert(table.__table__).returning(_key(table))  # type: ignore[attr-defined]


@cache
def _insert_in_order(table: type[SQLModel]) -> Insert:
    plain = insert(table.__table__)  # type: ignore[attr-defined]
    return plain.returning(_key(table), sort_by_parameter_order=True)
