"""A carrier's call while the database goes away, and one that breaks off."""

import asyncio
from datetime import UTC, datetime

import pytest
from sqlalchemy import event, text
from sqlmodel import select
from stores import empty

from rungwise.app import create_app
from rungwise.carriers.base import Heard, InboundText
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.tables import Message, Practice
from rungwise.web.callbacks.inbound_batch import Call, store_calls

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
PRACTICE = "+12025550100"
HANG_UP = [
    {"type": "http.request", "body": b"from=%2B12", "more_body": True},
    {"type": "http.disconnect"},
]


def parts_on(store: Store) -> Parts:
    with store.write() as session:
        session.add(Practice(name="Harbour Balance", phone=PRACTICE, created_at=NOW))
    settings = Settings(database_url=store.url, ticks=False)
    return Parts(settings, store, HandClock(NOW), {"handset": Handset("x" * 20)})


def cut_connections(url: str) -> None:
    """What the database does to everybody when it is restarted."""
    other = Store(url)
    with other.write() as session:
        session.execute(
            text(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )
        )
    other.close()


class CutOnceStored:
    """Cuts every connection to the database, once: after the first text is stored, uncommitted."""

    def __init__(self, store: Store) -> None:
        self.url = store.url
        self.cuts = 0
        event.listen(store.engine, "after_cursor_execute", self.executed)

    def executed(self, _connection, _cursor, statement: str, *_rest: object) -> None:
        if statement.startswith("INSERT INTO message") and not self.cuts:
            self.cuts += 1
            cut_connections(self.url)


@pytest.mark.postgres
def test_a_call_is_stored_once_though_its_connection_to_the_database_is_cut(postgres_store):
    parts = parts_on(postgres_store)
    phones = ("+13035550101", "+13035550102")
    came = [InboundText(f"in-{phone}", phone, PRACTICE, "20 steady") for phone in phones]
    cut = CutOnceStored(postgres_store)
    calls = [Call("handset", Heard(texts=(each,))) for each in came]
    stored = store_calls(parts, calls)
    event.remove(postgres_store.engine, "after_cursor_execute", cut.executed)
    assert cut.cuts == 1
    assert all(isinstance(ids, list) for ids in stored)
    with parts.store.read() as session:
        rows = select(Message.carrier_id).where(Message.direction == "in")
        assert sorted(session.exec(rows).all()) == [f"in-{phone}" for phone in phones]
    empty(postgres_store)


def test_a_call_that_breaks_off_is_no_error_of_ours(store):
    parts = parts_on(store)
    answers = []

    async def receive():
        return came.pop(0)

    async def send(event):
        answers.append(event)

    came = list(HANG_UP)
    scope = {
        "type": "http",
        "method": "POST",
        "path": "/in/handset",
        "query_string": b"",
        "headers": [(b"host", b"x"), (b"content-type", b"application/x-www-form-urlencoded")],
        "scheme": "http",
        "server": ("127.0.0.1", 8780),
        "http_version": "1.1",
    }
    asyncio.run(create_app(parts=parts)(scope, receive, send))
    assert answers[0]["status"] == 400
