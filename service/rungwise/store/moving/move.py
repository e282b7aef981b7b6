"""Copying one database to another of the other kind, value by value, as they are stored.

Sealed values are carried over sealed: no key is needed here. Everything is read from one snapshot
and written in one transaction, so a copy that fails leaves nothing behind but empty tables.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    Connection,
    Insert,
    Integer,
    Table,
    Text,
    bindparam,
    cast,
    func,
    insert,
    inspect,
    select,
    text,
    type_coerce,
)
from sqlalchemy.exc import DBAPIError
from sqlalchemy.sql.elements import ColumnElement
from sqlmodel import SQLModel

from rungwise.errors import ServiceError
from rungwise.store.database import Store
from rungwise.store.moving.migrate import check_current, migrate
from rungwise.store.sealing.crypto import SealedJSON
from rungwise.store.sealing.rotation import StillRunning, is_running

BATCH = 1000

Shown = Callable[[int], object]


class SameDatabase(ServiceError):
    """Both addresses lead to the same database. Name another one to copy to."""


class NotEmpty(ServiceError):
    """The database to copy to holds something already."""

    def __init__(self, table: str) -> None:
        super().__init__(
            f"The database to copy to holds rows already, in the table {table}. "
            f"Name an empty database; nothing was copied."
        )


class CountsDiffer(ServiceError):
    """A table did not arrive whole, and nothing was kept."""

    def __init__(self, table: str, read: int, arrived: int) -> None:
        super().__init__(
            f"The table {table} has {read} rows, of which {arrived} arrived, so nothing was kept. "
            f"Make sure that nothing else uses either database, and try again."
        )


class NotReached(ServiceError):
    """A database cannot be opened, or stopped answering."""

    def __init__(self, store: Store, problem: DBAPIError) -> None:
        said = str(problem.orig).strip().splitlines()
        where = store.engine.url.render_as_string(hide_password=True)
        super().__init__(
            f"{where} does not answer ({said[0] if said else 'no reason given'}). "
            f"Check its address and that it runs; nothing was kept of a copy."
        )


@dataclass(frozen=True, slots=True)
class Copied:
    """How many rows of one table were copied and counted."""

    table: str
    rows: int


@dataclass(frozen=True, slots=True)
class Move:
    """From one store to another. Neither needs its data keys."""

    source: Store
    target: Store

    def prepare(self) -> int:
        """Check that it can be done, and make the target's tables; how many rows there are.

        SameDatabase, NotReached, StillRunning, NotEmpty, OlderDatabase or NewerDatabase when not.
        """
        if self.source.url == self.target.url:
            raise SameDatabase
        for store in (self.source, self.target):
            _reach(store)
        check_current(self.source)
        if is_running(self.source):
            raise StillRunning
        with self.target.engine.connect() as connection:
            _refuse_rows(connection)
        migrate(self.target)
        with self.source.engine.connect() as connection:
            return sum(_count(connection, table) for table in _tables())

    def run(self, shown: Shown) -> list[Copied]:
        """Copy everything; each table with the rows that were counted on both sides."""
        try:
            with _snapshot(self.source) as source, _writing(self.target) as target:
                _refuse_rows(target)
                copied = [_copy(source, target, table, shown) for table in _tables()]
                if target.dialect.name == "postgresql":
                    for table in _tables():
                        _continue_numbers(target, table)
        except DBAPIError as problem:
            raise NotReached(self.target, problem) from None
        return copied


def _reach(store: Store) -> None:
    try:
        with store.engine.connect() as connection:
            connection.execute(select(1))
    except DBAPIError as problem:
        raise NotReached(store, problem) from None


def _tables() -> Sequence[Table]:
    """Every table, those that others refer to first."""
    return SQLModel.metadata.sorted_tables


def _snapshot(store: Store) -> Connection:
    """A connection that sees the database as it is at its first look, whatever comes in."""
    if store.is_sqlite:
        return store.engine.connect()
    return store.engine.connect().execution_options(isolation_level="REPEATABLE READ")


def _writing(store: Store) -> Any:
    return store.engine.execution_options(writes=True).begin()


def _refuse_rows(connection: Connection) -> None:
    here = set(inspect(connection).get_table_names())
    for table in _tables():
        if table.name in here and connection.execute(select(table).limit(1)).first() is not None:
            raise NotEmpty(table.name)


def _count(connection: Connection, table: Table) -> int:
    return connection.execute(select(func.count()).select_from(table)).scalar_one()


def _copy(source: Connection, target: Connection, table: Table, shown: Shown) -> Copied:
    write = _insert(table, target.dialect.name)
    for rows in _batches(source, table):
        target.execute(write, rows)
        shown(len(rows))
    read, arrived = _count(source, table), _count(target, table)
    if read != arrived:
        raise CountsDiffer(table.name, read, arrived)
    return Copied(table.name, arrived)


def _batches(source: Connection, table: Table) -> Iterator[Sequence[Mapping[str, Any]]]:
    # In the order of their keys: a text that answers another comes after it.
    key = list(table.primary_key.columns)
    columns = [_read(column, source.dialect.name).label(column.name) for column in table.columns]
    asked = select(*columns).order_by(*key).execution_options(yield_per=BATCH)
    with source.execute(asked) as found:
        for rows in found.mappings().partitions():
            yield [dict(row) for row in rows]


def _is_json(column: Column[Any]) -> bool:
    return isinstance(column.type, JSON | SealedJSON)


def _read(column: Column[Any], dialect: str) -> ColumnElement[Any]:
    """JSON as the text it is stored as, so that null, no value and every figure stay the same."""
    if not _is_json(column):
        return column
    return type_coerce(column, Text()) if dialect == "sqlite" else cast(column, Text())


def _insert(table: Table, dialect: str) -> Insert:
    values: dict[str, ColumnElement[Any]] = {}
    for column in table.columns:
        if _is_json(column):
            given = bindparam(column.name, type_=Text())
            values[column.name] = given if dialect == "sqlite" else cast(given, JSON())
        else:
            values[column.name] = bindparam(column.name, type_=column.type)
    return insert(table).values(values)


def _continue_numbers(target: Connection, table: Table) -> None:
    """The next row's number follows the last one copied."""
    column = table.autoincrement_column
    if column is None or not isinstance(column.type, Integer):
        return
    named = {"table": f'"{table.name}"', "column": column.name}
    sequence = target.execute(
        text("SELECT pg_get_serial_sequence(:table, :column)"), named
    ).scalar_one()
    last = target.execute(select(func.max(column))).scalar_one()
    if sequence is not None and last is not None:
        found = {"sequence": sequence, "last": last}
        target.execute(text("SELECT setval(:sequence, :last)"), found)
