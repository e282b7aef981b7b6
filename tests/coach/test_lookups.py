"""No tick, reply or look at the service reads a large table from end to end."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import event

from rungwise.coach.monitoring.health import health
from rungwise.coach.monitoring.metrics import figures
from rungwise.coach.monitoring.outage_notices import watch_carriers

# Tables that grow with clients and years. A small index of them may be read whole.
LARGE = ("message", "report", "move", "question", "due", "alert", "alert_message", "client", "plan")
SMALL_INDEXES = ("message_outbox", "message_leased", "message_others", "alert_open", "alert_unread")


@pytest.fixture
def asked(world):
    """Every statement from now on, with its values."""
    found = {}

    def note(_connection, _cursor, statement, values, _context, many):
        if statement.startswith(("SELECT", "UPDATE", "DELETE")):
            found.setdefault(statement, values[0] if many else values)

    event.listen(world.store.engine, "before_cursor_execute", note)
    yield found
    event.remove(world.store.engine, "before_cursor_execute", note)


def whole(store, asked):
    """What is read from end to end, by the database's own plans."""
    found = []
    with store.engine.connect() as connection:
        for statement, values in dict(asked).items():
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values):
                scanned = re.match(r"SCAN (\w+)(?: USING (?:COVERING )?INDEX (\w+))?", row[3])
                if not scanned or scanned[1] not in LARGE or scanned[2] in SMALL_INDEXES:
                    continue
                # The first or last few in order are no more with a million rows.
                if "LIMIT" not in statement:
                    found.append((row[3], statement))
    return found


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_days_of_prompts_and_replies_read_no_large_table_whole(world, asked):
    for said in ("20 steady", "20", "yes", "what is a mat?", "I fell", "no", "HELP", "STOP"):
        world.pass_time(hours=26)
        world.reply(said)
        world.reply(said)
    assert len(asked) > 50
    assert whole(world.store, asked) == []


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_what_is_looked_at_again_and_again_reads_no_large_table_whole(world, asked):
    world.pass_time(hours=26)
    world.reply("I fell")
    asked.clear()
    now = world.clock.now()
    with world.store.read() as session:
        health(session, now, now, ticks=True)
        figures(session, now, ["handset"])
    watch_carriers(world.store, now, {"handset"}, timedelta(minutes=5))
    assert len(asked) > 10
    assert whole(world.store, asked) == []


@pytest.mark.parametrize("store", ["sqlite"], indirect=True)
def test_a_look_through_a_large_table_would_be_seen(world, asked):
    with world.store.read() as session:
        session.connection().exec_driver_sql("SELECT id FROM message WHERE body = ?", ("x",))
    assert [scan for scan, _ in whole(world.store, asked)] == ["SCAN message"]
