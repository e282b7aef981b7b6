"""Opening the database, and the two ways to use it: read, and write in one transaction."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import Connection
from sqlmodel import Session

BUSY_TIMEOUT_MS = 15_000


class Store:
    """One database. SQLite gets a single writer, because many writers there wait on each other."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.is_sqlite = url.startswith("sqlite")
        self.engine = _open(url, self.is_sqlite)
        self._writing = threading.RLock() if self.is_sqlite else None

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that only reads."""
        with Session(self.engine, expire_on_commit=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose work is committed as a whole at the end, or not at all."""
        if self._writing is None:
            yield from self._transaction(self.engine)
            return
        with self._writing:
            yield from self._transaction(self.engine.execution_options(writes=True))

    def _transaction(self, engine: Engine) -> Iterator[Session]:
        with Session(engine, expire_on_commit=False) as session, session.begin():
            yield session

    def close(self) -> None:
        self.engine.dispose()


def _open(url: str, is_sqlite: bool) -> Engine:
    if not is_sqlite:
        return create_engine(url, pool_pre_ping=True, pool_size=10, max_overflow=20)
    engine = create_engine(url, connect_args={"timeout": BUSY_TIMEOUT_MS / 1000})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver's own transaction handling begins too late for IMMEDIATE; we begin ourselves.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    # FULL: a commit we acknowledged survives a power cut.
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that will write takes the lock at once; upgrading later could fail as busy.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
