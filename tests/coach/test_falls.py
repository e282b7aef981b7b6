"""Falls of clients, told and recorded: one fall is one fall."""

from datetime import date, timedelta

import pytest
from sqlmodel import select

from rungwise.coach.record.fall_records import FallRecord, change_fall, fall_records, record_fall
from rungwise.coach.record.falls import falls_of
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.store.tables import Alert, Client, Trainer

MONDAY = date(2026, 3, 2)


def known(world):
    since = world.clock.now() - timedelta(days=30)
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        return falls_of(session, [client], since).get(world.client_id, ())


def keep(world, told, *, of_alert=True):
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        trainer = session.get_one(Trainer, client.trainer_id)
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one() if of_alert else None
        return record_fall(session, world.clock.now(), trainer, client, told, alert).id


@pytest.fixture
def fell(world):
    world.tick()
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen")
    world.clock.advance(timedelta(days=1))
    world.reply("Still bruised from when I fell")
    return world


def test_told_on_two_days_it_is_one_and_the_trainers_record_is_the_same_one(fell):
    assert [fall.day for fall in known(fell)] == [MONDAY]
    facts = {"injury": "minor", "doing": "walking", "head_struck": "no", "care": "none"}
    keep(fell, FallRecord(MONDAY, MONDAY, facts))
    (fall,) = known(fell)
    assert (fall.day, fall.injured, fall.practising) == (MONDAY, True, False)
    fell.clock.advance(timedelta(days=1))
    fell.reply("the bruise from my fall is better")
    assert len(known(fell)) == 1


def test_two_falls_of_a_day_are_two_and_none_is_none(fell):
    for _ in range(2):
        keep(fell, FallRecord(MONDAY, MONDAY, {"injury": "none"}))
    assert [fall.injured for fall in known(fell)] == [False, False]


def test_what_turned_out_to_be_no_fall_is_not_counted(fell):
    keep(fell, FallRecord(MONDAY, MONDAY, happened=False))
    assert known(fell) == ()


def test_a_fall_that_no_text_told_counts(world):
    keep(world, FallRecord(MONDAY - timedelta(days=3), MONDAY), of_alert=False)
    (fall,) = known(world)
    assert (fall.first, fall.last) == (MONDAY - timedelta(days=3), MONDAY)


def test_a_record_is_put_right(fell):
    number = keep(fell, FallRecord(MONDAY, MONDAY, {"injury": "none", "place": "home"}))
    with fell.store.write() as session:
        client = session.get_one(Client, fell.client_id)
        trainer = session.get_one(Trainer, client.trainer_id)
        now = fell.clock.now()
        told = FallRecord(MONDAY, MONDAY, {"injury": "serious"}, note="Seen at the clinic.")
        change_fall(session, now, trainer, client, number, told)
        with pytest.raises(NotFound):
            change_fall(session, now, trainer, client, number + 1, told)
    with fell.store.read() as session:
        (row,) = fall_records(session, fell.client_id)
        assert (row.injury, row.place, row.note) == ("serious", None, "Seen at the clinic.")


@pytest.mark.parametrize(
    "told",
    [
        FallRecord(MONDAY, MONDAY, {"injury": "dreadful"}),
        FallRecord(MONDAY, MONDAY, {"colour": "blue"}),
        FallRecord(MONDAY, MONDAY - timedelta(days=1)),
        FallRecord(MONDAY + timedelta(days=9), MONDAY + timedelta(days=9)),
        FallRecord(MONDAY - timedelta(days=400), MONDAY),
    ],
)
def test_what_cannot_be_is_refused(fell, told):
    with pytest.raises(ImpossibleValue):
        keep(fell, told)
