"""Sessions planned and done, and why not, from what is stored of a client."""

from collections import Counter
from datetime import date, timedelta

from screened import unhurt
from sqlmodel import select

from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.situation import load
from rungwise.coach.reviews.sessions import sessions_of, stays_of
from rungwise.store.tables import Alert, Client, Trainer

MONDAY = date(2026, 3, 2)


def sessions(world, days: int):
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        return sessions_of(session, [client], MONDAY, MONDAY + timedelta(days=days))[client.id]


def next_day(world, *texts: str) -> None:
    world.pass_time(hours=2)
    for text in texts:
        world.reply(text)
    world.pass_time(hours=22)


def test_every_day_is_done_or_has_a_reason(world):
    world.tick()
    next_day(world, "20 steady")
    next_day(world, "skipped today, sorry")
    next_day(world, "not today, I have the flu and the doctor came")
    next_day(world)
    next_day(world, "away until 9 March")
    found = sessions(world, 7)
    assert [one.day for one in found] == [MONDAY + timedelta(days=n) for n in range(7)]
    assert all(one.planned for one in found)
    assert [one.done for one in found] == [True, *[False] * 6]
    assert (found[0].holds, found[0].seconds) == (1, 20.0)
    assert found[1].why == "skipped"
    assert found[2].why in ("skipped_health", "unwell")


def test_after_a_fall_the_days_are_of_rest_until_the_trainer_acts(world, trainer):
    world.tick()
    next_day(world, "I fell in the kitchen", "no not hurt")
    next_day(world)
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        alert = session.exec(select(Alert).where(Alert.kind == "fall")).one()
        key = world.situation.placement.rung_key
        me = session.get_one(Trainer, client.trainer_id)
        told = Handling("ok", "", key, unhurt())
        handle(session, world.clock.now(), me, alert, load(session, client), told)
    next_day(world, "20 steady")
    next_day(world)
    why = [one.why for one in sessions(world, 4)]
    assert why == ["unwell", "resting", None, "no_reply"]


def test_days_off_the_plan_are_no_sessions_and_practice_on_them_is_extra(world):
    with world.store.write() as session:
        situation = load(session, session.get_one(Client, world.client_id))
        row = situation.plan_row
        row.settings = {**row.settings, "weekdays": [0, 2]}
        session.add(row)
    world.tick()
    next_day(world, "20 steady")
    next_day(world, "20 steady")
    found = sessions(world, 2)
    assert Counter((one.planned, one.done) for one in found) == {(True, True): 1, (False, True): 1}


def test_how_long_a_client_can_be_seen(world):
    world.tick()
    next_day(world, "20 steady")
    next_day(world, "STOP")
    with world.store.read() as session:
        client = session.get_one(Client, world.client_id)
        (stay,) = stays_of(session, [client], world.clock.now() + timedelta(days=9))
    assert (stay.days, list(stay.told_on), stay.ended) == (2, [0], True)
