"""A machine that answers every text: noticed, no longer answered, shown; harm is still heard."""

from datetime import timedelta
from random import Random

import pytest
from other_people import by_wire
from sqlmodel import col, func, select

from rungwise.carriers.base import InboundText
from rungwise.coach.conversation.automatic import KIND, MOST_ALIKE, MOST_IN_AN_HOUR
from rungwise.coach.daily.receive import receive
from rungwise.store.tables import AlertMessage, Client, ClientPhone, Message

ROUNDS, APART = 300, timedelta(seconds=61)
WORDS = (
    *("river", "window", "orange", "letter", "garden", "silver", "basket", "candle", "morning"),
    *("copper", "pencil", "meadow", "harbor", "velvet", "lantern", "thimble", "saddle", "pepper"),
)


@pytest.fixture
def wire(world):
    wire = by_wire(world)
    world.tick()
    wire.got.clear()
    return wire


def answers(wire, phone: str) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == phone]


def rounds(world, said, count: int = ROUNDS) -> None:
    for number in range(count):
        world.clock.set(world.clock.now() + APART)
        world.reply(said(number))


def never_alike(number: int) -> str:
    return " ".join(Random(number).sample(WORDS, 5))


def test_three_hundred_texts_that_differ_get_few_answers_and_all_are_kept(world, wire):
    phone = world.client.phone
    rounds(world, never_alike)
    got = answers(wire, phone)
    assert MOST_IN_AN_HOUR <= len(got) <= MOST_IN_AN_HOUR + 3, got
    assert sum("stop answering" in text for text in got) == 1
    alert = world.alerts()[KIND]
    assert (alert.urgency, alert.state) == ("today", "new")
    with world.store.read() as session:
        kept = select(func.count(col(Message.id))).where(
            Message.direction == "in", col(Message.reading).is_not(None)
        )
        assert session.exec(kept).one() == ROUNDS


def test_the_same_words_with_another_number_are_noticed_sooner(world, wire):
    rounds(world, lambda number: f"Thank you for your message. Reference {4000 + 17 * number}.", 60)
    assert len(answers(wire, world.client.phone)) <= MOST_ALIKE + 2
    assert KIND in world.alerts()


def test_a_fall_and_stop_are_heard_from_a_phone_that_is_no_longer_answered(world, wire):
    phone = world.client.phone
    rounds(world, never_alike, 40)
    wire.got.clear()
    world.clock.set(world.clock.now() + APART)
    world.reply("I fell in the kitchen and my hip hurts")
    assert "911" in answers(wire, phone)[0]
    assert [text for text in wire.got if text.to_phone != phone], "the trainer is paged"
    assert world.client.state == "resting"
    world.clock.set(world.clock.now() + APART)
    world.reply("STOP")
    assert world.client.state == "stopped"


def test_a_machine_whose_words_tell_of_a_fall_is_paged_about_and_seldom_answered(world, wire):
    phone = world.client.phone
    rounds(world, lambda number: f"{never_alike(number)}. I fell in the kitchen.", 120)
    got = answers(wire, phone)
    assert len(got) <= MOST_IN_AN_HOUR + 3, "the safety text once an hour"
    pages = [text for text in wire.got if text.to_phone != phone]
    assert MOST_IN_AN_HOUR <= len(pages) <= MOST_IN_AN_HOUR + 20, "repeated while nobody looks"
    assert world.alerts()["fall"].urgency == "urgent"


def test_no_day_is_taken_from_a_machine(world, wire):
    rounds(world, never_alike, 30)
    before = world.situation.placement.rung_key, len(world.moves())
    world.clock.set(world.clock.now() + APART)
    world.reply("20 steady")
    assert (world.situation.placement.rung_key, len(world.moves())) == before


def test_who_writes_less_again_is_answered_again(world, wire):
    rounds(world, never_alike, 30)
    wire.got.clear()
    world.clock.set(world.clock.now() + timedelta(hours=1))
    world.reply("20 steady")
    assert len(answers(wire, world.client.phone)) == 1


def test_a_person_in_trouble_who_writes_a_dozen_texts_is_answered_each_time(world, wire):
    phone = world.client.phone
    for said in ("I fell", "hello?", "are you there", "it hurts", "please", "my hip", "hello?"):
        world.clock.set(world.clock.now() + APART)
        before = len(answers(wire, phone))
        world.reply(said)
        assert len(answers(wire, phone)) > before, said
    assert KIND not in world.alerts()


def test_nothing_goes_to_a_stopped_client_whose_phone_is_a_machine(world, wire):
    world.reply("STOP")
    wire.got.clear()
    rounds(world, lambda number: f"Thank you for your message. Reference {4000 + number}.", 40)
    assert answers(wire, world.client.phone) == []
    with world.store.read() as session:
        assert session.get_one(Client, world.client_id).state == "stopped"


def test_after_stop_what_may_be_harm_is_answered_once_a_day_and_always_told(world, wire):
    world.reply("STOP")
    wire.got.clear()
    for hours, said in (
        (0, "my head feels funny"),
        (1, "felt odd when standing up"),
        (1, "head still feels funny"),
    ):
        world.clock.set(world.clock.now() + timedelta(hours=hours))
        world.reply(said)
    (only,) = answers(wire, world.client.phone)
    assert "Please rest" in only
    alert = world.alerts()["dizziness"]
    assert alert.urgency == "urgent"
    with world.store.read() as session:
        told = select(func.count()).where(col(AlertMessage.alert_id) == alert.id)
        assert session.exec(told).one() == 3
    world.clock.set(world.clock.now() + timedelta(days=1))
    world.reply("my head feels funny")
    assert len(answers(wire, world.client.phone)) == 2
    world.reply("I fell")
    assert "Are you hurt" in answers(wire, world.client.phone)[-1]


def test_a_second_phone_that_answers_everything_is_answered_once_an_hour(world, wire):
    daughter = "+12025550177"
    with world.store.write() as session:
        phone = ClientPhone(
            practice_id=1,
            client_id=world.client_id,
            phone=daughter,
            whose="daughter",
            added_at=world.clock.now(),
        )
        session.add(phone)
    for number in range(120):
        world.clock.set(world.clock.now() + APART)
        with world.store.write() as session:
            said = f"Thank you for your message. Reference {4000 + number}."
            inbound = InboundText(f"d-{number}", daughter, "+12025550100", said)
            receive(session, world.clock.now(), "wire", inbound)
        world.tick()
    assert 1 <= len(answers(wire, daughter)) <= 4
