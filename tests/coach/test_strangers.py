"""Texts from phones that are no client's: heard, paged, answered within caps, and given away."""

import pytest
from other_people import add_person, add_practice, by_wire, hear, ticks_for
from sqlmodel import select

from rungwise.carriers.base import InboundText
from rungwise.coach.daily.receive import receive
from rungwise.coach.daily.strangers import (
    MOST_ABROAD,
    MOST_ANSWERS,
    belongs_to,
    open_strangers,
    set_aside,
    texts_of,
)
from rungwise.store.tables import Alert, Client, ClientPhone, Message, MoveRow, Trainer

TRAINER, SECOND, CLIENT = "+12025550101", "+12025550102", "+12025550103"
DAUGHTER = "+12025550177"
SAID = "This is Ada's daughter, Mum fell and can't get up"


def texts(world, phone: str, said: str, to_phone: str = "+12025550100") -> None:
    world.ids += 1
    with world.store.write() as session:
        inbound = InboundText(f"s-{world.ids}", phone, to_phone, said)
        receive(session, world.clock.now(), "wire", inbound)
    world.tick()


@pytest.fixture
def wire(world):
    wire = by_wire(world)
    world.tick()
    wire.got.clear()
    return wire


def to(wire, phone: str) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == phone]


def strangers(world, practice_id: int = 1) -> list[list[str]]:
    """The texts of each unknown number that is listed."""
    with world.store.read() as session:
        found = open_strangers(session, practice_id)
        return [[text.body for text in texts_of(session, one.id)] for one in found]


def alerts_of(world, client_id: int) -> dict[str, Alert]:
    with world.store.read() as session:
        rows = select(Alert).where(Alert.client_id == client_id, Alert.state != "handled")
        return {alert.kind: alert for alert in session.exec(rows).all()}


def act(world, what, *more) -> None:
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        (stranger,) = open_strangers(session, 1)
        what(session, world.clock.now(), trainer, stranger, *more)


def whose(world, said: str = "daughter") -> None:
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
    act(world, belongs_to, client, said)


def test_a_fall_told_from_an_unknown_phone_pages_is_answered_and_listed(world, wire):
    texts(world, DAUGHTER, SAID)
    (page,) = to(wire, TRAINER)
    assert page.startswith("URGENT: a text from an unknown number reports an emergency sign.")
    (answer,) = to(wire, DAUGHTER)
    assert answer.startswith("If somebody is hurt or can't get up, call 911 now.")
    assert strangers(world) == [[SAID]]
    assert alerts_of(world, world.client_id) == {}
    assert world.client.state == "active", "it rests nobody until somebody says whom it is about"


def test_it_is_paged_again_until_somebody_deals_with_it(world, wire):
    texts(world, DAUGHTER, SAID)
    ticks_for(world, every_s=60, minutes=31)
    assert len(to(wire, TRAINER)) == 3
    act(world, set_aside)
    wire.got.clear()
    ticks_for(world, every_s=60, hours=5)
    assert to(wire, TRAINER) == []
    assert strangers(world) == []


def test_another_text_pages_nobody_and_is_listed_and_answered_once_a_day(world, wire):
    for said in ("What time is the class?", "Hello?"):
        texts(world, DAUGHTER, said)
    assert to(wire, TRAINER) == []
    assert len(to(wire, DAUGHTER)) == 1
    assert strangers(world) == [["What time is the class?", "Hello?"]]


def test_once_somebody_says_whose_phone_it_is_its_fall_is_the_clients(world, wire):
    texts(world, DAUGHTER, SAID)
    wire.got.clear()
    whose(world)
    world.tick()
    assert alerts_of(world, world.client_id)["emergency"].urgency == "urgent"
    assert world.client.state == "resting"
    assert any("Ada" in body for body in to(wire, TRAINER))
    assert strangers(world) == []


def test_a_second_phones_sign_is_the_clients_and_its_safety_text_goes_there(world, wire):
    texts(world, DAUGHTER, "Hello?")
    whose(world)
    wire.got.clear()
    texts(world, DAUGHTER, "Mum fell in the bath")
    assert alerts_of(world, world.client_id)["fall"].urgency == "urgent"
    assert world.client.state == "resting"
    (answer,) = to(wire, DAUGHTER)
    assert "If the person is hurt" in answer
    assert "911" in answer
    assert to(wire, CLIENT) == []
    # It asks whether the person is hurt, so that a yes must count.
    texts(world, DAUGHTER, "YES")
    assert alerts_of(world, world.client_id)["emergency"].urgency == "urgent"


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("Mum fell in the bath", "fall"),
        ("My mother has fallen", "fall"),
        ("Ada fell this morning", "fall"),
        ("she fell and hurt her hip", "emergency"),
        ("Mum's knee hurts badly", "pain"),
        ("she is dizzy", "dizziness"),
        ("mi madre se cayó", "fall"),
        ("se ha caído y no puede levantarse", "emergency"),
    ],
)
def test_what_somebody_tells_of_the_client_is_the_clients(world, wire, said, kind):
    texts(world, DAUGHTER, "Hello?")
    whose(world)
    if "se " in said:
        with world.store.write() as session:
            session.get_one(Client, world.client_id).language = "es"
    texts(world, DAUGHTER, said)
    assert kind in alerts_of(world, world.client_id)
    assert world.client.state == "resting"


