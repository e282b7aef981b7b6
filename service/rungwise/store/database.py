"""Opening the database, and the two ways to use it: read, and write in one transaction."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import tenacity
from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.engine import Connection, make_url
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import Session

from rungwise.store.fair_lock import Turns

T = TypeVar("T")

# Where a session keeps its store's `public_url`.
PUBLIC_URL = "public url"

BUSY_TIMEOUT_MS = 15_000
# A row that somebody else holds for longer than this is waited for no more; the work is redone.
LOCK_TIMEOUT_MS = 5_000
CONNECT_TIMEOUT_S = 5
GIVE_UP_AFTER_S = 20.0
# What another try can put right, by PostgreSQL's SQLSTATE: lost or refused connections, a server
# that stops or starts, deadlocks, changes in between, locks not given in time.
PASSING_STATES = ("08", "40001", "40P01", "53300", "55P03", "57P01", "57P02", "57P03")


@dataclass(frozen=True, slots=True)
class Pool:
    """Connections to PostgreSQL that a process keeps open, and how many more it may open."""

    kept: int = 10
    more: int = 20


class Store:
    """One database. SQLite gets a single writer, because many writers there wait on each other."""

    def __init__(self, url: str, pool: Pool | None = None) -> None:
        self.url = url
        # Where people reach the service, for links in what is written; empty: no links.
        self.public_url = ""
        self.is_sqlite = url.startswith("sqlite")
        self.engine = _open_sqlite(url) if self.is_sqlite else _open_postgresql(url, pool or Pool())
        self._turn: AbstractContextManager[object] = Turns() if self.is_sqlite else nullcontext()
        self._writing = self.engine.execution_options(writes=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that only reads."""
        with Session(self.engine, expire_on_commit=False) as session:
            session.info[PUBLIC_URL] = self.public_url
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose work is committed as a whole at the end, or not at all."""
        with (
            self._turn,
            Session(self._writing, expire_on_commit=False) as session,
            session.begin(),
        ):
            session.info[PUBLIC_URL] = self.public_url
            yield session

    def run(self, work: Callable[[Session], T]) -> T:
        """Do `work` in one write transaction and give its answer.

        It is done again when the connection broke or another transaction was in the way, so doing
        it twice must be as good as once: a connection can break after the commit.
        """
        for attempt in _tries():
            with attempt, self.write() as session:
                return work(session)
        raise AssertionError("tenacity raises the last error")

    def close(self) -> None:
        self.engine.dispose()


def why_away(problem: BaseException) -> str:
    """A sentence for a database that cannot be reached or written; empty for any other error."""
    if not isinstance(problem, OperationalError):
        return ""
    said = str(problem.orig).strip().splitlines()
    return (
        f"The database does not answer ({said[0] if said else 'no reason given'}). See that it "
        "runs and has room, and that RUNGWISE_DATABASE_URL is right; `rungwise check` looks."
    )


def is_passing(problem: BaseException) -> bool:
    """Whether the database may well do the same work on another try."""
    if not isinstance(problem, DBAPIError):
        return False
    cause = problem.orig
    if isinstance(cause, sqlite3.OperationalError):
        return cause.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    state = getattr(cause, "sqlstate", None) or ""
    return problem.connection_invalidated or state.startswith(PASSING_STATES)


def one_at_a_time(session: Session, name: str) -> None:
    """Wait until no other transaction, in any process, has said the same `name`; until the end.

    SQLite has one writer anyway.
    """
    if session.get_bind().dialect.name == "postgresql":
        session.execute(
            text("SELECT pg_advisory_xact_lock(hashtextextended(:name, 0))"), {"name": name}
        )


def _tries() -> tenacity.Retrying:
    return tenacity.Retrying(
        retry=tenacity.retry_if_exception(is_passing),
        wait=tenacity.wait_random_exponential(multiplier=0.05, max=2.0),
        stop=tenacity.stop_after_delay(GIVE_UP_AFTER_S),
        reraise=True,
    )


def from_json(stored: str | bytes) -> Any:
    """A stored JSON value. Like json.loads, without what that does first for every value."""
    if isinstance(stored, bytes):  # as PostgreSQL's driver has it
        stored = stored.decode()
    return _DECODE(stored)[0] if stored[:1] in _BEGINS else json.loads(stored)


_DECODE = json.JSONDecoder().raw_decode
# What we store begins with one of these, never with white space.
_BEGINS = frozenset('{["')


def _open_postgresql(url: str, pool: Pool) -> Engine:
    address = make_url(url)
    if address.drivername in ("postgres", "postgresql"):
        address = address.set(drivername="postgresql+psycopg")
    engine = create_engine(
        address,
        # A failed statement is logged without its values: they are people's words and numbers.
        hide_parameters=True,
        json_deserializer=from_json,
        pool_pre_ping=True,
        pool_size=pool.kept,
        max_overflow=pool.more,
        connect_args={"connect_timeout": CONNECT_TIMEOUT_S},
    )
    event.listen(engine, "connect", _prepare_postgresql)
    return engine


def _prepare_postgresql(connection: Any, _record: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SET lock_timeout = {LOCK_TIMEOUT_MS}")
        # A process that hangs in the middle of a transaction must not hold its rows for ever.
        cursor.execute("SET idle_in_transaction_session_timeout = 60000")
    connection.commit()


def _open_sqlite(url: str) -> Engine:
    engine = create_engine(
        url,
        hide_parameters=True,
        json_deserializer=from_json,
        connect_args={"timeout": BUSY_TIMEOUT_MS / 1000},
    )
    event.listen(engine, "do_connect", partial(_make_private, url))
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _make_private(url: str, *_: object) -> None:
    """A new file is its owner's alone: it holds people's numbers and words."""
    name = make_url(url).database
    if name and name != ":memory:" and not name.startswith("file:"):
        with suppress(OSError):  # SQLite says better than we what is wrong with the place
            Path(name).touch(mode=0o600, exist_ok=True)


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver's own transaction handling begins too late for IMMEDIATE; we begin ourselves.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    # FULL: a commit we acknowledged survives a power cut.
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    # Reading by memory map: a list sorted by what today is looks up rows all over the file, a fifth
    # quicker so. Writes go the usual way.
    cursor.execute("PRAGMA mmap_size = 2000000000")
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that will write takes the lock at once; upgrading later could fail as busy.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
