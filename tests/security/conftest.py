"""Keys for tests, stores sealed with them, and the small practice of the pages' tests."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import SQLModel
from stores import ALL_TABLES, KINDS

sys.path.extend(str(Path(__file__).parents[1] / name) for name in ("web", "coach"))

from sealed_world import NEW, OLD
from web_world import World, make_world  # found by the line above

from rungwise.store import Store
from rungwise.store.sealing.crypto import Key
from rungwise.store.sealing.unlocking import unlock


@pytest.fixture
def old() -> Key:
    return Key(OLD)


@pytest.fixture
def new() -> Key:
    return Key(NEW)


@pytest.fixture(params=KINDS)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of an empty database of each kind, with this version's tables."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'sealed.sqlite3'}"
        store = Store(url)
        SQLModel.metadata.create_all(store.engine)
        store.close()
        yield url
        return
    store = request.getfixturevalue("postgres_store")
    yield store.url
    with store.engine.begin() as connection:
        connection.execute(text(f"TRUNCATE {ALL_TABLES} RESTART IDENTITY CASCADE"))


@pytest.fixture
def sealed(place: str, old: Key) -> Iterator[Store]:
    """An empty database of each kind, sealed from the start."""
    store = Store(place)
    unlock(store, [old])
    yield store
    store.close()


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    made = make_world(tmp_path)
    yield made
    made.store.close()
