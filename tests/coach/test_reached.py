"""Nobody starts unreachable: no first text before a test page to the trainer was answered."""

import re
from datetime import timedelta

import pytest
from other_people import by_wire, texts
from sqlmodel import select
from stored_practice import PROFILE

from rungwise.carriers.base import Accepted
from rungwise.coach.accounts.trainers import change_trainer
from rungwise.coach.alerting.page_test import (
    NotReached,
    NoWay,
    TooSoon,
    WrongCode,
    answer_test_page,
    send_test_page,
    unreached,
)
from rungwise.coach.daily.welcome import welcome
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.store.queries.banner_counts import Scope, watch
from rungwise.store.tables import Alert, Audit, Client, Message, Practice, Trainer

TRAINER, BO = "+12025550101", "+12025550178"


@pytest.fixture
def wire(world):
    """The trainer has answered nothing yet, and Bo is kept without a text."""
    wire = by_wire(world)
    world.tick()
    wire.says = [lambda text: Accepted(f"w-{text.id}")]
    wire.got.clear()
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        trainer.page_answered_at = None
        new = NewClient("Bo Specimen", "Bo", BO, PROFILE, "America/New_York")
        add_client(session, world.clock.now(), trainer, new)
    return wire


def send(world) -> None:
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        send_test_page(session, world.clock.now(), trainer, trainer, {"wire"})
    world.tick()


def code_in(wire) -> str:
    (body,) = [text.body for text in wire.got if text.to_phone == TRAINER]
    assert body.startswith("Test page for Tess Example: nobody fell.")
    return re.search(r"reply 1 (\d\d)", body)[1]


def begin(world) -> None:
    with world.store.write() as session:
        bo = session.exec(select(Client).where(Client.phone == BO)).one()
        welcome(session, world.clock.now(), session.get_one(Practice, bo.practice_id), bo)


def reached(world) -> bool:
    with world.store.read() as session:
        return not unreached(session, session.exec(select(Client).where(Client.phone == BO)).one())


def test_no_first_text_before_a_test_page_was_answered_and_then_it_goes(world, wire):
    with pytest.raises(NotReached, match="Tess Example"):
        begin(world)
    send(world)
    with pytest.raises(NotReached):
        begin(world)  # sent is not answered
    texts(world, TRAINER, f"1 {code_in(wire)}")
    assert reached(world)
    assert wire.got[-1].body.startswith("Thank you, Tess Example: pages reach this phone.")
    begin(world)
    with world.store.read() as session:
        actions = session.exec(select(Audit.action).order_by(Audit.id)).all()
    assert actions[-2:] == ["test page sent", "test page answered"]


def test_who_says_yes_before_that_is_told_to_wait_and_the_trainer_is_told(world, wire):
    texts(world, BO, "YES")
    with world.store.read() as session:
        bo = session.exec(select(Client).where(Client.phone == BO)).one()
        (alert,) = session.exec(select(Alert).where(Alert.client_id == bo.id)).all()
        kinds = session.exec(select(Message.kind).where(Message.client_id == bo.id)).all()
    assert (bo.state, "welcome" in kinds) == ("invited", False)
    assert "something still stands against the first" in alert.system_did


def test_another_phones_code_and_a_wrong_code_show_nothing(world, wire):
    send(world)
    code = code_in(wire)
    wrong = "11" if code != "11" else "12"
    texts(world, "+12025550777", f"1 {code}")
    texts(world, TRAINER, f"1 {wrong}")
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        with pytest.raises(WrongCode):
            answer_test_page(session, world.clock.now(), trainer, trainer, wrong)
    assert not reached(world)


def test_the_code_is_taken_for_a_day(world, wire):
    send(world)
    code = code_in(wire)
    late = world.clock.now() + timedelta(hours=25)
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        with pytest.raises(WrongCode):
            answer_test_page(session, late, trainer, trainer, code)
        answer_test_page(session, world.clock.now(), trainer, trainer, f" {code} ")
    assert reached(world)


def test_another_phone_or_way_is_tested_anew_and_a_second_contact_is_not(world, wire):
    send(world)
    texts(world, TRAINER, f"1 {code_in(wire)}")
    phones = {"phone": TRAINER, "second_contact_name": "Sam", "second_contact_phone": "2025550144"}
    for given, still in ((phones, True), ({**phones, "phone": "2025550155"}, False)):
        with world.store.write() as session:
            trainer = session.get_one(Trainer, world.trainer_id)
            change_trainer(session, world.clock.now(), trainer, trainer, given)
        assert reached(world) is still


def test_a_page_about_a_client_with_that_code_comes_first(world, wire):
    """Both are answered by a digit and a code; what is about a client is what a digit steers."""
    send(world)
    code = code_in(wire)
    texts(world, "+12025550103", "I fell")
    texts(world, TRAINER, "1")
    assert not reached(world)
    texts(world, TRAINER, f"1 {code}")
    assert reached(world)


def test_who_gets_texts_already_goes_on_and_every_page_says_so(world, wire):
    with world.store.read() as session:
        practice = session.exec(select(Practice)).one()
        trainer = session.get_one(Trainer, world.trainer_id)
        lead, own = Scope(practice.id, None), Scope(practice.id, trainer.id)
        assert [watch(session, scope).untested for scope in (lead, own)] == [1, 1]
        assert watch(session, Scope(practice.id, trainer.id + 99)).untested == 0
    world.pass_time(hours=3)
    assert [one for one in wire.got if one.to_phone == "+12025550103"]  # Ada's prompt has gone
    send(world)
    texts(world, TRAINER, "1")
    with world.store.read() as session:
        assert watch(session, lead).untested == 0


def test_where_nothing_reaches_or_one_has_just_gone_none_is_sent(world, wire):
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        with pytest.raises(NoWay):
            send_test_page(session, world.clock.now(), trainer, trainer, {"kannel"})
        send_test_page(session, world.clock.now(), trainer, trainer, {"wire"})
        with pytest.raises(TooSoon):
            send_test_page(session, world.clock.now(), trainer, trainer, {"wire"})
