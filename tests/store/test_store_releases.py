"""Databases of every released version: brought to this version's tables, decided again, and back.

Each file in releases/ was made by that release's own code (keep_release.py).
"""

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from released import RELEASES, Released, dump, load, read_release, tables_of
from sqlalchemy import make_url, text
from sqlmodel import SQLModel, select
from stores import KINDS

from rungwise.cli import main
from rungwise.coach.record.audit import broken_at
from rungwise.store import Store
from rungwise.store.moving.migrate import check_current, migrate
from rungwise.store.tables import Practice

FILES = sorted(RELEASES.glob("*.json"))
LAST = FILES[-1]


@pytest.fixture(params=KINDS)
def bare(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A database of each kind that holds nothing, not even tables."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'release.sqlite3'}"
    else:
        url = new_database(request.getfixturevalue("postgres_store"))
    store = Store(url)
    yield store
    store.close()


def new_database(server: Store) -> str:
    name = f"release_{os.urandom(4).hex()}"
    with server.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    return make_url(server.url).set(database=name).render_as_string(hide_password=False)


def counts(released: Released) -> dict[str, int]:
    return {name: len(rows) for name, rows in released.rows.items()}


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_released_database_goes_forward_replays_and_goes_back(
    bare: Store, file: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    released = read_release(file)
    assert migrate(bare, released.revision) == (None, released.revision)
    load(bare, released)
    assert dump(bare) == released

    migrate(bare)
    check_current(bare)
    now = counts(dump(bare))
    assert {name: now.get(name) for name in released.rows} == counts(released)
    assert_works(bare)
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", bare.url)
    # What another version of the reader or the rule made may come out otherwise; nothing else.
    assert main(["replay"]) == 0
    said = re.search(
        r"(\d+) readings, reports and moves looked at, 0 differ", capfd.readouterr().err
    )
    assert said
    assert int(said[1]) >= len(released.rows["report"]) + len(released.rows["move"]) > 150

    migrate(bare, released.revision)
    assert differing(dump(bare), released) == {}


def assert_works(store: Store) -> None:
    """This version reads every row of every table, and finds the audit trail whole."""
    read_all(store)
    with store.read() as session:
        assert broken_at(session, session.exec(select(Practice)).one()) is None


def read_all(store: Store) -> None:
    with store.read() as session:
        for mapper in SQLModel._sa_registry.mappers:
            for row in session.exec(select(mapper.class_)):
                assert row is not None


def differing(one: Released, other: Released) -> dict[str, object]:
    """What is not the same, table by table."""
    found: dict[str, object] = {}
    for name in one.rows.keys() | other.rows.keys():
        if as_dicts(one, name) != as_dicts(other, name):
            here, there = as_dicts(one, name), as_dicts(other, name)
            found[name] = [pair for pair in zip(here, there, strict=False) if pair[0] != pair[1]]
    return found


def as_dicts(released: Released, table: str) -> list[dict[str, object]]:
    """Rows by column name: on the way back a column may come to stand elsewhere."""
    columns = released.columns.get(table, [])
    return [dict(zip(columns, row, strict=True)) for row in released.rows.get(table, [])]


def test_the_last_release_can_still_write_to_this_versions_tables(bare: Store) -> None:
    """Two versions run side by side during an upgrade: what the older one stores must fit."""
    migrate(bare)
    released = read_release(LAST)
    load(bare, released)
    assert counts(dump(bare)) == counts(released)
    read_all(bare)
    with bare.read() as session:
        # Lines after the recorded end are told of, and not taken for the service's own.
        _, told = broken_at(session, session.exec(select(Practice)).one()) or (0, "")
    assert "the record of where the trail ends is missing" in told


def test_every_table_of_a_release_has_a_row(bare: Store) -> None:
    """Otherwise a step that fails on full tables only would pass. keep_release.py on `sealing`."""
    for file in FILES:
        released = read_release(file)
        migrate(bare, released.revision)
        with bare.engine.connect() as connection:
            here = {table.name for table in tables_of(connection)}
        assert here - released.rows.keys() == {"sealing"}
        migrate(bare, "base")


def test_what_differs_is_found() -> None:
    """The comparison itself: one changed value in one row."""
    released = read_release(LAST)
    rows = [list(row) for row in released.rows["client"]]
    rows[1][released.columns["client"].index("called")] = "Somebody"
    changed = replace(released, rows={**released.rows, "client": rows})
    assert list(differing(changed, released)) == ["client"]


def test_a_migrated_database_has_the_tables_of_the_code(bare: Store) -> None:
    """Nothing is left for a further step to do: tables, columns, types, keys and indexes."""
    migrate(bare)
    with bare.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []
