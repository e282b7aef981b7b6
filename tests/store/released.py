"""Rows of a released version's database, as plain JSON: kept in releases/, loaded into any store.

A file holds the revision of its tables and, table by table, columns and rows. Values are plain:
instants in ISO 8601 with +00:00, dates as YYYY-MM-DD. Types come from the database's own tables,
never from this version's, so that a file stays readable when our tables have moved on.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Date, DateTime, Integer, MetaData, Table, insert, select, text
from sqlalchemy.engine import Connection

from rungwise.store import Store

RELEASES = Path(__file__).with_name("releases")

Rows = list[list[Any]]


@dataclass(frozen=True)
class Released:
    """What a database of that release held: the columns and rows of each table with rows."""

    revision: str
    columns: dict[str, list[str]]
    rows: dict[str, Rows]


def read_release(file: Path) -> Released:
    told = json.loads(file.read_text(encoding="utf-8"))
    tables = told["tables"]
    return Released(
        told["revision"],
        {name: table["columns"] for name, table in tables.items()},
        {name: table["rows"] for name, table in tables.items()},
    )


def write_release(file: Path, released: Released) -> None:
    """One row a line, so that a change can be read."""
    tables = []
    for name, rows in released.rows.items():
        lines = ",\n".join(_line(row) for row in rows)
        columns = _line(released.columns[name])
        tables.append(f'"{name}": {{"columns": {columns}, "rows": [\n{lines}]}}')
    body = ",\n".join(tables)
    file.write_text(
        f'{{"revision": "{released.revision}", "tables": {{\n{body}}}}}\n', encoding="utf-8"
    )


def _line(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def dump(store: Store) -> Released:
    """Everything in the database, rows in the order of their primary keys."""
    with store.engine.connect() as connection:
        revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one()
        columns: dict[str, list[str]] = {}
        rows: dict[str, Rows] = {}
        for table in tables_of(connection):
            query = select(table).order_by(*table.primary_key.columns)
            found = [[_plain(value) for value in row] for row in connection.execute(query)]
            if found:
                columns[table.name] = [column.name for column in table.columns]
                rows[table.name] = found
    return Released(revision, columns, rows)


def load(store: Store, released: Released) -> None:
    """Put the rows into the empty tables of that revision."""
    with store.engine.execution_options(writes=True).begin() as connection:
        for table in tables_of(connection):
            rows = released.rows.get(table.name)
            if rows:
                columns = [table.columns[name] for name in released.columns[table.name]]
                values = [
                    {
                        column.name: _typed(column, value)
                        for column, value in zip(columns, row, strict=True)
                    }
                    for row in rows
                ]
                connection.execute(insert(table), values)
                if not store.is_sqlite:
                    _count_on(connection, table)


def tables_of(connection: Connection) -> Iterator[Table]:
    """The database's own tables, what others refer to first."""
    found = MetaData()
    found.reflect(connection)
    yield from (table for table in found.sorted_tables if table.name != "alembic_version")


def _count_on(connection: Connection, table: Table) -> None:
    """New rows are numbered after the loaded ones."""
    (first, *_) = table.primary_key.columns
    if isinstance(first.type, Integer):
        connection.execute(
            text(
                "SELECT setval(sequence, (SELECT max(:c) FROM :t)) FROM "
                "(SELECT pg_get_serial_sequence(':t', ':c') AS sequence) found "
                "WHERE sequence IS NOT NULL".replace(":t", table.name).replace(":c", first.name)
            )
        )


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        aware = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return aware.isoformat()
    return value.isoformat() if isinstance(value, date) else value


def _typed(column: Column[Any], value: Any) -> Any:
    if value is not None and isinstance(column.type, DateTime):
        return datetime.fromisoformat(value)
    if value is not None and isinstance(column.type, Date):
        return date.fromisoformat(value)
    return value
