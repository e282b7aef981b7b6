"""What is due is done together: no date gets a second text, and each is told its own rung."""

from datetime import timedelta

import pytest

from rungwise.coach.conversation.day_text import task_body
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.situation import load
from rungwise.ladder.body import Body, Equipment, Profile
from rungwise.store.due import due_of, set_due
from rungwise.store.tables import Client, Trainer

pytestmark = pytest.mark.both_databases


def test_a_date_that_has_its_text_gets_no_second(world, caplog):
    world.pass_time(hours=2)
    (prompt,) = world.sent("prompt")
    with world.store.write() as session:
        now = world.clock.now()
        set_due(session, "prompt", world.client_id, now, prompt.local_date)
    world.tick()
    assert world.sent("prompt") == [prompt]
    assert not caplog.records  # it was found in time, and nothing had to be done one by one
    with world.store.read() as session:
        due = due_of(session, "prompt", world.client_id)
        assert due.local_date == prompt.local_date + timedelta(days=1)


def test_each_of_many_is_told_the_rung_of_their_own_ladder(world):
    home = Equipment(mat_layers=4, half_foam_whole=True)
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        for number in range(1, 9):
            new = NewClient(
                name=f"Client {number}", called=f"C{number}", phone=f"+1202555012{number}",
                profile=Profile(Body(240 + number, 90, 170 + 3 * number), home),
                time_zone="America/New_York", language="es" if number % 2 else "en", agreed=True,
            )  # fmt: skip
            client = add_client(session, world.clock.now(), trainer, new)
            situation = load(session, client)
            situation.placement.rung_key = situation.ladder.rungs[7 * number].key
    world.pass_time(hours=2)
    bodies = set()
    with world.store.read() as session:
        for client_id in range(world.client_id, world.client_id + 9):
            situation = load(session, session.get_one(Client, client_id))
            world.client_id = client_id
            (prompt,) = world.sent("prompt")
            telling = situation.telling(first_day=True)
            body = situation.measures.body
            expected = task_body(situation.rung, body, telling, situation.language, {})
            assert prompt.body == expected
            assert prompt.rung_key == situation.rung.key
            bodies.add(prompt.body)
    assert len(bodies) == 9
