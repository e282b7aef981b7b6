"""Inserting a row unless one with the same unique key is there: whoever inserted it goes on."""

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel

Row = TypeVar("Row", bound=SQLModel)


def insert_once(
    session: Session, table: type[Row], unique: Sequence[str], values: Mapping[str, Any]
) -> Row | None:
    """The new row, or None when a row with the same `unique` columns is there already.

    Waits for another transaction that is just inserting the same key. Unlike a failed insert, it
    leaves the transaction whole.
    """
    kind = session.get_bind().dialect.name
    insert = sqlite.insert if kind == "sqlite" else postgresql.insert
    statement = (
        insert(table)
        .values(**values)
        .on_conflict_do_nothing(index_elements=list(unique))
        .returning(table)
    )
    return session.scalars(statement).first()