@pytest.mark.parametrize("said", ["20 seconds steady", "she wants an easier one please"])
def test_a_second_phones_results_and_wishes_wait_for_the_trainer(world, wire, said):
    texts(world, DAUGHTER, "Hello?")
    whose(world)
    wire.got.clear()
    with world.store.read() as session:
        before = len(session.exec(select(MoveRow)).all())
    texts(world, DAUGHTER, said)
    with world.store.read() as session:
        assert len(session.exec(select(MoveRow)).all()) == before
    assert "request" in alerts_of(world, world.client_id)
    assert len(to(wire, DAUGHTER)) == 1


def test_stop_from_a_second_phone_ends_answers_to_that_phone_only(world, wire):
    texts(world, DAUGHTER, "Hello?")
    whose(world)
    texts(world, DAUGHTER, "STOP")
    wire.got.clear()
    texts(world, DAUGHTER, "20 seconds steady")
    texts(world, DAUGHTER, "STOP")
    assert to(wire, DAUGHTER) == []
    assert world.client.state == "active"
    hear(world, world.client_id, "20 steady")
    assert to(wire, CLIENT)
    # A report of harm is answered all the same, as a client's is after STOP.
    texts(world, DAUGHTER, "Mum fell")
    assert to(wire, DAUGHTER)


def test_a_second_phone_gets_no_text_but_answers(world, wire):
    texts(world, DAUGHTER, "Hello?")
    whose(world)
    wire.got.clear()
    ticks_for(world, every_s=600, hours=30)
    assert to(wire, CLIENT)
    assert to(wire, DAUGHTER) == []


def test_answers_to_strangers_are_capped_by_practice_and_abroad(world, wire):
    for number in range(MOST_ABROAD + 5):
        texts(world, f"+4479460001{number:02}", "hello")
    assert len([text for text in wire.got if text.to_phone.startswith("+44")]) == MOST_ABROAD
    for number in range(MOST_ANSWERS + 5):
        texts(world, f"+1202555{2000 + number}", "hello")
    assert len(wire.got) == MOST_ANSWERS
    # Whoever tells of harm is heard all the same.
    texts(world, DAUGHTER, SAID)
    assert to(wire, TRAINER)


# --- to a number that is nobody's -----------------------------------------------------------------


NOBODYS = "+12025559999"


def test_with_several_practices_a_text_to_an_unknown_number_finds_its_one_client(world, wire):
    add_practice(world, "+12025550160")
    other = add_person(world, "+12025550104", practice_id=2)
    texts(world, "+12025550104", "I fell", NOBODYS)
    assert "fall" in alerts_of(world, other)
    assert to(wire, "+12025550169")
    assert to(wire, TRAINER) == []


def test_where_two_practices_have_that_phone_each_gets_the_alert_and_none_guesses(world, wire):
    add_practice(world, "+12025550160")
    other = add_person(world, CLIENT, practice_id=2)
    with world.store.read() as session:
        before = len(session.exec(select(MoveRow)).all())
    texts(world, CLIENT, "20 seconds steady", NOBODYS)
    with world.store.read() as session:
        assert len(session.exec(select(MoveRow)).all()) == before
    for client_id in (world.client_id, other):
        assert alerts_of(world, client_id)["unread"].urgency == "urgent"
    texts(world, CLIENT, "I fell", NOBODYS)
    for client_id, phone in ((world.client_id, TRAINER), (other, "+12025550169")):
        assert "fall" in alerts_of(world, client_id)
        assert to(wire, phone)
    with world.store.read() as session:
        rows = select(Message.practice_id).where(Message.direction == "in")
        assert sorted(session.exec(rows).all()) == [1, 1, 2, 2]
    # A repeat of the carrier's changes nothing.
    count = len(wire.got)
    world.ids -= 1
    texts(world, CLIENT, "I fell", NOBODYS)
    assert len(wire.got) == count


def test_a_stranger_to_an_unknown_number_is_listed_and_paged(world, wire):
    add_practice(world, "+12025550160")
    texts(world, DAUGHTER, SAID, NOBODYS)
    assert to(wire, TRAINER)
    assert strangers(world) == [[SAID]]
    with world.store.read() as session:
        assert session.exec(select(ClientPhone)).first() is None
