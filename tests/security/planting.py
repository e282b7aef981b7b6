"""Planting a word of its own in every sealed column there is, and reading what a database holds."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import JSON, Boolean, Column, Date, Float, Integer, Table, text
from sqlmodel import Session, SQLModel

from rungwise.store import Store
from rungwise.store.sealing.crypto import Findable, Sealed, SealedJSON
from rungwise.store.sealing.rotation import sealed_tables
from rungwise.store.tables import UtcDateTime

AT = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


def planted(column: Column[Any]) -> str:
    """What the column is given: words that stand nowhere else."""
    return f"Quincetree-{column.table.name}-{column.name}-+12025550{len(column.name):03d}"


def all_planted() -> list[str]:
    return [planted(column) for _, columns in sealed_tables() for column in columns]


def plant(session: Session) -> None:
    """One row in every table that has sealed columns, and in those they hang on."""
    for table in SQLModel.metadata.sorted_tables:
        if table.name != "sealing":
            session.execute(table.insert().values(_row(table)))


def _row(table: Table) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for column in table.columns:
        alone = column.primary_key and not column.foreign_keys
        if alone and isinstance(column.type, Integer) and len(table.primary_key) == 1:
            continue
        row[column.name] = _value(column)
    return row


def _value(column: Column[Any]) -> Any:
    kind = column.type
    if isinstance(kind, SealedJSON):
        return [planted(column)]
    if isinstance(kind, Sealed):
        return planted(column)
    if column.foreign_keys or isinstance(kind, Boolean):
        return 1 if column.foreign_keys else False
    if isinstance(kind, Integer | Float):
        return 1
    if isinstance(kind, UtcDateTime):
        return AT
    if isinstance(kind, Date):
        return date(2026, 3, 2)
    if isinstance(kind, JSON):
        return {}
    return f"{column.table.name}.{column.name}"


def read_back(session: Session) -> dict[str, Any]:
    """What each sealed column gives when it is read as the service reads it."""
    found = {}
    for table, columns in sealed_tables():
        row = session.execute(table.select().order_by(*table.primary_key.columns)).first()
        for column in columns:
            found[f"{table.name}.{column.name}"] = row._mapping[column.name] if row else None
    return found


def expected() -> dict[str, Any]:
    return {
        f"{table.name}.{column.name}": _value(column)
        for table, columns in sealed_tables()
        for column in columns
    }


def dump(store: Store) -> bytes:
    """Everything the database holds: SQLite's files byte by byte, PostgreSQL's tables by COPY."""
    if store.is_sqlite:
        file = Path(store.engine.url.database or "")
        return b"".join(each.read_bytes() for each in sorted(file.parent.glob(f"{file.name}*")))
    return b"\n".join(_copied(store))


def _copied(store: Store) -> Iterator[bytes]:
    connection = store.engine.raw_connection()
    try:
        for table in SQLModel.metadata.sorted_tables:
            with connection.cursor().copy(f'COPY "{table.name}" TO STDOUT') as rows:
                yield b"".join(bytes(each) for each in rows)
    finally:
        connection.close()


def findable_columns() -> list[Column[Any]]:
    return [
        column
        for _, columns in sealed_tables()
        for column in columns
        if isinstance(column.type, Findable)
    ]


def raw(store: Store, table: str, column: str) -> list[str]:
    """A column as the database holds it."""
    with store.engine.connect() as connection:
        rows = connection.execute(text(f'SELECT "{column}" FROM "{table}" ORDER BY 1'))
        return [value for (value,) in rows]
