"""Long texts that come in parts: any order, twice, never whole."""

from datetime import timedelta
from itertools import permutations

import pytest
from sqlmodel import select

from rungwise.carriers.base import InboundText, Part
from rungwise.coach.daily.receive import receive
from rungwise.store.tables import InboundPart, Message

pytestmark = pytest.mark.both_databases

WORDS = ("20 steady but I ", "nearly fell in the ", "kitchen this morning")


@pytest.fixture
def part(world):
    """Let a part come in: `number` of `of`, with an id of its own unless one is given."""
    ids = iter(range(100))

    def come(number, body=None, *, reference=7, of=3, carrier_id=None, phone="+12025550103"):
        inbound = InboundText(
            carrier_id or f"p-{next(ids)}",
            phone,
            "+12025550100",
            WORDS[number - 1] if body is None else body,
            Part(reference, of, number),
        )
        with world.store.write() as session:
            receive(session, world.clock.now(), "handset", inbound)

    return come


def texts(world):
    with world.store.read() as session:
        rows = select(Message).where(Message.direction == "in").order_by(Message.id)
        return [(message.body, message.state) for message in session.exec(rows).all()]


@pytest.mark.parametrize("order", list(permutations((1, 2, 3))))
def test_parts_in_any_order_are_read_as_one_text(world, part, order):
    for number in order:
        assert texts(world) == []
        part(number)
    assert texts(world) == [("".join(WORDS), "read")]
    assert "near_fall" in world.alerts() or "fall" in world.alerts()


def test_a_part_that_comes_again_changes_nothing(world, part):
    part(1, carrier_id="one")
    part(1, carrier_id="one")
    part(1)
    part(2)
    part(3)
    part(2)
    part(1, carrier_id="one")
    assert texts(world) == [("".join(WORDS), "read")]
    world.pass_time(minutes=10)
    assert len(texts(world)) == 1


def test_what_came_is_read_when_the_rest_does_not_come_in_a_minute(world, part):
    part(3)
    part(2)
    world.pass_time(seconds=50)
    assert texts(world) == []
    world.pass_time(seconds=20)
    assert [body for body, _ in texts(world)] == [" … " + WORDS[1] + WORDS[2]]
    assert {"near_fall", "fall"} & set(world.alerts())
    assert "never came" in world.alerts()["unread"].system_did


def test_a_part_after_that_is_read_by_itself(world, part):
    part(2)
    world.pass_time(minutes=2)
    part(1)
    world.pass_time(minutes=2)
    assert len(texts(world)) == 2


def test_a_reference_that_comes_again_begins_another_text(world, part):
    part(1, "I fell down ", of=2)
    part(1, "20 st", of=2)
    part(2, "eady", of=2)
    assert [body for body, _ in texts(world)] == ["I fell down  … ", "20 steady"]
    assert world.client.state == "resting"


def test_two_peoples_parts_are_not_mixed(world, part):
    part(1, "20 ", of=2)
    part(1, "30 ", of=2, phone="+12025550177")
    part(2, "steady", of=2)
    part(2, "wobbly", of=2, phone="+12025550177")
    assert [body for body, _ in texts(world)] == ["20 steady", "30 wobbly"]


def test_the_parts_know_the_text_they_became(world, part):
    for number in (2, 1, 3):
        part(number)
    with world.store.read() as session:
        message = session.exec(select(Message).where(Message.direction == "in")).one()
        parts = session.exec(select(InboundPart)).all()
    assert {part.message_id for part in parts} == {message.id}
    assert message.created_at - parts[0].at < timedelta(seconds=1)


def test_pictures_that_came_along_are_kept_and_told(world):
    inbound = InboundText(
        "with-picture", "+12025550103", "+12025550100", "20 steady", None, ("https://x.org/1",)
    )
    with world.store.write() as session:
        receive(session, world.clock.now(), "handset", inbound)
    with world.store.read() as session:
        kept = session.exec(select(Message).where(Message.direction == "in")).one()
    assert kept.pictures == ["https://x.org/1"]
    assert "picture" in world.alerts()["request"].system_did
