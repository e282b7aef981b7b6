"""A page can be acted on: who, what and the number to ring, a link, and a digit in answer.

The times (30 minutes, 4 hours, 24 hours) and that a digit only steers the pages are the promise of
docs/reliability.md.
"""

import re
from datetime import timedelta

import pytest
from other_people import add_person, by_wire, hear, texts
from screened import unhurt
from sqlmodel import select

from rungwise.carriers.base import Accepted
from rungwise.coach.alerting.digits_used import digits_used
from rungwise.coach.alerting.timeline import timeline
from rungwise.coach.plan.placement import Handling, handle
from rungwise.store.tables import Alert, Audit, Client, Incident, Message, Practice, Trainer

TRAINER, SECOND, CLIENT = "+12025550101", "+12025550102", "+12025550103"
STRANGER, KIN = "+12025550777", "+12025550166"
SERVICE = "https://balance.example.org"


@pytest.fixture
def wire(world):
    wire = by_wire(world)
    world.store.public_url = SERVICE
    world.tick()
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    wire.got.clear()
    yield wire
    world.store.public_url = ""


def fell(world, wire, said: str = "I fell", client_id=None) -> str:
    """The client falls; the code that the page holds."""
    hear(world, client_id or world.client_id, said)
    world.tick()
    return re.search(r"URGENT (\d\d):", to(wire, TRAINER)[-1])[1]


def to(wire, phone: str) -> list[str]:
    return [text.body for text in wire.got if text.to_phone == phone]


def passes(world, wire, **by: float) -> dict[str, int]:
    """Let time pass; how many pages each got."""
    wire.got.clear()
    world.pass_time(**by)
    return {phone: len(got) for phone in (TRAINER, SECOND) if (got := to(wire, phone))}


def incident(world) -> Incident:
    with world.store.read() as session:
        return session.exec(select(Incident).order_by(Incident.id.desc())).first()


def test_a_page_says_who_what_which_number_where_and_how_to_answer(world, wire):
    code = fell(world, wire)
    link = f"{SERVICE}/i/{incident(world).link}"
    assert to(wire, TRAINER) == [
        f"URGENT {code}: Ada reports a fall. Call {CLIENT}. {link} "
        "Reply 1 I have it, 2 phoned, all well so far, 3 can't."
    ]
    assert len(incident(world).link) == 8
    wire.got.clear()
    world.pass_time(minutes=11)
    (again,) = to(wire, TRAINER)
    assert again == (
        f"STILL WAITING {code}: Ada reports a fall, 10 min ago. Call {CLIENT}. {link} "
        "Reply 1, 2 or 3."
    )
    (second,) = to(wire, SECOND)
    assert f"Code {code}." in second
    assert CLIENT not in second


def test_one_is_quiet_for_half_an_hour_and_then_the_pages_begin_anew(world, wire):
    code = fell(world, wire)
    wire.got.clear()
    texts(world, TRAINER, "1")
    assert to(wire, TRAINER) == [
        f"Ada, {code}: you have it. Quiet for 30 minutes, then we ask again if it is not handled."
    ]
    assert passes(world, wire, minutes=29) == {}
    assert passes(world, wire, minutes=2) == {TRAINER: 1}
    assert passes(world, wire, minutes=10) == {TRAINER: 1, SECOND: 1}


def test_two_is_quiet_for_four_hours(world, wire):
    code = fell(world, wire)
    wire.got.clear()
    texts(world, TRAINER, f"2 {code}")
    assert to(wire, TRAINER)[0].startswith(f"Ada, {code}: phoned, all well so far.")
    assert passes(world, wire, hours=3, minutes=58) == {}
    assert passes(world, wire, minutes=4) == {TRAINER: 1}


def test_three_pages_the_next_people_at_once(world, wire):
    code = fell(world, wire)
    wire.got.clear()
    texts(world, TRAINER, "3")
    assert to(wire, TRAINER) == [f"Ada, {code}: passed to the next person."]
    assert len(to(wire, SECOND)) == 1
    # And the chain goes on, with the trainer too.
    assert passes(world, wire, minutes=25) == {TRAINER: 1, SECOND: 1}


def test_the_second_contact_can_answer_too(world, wire):
    code = fell(world, wire)
    world.pass_time(minutes=11)
    wire.got.clear()
    texts(world, SECOND, f"1 {code}")
    assert to(wire, SECOND)[0].startswith(f"Ada, {code}: you have it.")
    assert passes(world, wire, minutes=28) == {}
    assert passes(world, wire, minutes=3) == {TRAINER: 1}


