"""What every test gets: hypothesis settings, no foreign network, no order of rows by chance."""

import ipaddress
import sqlite3
import sys

import hypothesis
import pytest
from sqlalchemy import Engine, event
from stores import KINDS, postgres_server, postgres_store, sqlite_store, store  # noqa: F401  # fixtures

from rungwise.coach.accounts.passwords import Hasher, set_hasher

# A busy machine makes single examples slow, which is no failure. Every run repeats the same
# examples, so that it judges the change and not the draw; `--hypothesis-profile drawn` draws
# others, as the fuzzers under tests/ do. What safety hangs on says itself that it wants more.
hypothesis.settings.register_profile(
    "house", deadline=None, max_examples=40, derandomize=True, print_blob=True
)
hypothesis.settings.register_profile(
    "drawn", hypothesis.settings.get_profile("house"), derandomize=False
)
hypothesis.settings.load_profile("house")


def refuse_other_hosts(event: str, arguments: tuple[object, ...]) -> None:
    """No test may reach another machine: a text sent by mistake would reach a person."""
    if event != "socket.connect" or not isinstance(address := arguments[1], tuple):
        return
    host = str(address[0]).partition("%")[0]
    if host and host != "localhost" and not ipaddress.ip_address(host).is_loopback:
        raise PermissionError(f"A test tried to reach {host}; tests stay on this machine.")


sys.addaudithook(refuse_other_hosts)

# Thousands of sign-ins must not cost a quarter of a second each; one test holds the real cost.
set_hasher(Hasher(passes=1, memory_kib=8, lanes=1))


@event.listens_for(Engine, "connect")
def last_first(connection: object, _record: object) -> None:
    """Where no order is asked for, SQLite gives the last row first: PostgreSQL may, at any time.

    So what hangs on an order that nobody asked for fails always, and not once in a while.
    """
    if isinstance(connection, sqlite3.Connection):
        connection.execute("PRAGMA reverse_unordered_selects = ON").close()


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Where what the database does is what is tested, a test runs on both kinds."""
    marked = any(mark.name == "both_databases" for mark in metafunc.definition.iter_markers())
    chosen = (mark.args[0] for mark in metafunc.definition.iter_markers("parametrize"))
    if marked and "store" in metafunc.fixturenames and "store" not in chosen:
        metafunc.parametrize("store", KINDS, indirect=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Start the checks of the whole code first: they take longest and would end the run alone."""
    items.sort(key=lambda item: item.path.name != "test_house.py")
