"""What changed, noted with the change: numbered as it can be seen, told once, forgotten in time."""

import json
from datetime import timedelta

import pytest
from sqlmodel import select

from rungwise.carriers.base import InboundText
from rungwise.carriers.hooks import HookAnswer
from rungwise.coach.daily.addressed import Arrival
from rungwise.coach.daily.receive import receive_together
from rungwise.coach.data.erase import erase_client
from rungwise.coach.outbox.change_feed import (
    KEPT,
    ReadAnew,
    bring_up_to_date,
    changes_after,
    forget_changes,
)
from rungwise.coach.practice.webhooks import add_webhook
from rungwise.errors import ImpossibleValue
from rungwise.meters import Meters
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Change, ChangeFeed, Client, Trainer, WebhookCall
from rungwise.ticks.webhooks import webhook_tick

pytestmark = pytest.mark.both_databases

ALL = ("client", "erased", "day", "move", "alert", "fall", "retest")


def follow(world) -> None:
    world.store.run(lambda session: bring_up_to_date(session, world.clock.now(), 1))


def changed(world, after: int = 0, kinds=ALL) -> list[tuple[str, str | None]]:
    follow(world)
    with world.store.read() as session:
        feed = session.get_one(ChangeFeed, 1)
        rows = changes_after(session, feed, Scope(1, None), kinds, after, 500)
        assert [row.number for row in rows] == sorted({row.number for row in rows})
        return [(row.kind, row.what) for row in rows]


def test_nothing_is_noted_for_a_practice_that_nobody_follows(world):
    world.reply("20 steady")
    with world.store.read() as session:
        assert session.exec(select(Change)).all() == []


def test_a_day_its_move_and_a_rest_are_noted_with_what_they_came_from(world):
    follow(world)
    world.reply("20 steady")
    assert changed(world) == [("day", None), ("move", "stay")]
    world.reply("I fell in the kitchen")
    later = changed(world, 2)
    assert {("day", None), ("move", "rest"), ("client", "resting"), ("alert", None)} == set(later)


def test_texts_that_come_together_are_noted_like_one_by_one(world):
    follow(world)
    with world.store.write() as session:
        inbound = InboundText("t-1", world.client.phone, "+12025550100", "20 steady")
        receive_together(session, world.clock.now(), [Arrival("handset", inbound)])
    assert changed(world) == [("day", None), ("move", "stay")]


def test_what_is_undone_is_not_noted(world):
    follow(world)
    with world.store.write() as session:
        session.get_one(Client, world.client_id).state = "paused"
        session.flush()
        session.rollback()
    assert changed(world) == []


def test_a_slow_transaction_is_numbered_when_it_can_be_seen(world):
    """Its row has the lower id; a reader who asked in between would else never see it."""
    if world.store.is_sqlite:
        return  # one writer at a time
    follow(world)
    with world.store.write() as slow:
        slow.get_one(Client, world.client_id).language = "es"
        slow.flush()
        with world.store.write() as quick:
            quick.add(Change(practice_id=1, kind="client", subject_id=99))
        assert changed(world) == [("client", None)]
    assert changed(world, 1) == [("client", None)]


def test_a_trainer_sees_the_changes_of_their_own_clients(world):
    follow(world)
    world.reply("20 steady")
    follow(world)
    with world.store.read() as session:
        feed = session.get_one(ChangeFeed, 1)
        assert changes_after(session, feed, Scope(1, world.trainer_id), ALL, 0, 9)
        assert not changes_after(session, feed, Scope(1, world.trainer_id + 1), ALL, 0, 9)
        assert not changes_after(session, feed, Scope(2, None), ALL, 0, 9)


def test_an_erased_client_leaves_their_number_and_nothing_else(world):
    follow(world)
    world.reply("20 steady")
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        client = session.get_one(Client, world.client_id)
        erase_client(session, world.clock.now(), trainer, client, "Ada Sample")
    assert changed(world) == [("erased", None)]
    with world.store.read() as session:
        (row,) = session.exec(select(Change)).all()
    assert (row.client_id, row.subject_id) == (None, world.client_id)


def test_a_cursor_of_what_is_forgotten_is_refused(world):
    follow(world)
    world.reply("20 steady")
    assert len(changed(world)) == 2
    world.clock.set(world.clock.now() + KEPT / 2)
    follow(world)
    world.clock.set(world.clock.now() + KEPT / 2 + timedelta(hours=1))
    world.store.run(lambda session: forget_changes(session, world.clock.now()))
    with pytest.raises(ReadAnew):
        changed(world)
    assert changed(world, 2) == []
    with pytest.raises(ReadAnew):
        changed(world, 3)


def test_a_feed_that_nobody_asks_for_ends(world):
    follow(world)
    world.reply("20 steady")
    world.clock.set(world.clock.now() + KEPT + timedelta(hours=1))
    world.store.run(lambda session: forget_changes(session, world.clock.now()))
    with world.store.read() as session:
        assert session.exec(select(ChangeFeed)).all() == session.exec(select(Change)).all() == []


# --- webhooks -------------------------------------------------------------------------------------


def hook(world, *topics: str) -> None:
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainer_id)
        lead.role = "lead"
        address = "https://records.example.org/moves"
        now = world.clock.now()
        add_webhook(session, now, lead, address, urgent_only=True, topics=topics)


def told(world) -> list[dict]:
    calls: list[dict] = []

    def post(call):
        calls.append(json.loads(call.body))
        return HookAnswer()

    webhook_tick(world.store, world.clock, post, Meters())
    return calls


def test_a_webhook_is_told_of_the_topics_it_asked_for_in_kinds_ids_and_dates(world):
    hook(world, "days", "moves", "stops")
    world.reply("20 steady")
    day, move = told(world)
    assert (day["type"], move["type"]) == ("day.told", "move.decided")
    assert set(day["data"]) == {"client_id", "day_id", "local_date"}
    assert move["data"]["kind"] == "stay"
    world.reply("STOP")
    assert [one["type"] for one in told(world)] == ["client.stopped"]
    assert told(world) == []


def test_a_webhook_that_asked_for_nothing_more_is_told_of_alerts_alone(world):
    hook(world)
    world.reply("20 steady")
    assert told(world) == []
    world.reply("I fell in the kitchen")
    assert [one["type"] for one in told(world)] == ["alert.opened"]


def test_calls_about_an_erased_client_are_gone(world):
    hook(world, "days")
    world.reply("20 steady")
    follow(world)
    with world.store.write() as session:
        assert session.exec(select(WebhookCall)).all()
        trainer = session.get_one(Trainer, world.trainer_id)
        client = session.get_one(Client, world.client_id)
        erase_client(session, world.clock.now(), trainer, client, "Ada Sample")
        assert session.exec(select(WebhookCall)).all() == []


def test_a_topic_that_is_none_is_refused(world):
    with pytest.raises(ImpossibleValue):
        hook(world, "everything")
