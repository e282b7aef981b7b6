"""An incident: signs of one episode are one chain of pages, counted."""

from collections import Counter
from datetime import timedelta

import pytest
from other_people import add_person, by_wire, hear
from screened import unhurt
from sqlmodel import select

from rungwise.carriers.base import Accepted
from rungwise.coach.alerting.alerts import see
from rungwise.coach.alerting.incidents import alerts_of, open_incident
from rungwise.coach.plan.placement import Handling, handle
from rungwise.store.due import due_of
from rungwise.store.tables import Alert, Incident, Trainer

TRAINER, SECOND = "+12025550101", "+12025550102"
# The steps of a chain, in minutes after the first page, as docs/reliability.md has them.
STEPS = (0, 10, 30, 70, 150, 310, 550)


@pytest.fixture
def wire(world):
    wire = by_wire(world)
    world.tick()
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    wire.got.clear()
    return wire


def told(world, text: str) -> None:
    hear(world, world.client_id, text)


def pages(wire) -> Counter[str]:
    return Counter(text.to_phone for text in wire.got if text.to_phone in (TRAINER, SECOND))


def opened(world, kind: str = "fall") -> None:
    with world.store.write() as session:
        alert = session.exec(select(Alert).where(Alert.kind == kind)).one()
        see(session, world.clock.now(), session.get_one(Trainer, world.trainer_id), alert)


def test_a_fall_with_pain_pages_nobody_more_than_once_a_step(world, wire):
    begun, arrived = world.clock.now(), []

    def says(text):
        if text.to_phone in (TRAINER, SECOND):
            arrived.append((text.to_phone, world.clock.now() - begun))
        return Accepted(f"w-{text.id}")

    wire.says = [says]
    told(world, "I fell and my knee hurts")
    world.pass_time(hours=10)
    for phone, steps in ((TRAINER, STEPS), (SECOND, STEPS[1:])):
        minutes = [round(after / timedelta(minutes=1)) for to, after in arrived if to == phone]
        assert len(minutes) == len(steps)
        assert all(abs(at - step) <= 1 for at, step in zip(minutes, steps, strict=True)), minutes


def test_signs_of_one_text_and_of_an_open_episode_are_one_incident(world, wire):
    told(world, "I fell and my knee hurts")
    world.pass_time(minutes=5)
    told(world, "now I feel very dizzy")
    with world.store.read() as session:
        incident = session.exec(select(Incident)).one()
        kinds = [alert.kind for alert in alerts_of(session, incident.id)]
    assert {"fall", "pain", "dizziness"} <= set(kinds)


def test_opening_one_sign_stops_the_pages_about_all_for_half_an_hour(world, wire):
    told(world, "I fell and my knee hurts")
    world.pass_time(minutes=2)
    opened(world)
    wire.got.clear()
    world.pass_time(minutes=29)
    assert pages(wire) == {}
    world.pass_time(minutes=3)
    assert pages(wire) == {TRAINER: 1}
    assert {alert.state for alert in world.alerts().values()} == {"new"}


@pytest.mark.parametrize(
    "text", ["I feel very dizzy", "I fell again in the bath", "yes I am hurt", "chest pain"]
)
def test_a_new_sign_another_fall_or_hurt_begins_the_chain_anew(world, wire, text):
    told(world, "I fell in the kitchen")
    world.pass_time(minutes=45)  # three steps have gone
    opened(world)
    wire.got.clear()
    told(world, text)
    world.pass_time(minutes=1)
    # At once, to the trainer, and not yet to the second contact.
    assert pages(wire) == {TRAINER: 1}
    with world.store.read() as session:
        incident = open_incident(session, world.client_id)
        due = due_of(session, "chain", incident.id)
        assert (incident.pages, incident.held_until) == (1, None)
        assert due.at - world.clock.now() <= timedelta(minutes=10)


def test_the_same_told_again_with_a_word_that_points_back_is_a_line(world, wire):
    told(world, "I fell in the kitchen")
    world.pass_time(minutes=2)
    opened(world)
    wire.got.clear()
    told(world, "as I said, I fell in the kitchen")
    world.pass_time(minutes=1)
    assert pages(wire) == {}


def test_one_that_is_handled_leaves_the_chain_to_the_others_and_the_last_ends_it(world, wire):
    told(world, "I fell and my knee hurts")
    world.pass_time(minutes=1)
    handled(world, "fall")
    wire.got.clear()
    world.pass_time(minutes=12)
    assert pages(wire) == {TRAINER: 1, SECOND: 1}
    for kind in list(world.alerts()):
        handled(world, kind)
    wire.got.clear()
    world.pass_time(hours=5)
    assert pages(wire) == {}
    with world.store.read() as session:
        assert session.exec(select(Incident)).one().closed_at is not None


def handled(world, kind: str) -> None:
    with world.store.write() as session:
        rows = select(Alert).where(Alert.kind == kind, Alert.state != "handled")
        trainer = session.get_one(Trainer, world.trainer_id)
        handle(
            session,
            world.clock.now(),
            trainer,
            session.exec(rows).one(),
            None,
            Handling("phoned", after_fall=unhurt()),
        )


def test_another_clients_open_incident_has_another_code(world, wire):
    other = add_person(world, "+12025550344", "Bo")
    told(world, "I fell")
    hear(world, other, "I fell")
    with world.store.read() as session:
        found = session.exec(select(Incident)).all()
    assert len({incident.code for incident in found}) == 2
    assert all(len(incident.code) == 2 and incident.code.isdigit() for incident in found)
