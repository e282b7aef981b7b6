"""Two processes that both note the first tick of a new database."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from time import sleep

import pytest
from sqlmodel import select
from waiting import PATIENCE_S

from rungwise.store.tables import LastTick
from rungwise.ticks.jobs import note_tick

pytestmark = pytest.mark.both_databases

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


def test_the_second_of_two_first_ticks_is_noted_too(store):
    with ThreadPoolExecutor(1) as other:
        with store.write() as session:
            session.add(LastTick(name="send", at=NOW))
            session.flush()
            later = other.submit(note_tick, store, "send", NOW + timedelta(seconds=1))
            sleep(0.2)  # it has looked, and waits for us
        later.result(PATIENCE_S)
    note_tick(store, "send", NOW + timedelta(seconds=2))
    with store.read() as session:
        noted = session.exec(select(LastTick)).all()
    assert [(tick.name, tick.at) for tick in noted] == [("send", NOW + timedelta(seconds=2))]