def test_a_digit_handles_nothing_resumes_nothing_and_clears_nothing(world, wire):
    fell(world, wire)
    for body in ("1", "2", "3"):
        texts(world, TRAINER, body)
    assert world.client.state == "resting"
    assert set(world.alerts()) == {"fall"}
    assert world.alerts()["fall"].state == "new"


@pytest.mark.parametrize("phone", [STRANGER, SECOND])
def test_it_counts_only_from_a_phone_that_was_paged(world, wire, phone):
    """The second contact has not been paged yet."""
    code = fell(world, wire)
    texts(world, phone, f"1 {code}")
    assert incident(world).held_until is None
    assert passes(world, wire, minutes=11) == {TRAINER: 1, SECOND: 1}


def test_a_clients_own_digit_answers_no_page_about_them(world, wire):
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).second_contact_phone = CLIENT
    code = fell(world, wire)
    world.pass_time(minutes=11)
    texts(world, CLIENT, f"1 {code}")
    assert incident(world).held_until is None


def test_a_client_who_is_the_second_contact_answers_with_the_code_alone(world, wire):
    bea = "+12025550344"
    add_person(world, bea, "Bea")
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).second_contact_phone = bea
    code = fell(world, wire)
    world.pass_time(minutes=11)
    texts(world, bea, "1")
    assert incident(world).held_until is None
    texts(world, bea, f"1 {code}")
    assert incident(world).held_until is not None


def test_with_two_incidents_the_code_is_wanted(world, wire):
    first = fell(world, wire)
    bea = add_person(world, "+12025550344", "Bea")
    second = fell(world, wire, client_id=bea)
    assert first != second
    wire.got.clear()
    texts(world, TRAINER, "1")
    assert to(wire, TRAINER) == [f"Which one? Reply the digit and the code, like: 1 {second}."]
    texts(world, TRAINER, "1 99" if "99" not in (first, second) else "1 98")
    assert to(wire, TRAINER)[-1].startswith("Which one?")
    texts(world, TRAINER, f"1, code {first}")
    assert to(wire, TRAINER)[-1].startswith(f"Ada, {first}: you have it.")
    held = {}
    with world.store.read() as session:
        for each in session.exec(select(Incident)).all():
            held[each.code] = each.held_until is not None
    assert held == {first: True, second: False}


def test_a_page_of_more_than_a_day_ago_is_answered_by_nothing(world, wire):
    fell(world, wire)
    with world.store.write() as session:
        alert = session.exec(select(Alert)).one()
        alert.urgency = "today"  # no more pages
    world.pass_time(hours=25)
    wire.got.clear()
    texts(world, TRAINER, "1")
    assert incident(world).held_until is None


def test_what_is_handled_already_says_who_did_it(world, wire):
    code = fell(world, wire)
    with world.store.write() as session:
        alert = session.exec(select(Alert)).one()
        trainer = session.get_one(Trainer, world.trainer_id)
        handling = Handling("phoned", after_fall=unhurt())
        handle(session, world.clock.now(), trainer, alert, None, handling)
    wire.got.clear()
    texts(world, TRAINER, "2")
    assert to(wire, TRAINER) == [f"Ada, {code}: Tess Example has handled it."]


@pytest.mark.parametrize("digit", ["1", "2"])
def test_a_new_sign_pages_whatever_was_answered(world, wire, digit):
    fell(world, wire)
    texts(world, TRAINER, digit)
    world.pass_time(minutes=1)
    wire.got.clear()
    hear(world, world.client_id, "chest pain")
    world.tick()
    assert len(to(wire, TRAINER)) == 1


@pytest.mark.parametrize(
    "body", ["11", "1 I think", "4", "147", "I have 1", "1 4", "1 475", "one", ""]
)
def test_what_is_no_digit_is_a_text_like_any_other(world, wire, body):
    fell(world, wire)
    texts(world, TRAINER, body)
    assert incident(world).held_until is None


@pytest.mark.parametrize("body", ["1", " 1. ", "1!", "(1)", "1\n"])
def test_a_digit_may_come_with_what_thumbs_add(world, wire, body):
    fell(world, wire)
    texts(world, TRAINER, body)
    assert incident(world).held_until is not None


