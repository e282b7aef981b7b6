"""Erasing on both databases: nothing of the client is left, and the others go on."""

import pytest
from sqlmodel import select

from rungwise.coach.data.erase import erase_client, scrub
from rungwise.coach.data.export_rows import counted, rows_of
from rungwise.coach.record.audit import broken_at
from rungwise.store.tables import Client, Practice, Trainer

pytestmark = pytest.mark.both_databases


def test_everything_of_a_client_goes_and_the_trail_holds(world) -> None:
    world.pass_time(hours=2)
    world.reply("20 steady")
    world.reply("no, 25")
    world.pass_time(days=1)
    world.reply("18")
    world.reply("wobbly, and then I fell")
    world.pass_time(hours=1)
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        held = counted(session, client.id)
        assert {"message", "report", "move", "alert", "question", "alert_message"} <= set(held)
        trainer = session.get_one(Trainer, world.trainer_id)
        erase_client(session, world.clock.now(), trainer, client, client.name)
    assert scrub(world.store)
    with world.store.read() as session:
        for table, condition in rows_of([world.client_id]).items():
            assert session.execute(table.select().where(condition)).all() == [], table.name
        assert broken_at(session, session.exec(select(Practice)).one()) is None
    # Nothing due about them is left to fail on.
    world.pass_time(days=3)
    assert all("Ada" not in page.body for page in world.pages())
