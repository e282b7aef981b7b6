"""Finds the helpers of the carriers' tests, which these tests use too; and empty databases."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import make_url, text
from stores import KINDS

from rungwise.store import Store

sys.path.append(str(Path(__file__).parents[1] / "carriers"))


@pytest.fixture(params=KINDS)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database of each kind that holds nothing, not even tables."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.sqlite3'}"
        return
    server: Store = request.getfixturevalue("postgres_store")
    name = f"deploy_{os.urandom(4).hex()}"
    with server.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    yield make_url(server.url).set(database=name).render_as_string(hide_password=False)