def test_each_use_is_on_the_alert_in_the_trail_and_in_the_line_of_time(world, wire):
    code = fell(world, wire)
    texts(world, TRAINER, "1")
    world.pass_time(minutes=45)
    texts(world, SECOND, f"3 {code}")
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        found = session.exec(select(Incident)).one()
        acts = [(one.who, one.did) for one in timeline(session, client, found) if one.what == "did"]
        rows = select(Audit).where(Audit.action == "page answered")
        lines = session.exec(rows.order_by(Audit.id)).all()
        did = session.exec(select(Alert)).one().system_did
    assert acts == [("Tess Example", "page answered 1"), ("Sam Second", "page answered 3")]
    assert [line.detail["digit"] for line in lines] == [1, 3]
    assert "Tess Example answered the page: has it." in did
    assert "Sam Second answered the page: cannot." in did


def test_the_letter_names_nobody_and_gives_the_link(world, wire):
    with world.store.write() as session:
        session.get_one(Trainer, world.trainer_id).page_by = "email"
    hear(world, world.client_id, "I fell")
    with world.store.read() as session:
        # No mail server is set up here, so that a text follows it.
        rows = select(Message).where(Message.kind == "page").order_by(Message.id)
        letter, _text = session.exec(rows).all()
    head, link = letter.body.splitlines()
    assert "Ada" not in letter.body
    assert CLIENT not in letter.body
    assert head == "URGENT: a client reports a fall. Please open the alert inbox now."
    assert link == f"{SERVICE}/i/{incident(world).link}"


def test_where_nobody_set_the_address_the_page_names_the_inbox(world, wire):
    world.store.public_url = ""
    fell(world, wire)
    assert "Open the alert inbox." in to(wire, TRAINER)[0]


def test_the_link_is_good_for_a_day_from_the_last_page(world, wire):
    fell(world, wire)
    begun = world.clock.now()
    assert incident(world).link_until == begun + timedelta(hours=24)
    world.pass_time(minutes=11)
    assert incident(world).link_until == begun + timedelta(hours=24, minutes=10)


# --- what a practice lets pages say, and what its lead sees ---------------------------------------


def allow(world, **settings):
    with world.store.write() as session:
        practice = session.exec(select(Practice)).first()
        for name, value in settings.items():
            setattr(practice, name, value)


def test_the_clients_words_are_in_a_page_only_where_the_practice_wants_them(world, wire):
    fell(world, wire, "I fell in the kitchen")
    assert "kitchen" not in to(wire, TRAINER)[-1]
    allow(world, words_in_pages=True)
    wire.got.clear()
    world.pass_time(minutes=11)
    assert to(wire, TRAINER)[-1].endswith('"I fell in the kitchen"')
    # Not to the second contact: they are told whom to call, and nothing else.
    assert "kitchen" not in to(wire, SECOND)[-1]


def test_long_words_are_cut_and_signs_that_no_text_carries_left_out(world, wire):
    allow(world, words_in_pages=True)
    fell(world, wire, "I fell \U0001f622 on my way to the garden " + "and lay there a while " * 9)
    said = to(wire, TRAINER)[-1].partition(' "')[2]
    assert said.startswith("I fell on my way to the garden and lay")
    assert said.endswith('..."')
    assert len(said) <= 101


def test_the_second_contacts_text_has_the_numbers_only_where_the_client_agreed(world, wire):
    fell(world, wire)
    world.pass_time(minutes=11)
    assert CLIENT not in to(wire, SECOND)[-1]
    for kin, numbers in ((None, CLIENT), (KIN, f"{CLIENT}, next of kin {KIN}")):
        with world.store.write() as session:
            client = session.get_one(Client, world.client_id)
            client.number_to_second, client.kin_phone = True, kin
        wire.got.clear()
        world.pass_time(hours=3)
        assert f"Ada, {numbers}, reports a fall" in to(wire, SECOND)[-1]


def test_a_page_has_the_number_of_the_next_of_kin(world, wire):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        client.kin_name, client.kin_phone = "Tom Sample", KIN
    fell(world, wire)
    assert f"Call {CLIENT}, next of kin {KIN}. " in to(wire, TRAINER)[-1]
    assert "Tom" not in to(wire, TRAINER)[-1]


def test_the_lead_sees_each_use_of_a_digit(world, wire):
    code = fell(world, wire)
    texts(world, TRAINER, f"1 {code}")
    world.pass_time(minutes=45)
    texts(world, SECOND, f"3 {code}")
    texts(world, STRANGER, f"2 {code}")
    with world.store.read() as session:
        practice = session.exec(select(Practice)).first()
        used = digits_used(session, world.clock.now(), practice)
        later = digits_used(session, world.clock.now() + timedelta(days=31), practice)
    assert [(one.digit, one.by_second_contact) for one in used] == [(3, True), (1, False)]
    assert {one.incident_id for one in used} == {incident(world).id}
    assert all(one.client.startswith("Ada") and one.trainer for one in used)
    assert later == []
