"""From a client's text to another program on this machine, over a real connection."""

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import pytest
from sqlmodel import select
from standardwebhooks.webhooks import Webhook as Checker
from waiting import until
from web_world import World
from wire_server import Says, WireServer, wire_server

from rungwise.carriers.hooks import post
from rungwise.coach.practice.webhooks import add_webhook
from rungwise.meters import Meters
from rungwise.store.tables import Trainer, WebhookCall
from rungwise.ticks import scheduler
from rungwise.ticks.webhooks import webhook_tick


@pytest.fixture
def server() -> Iterator[WireServer]:
    with wire_server() as wire:
        wire.says = Says(204)
        yield wire


def told(world: World, server: WireServer) -> str:
    """A webhook to that server; gives its secret."""
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainers["lena"])
        hook = add_webhook(session, world.clock.now(), lead, f"{server.url}/x", urgent_only=True)
        return hook.secret


def call(world: World) -> WebhookCall:
    with world.store.read() as session:
        return session.exec(select(WebhookCall)).one()


def test_a_fall_is_told_once_the_other_program_is_back(world: World, server: WireServer) -> None:
    secret = told(world, server)
    world.reply("ada", "I fell in the kitchen")
    tick = partial(webhook_tick, world.store, world.clock, partial(post, private=True), Meters())
    server.says = Says(503)
    assert tick() == 1
    assert (call(world).state, call(world).problem) == ("waiting", "It answered 503.")
    server.says = Says(200, "thanks")
    world.clock.set(call(world).at)
    assert tick() == 1
    assert call(world).state == "taken"
    first, second = server.asked
    for asked in (first, second):
        checked = Checker(secret).verify(asked.body, asked.headers)
        assert checked["type"] == "alert.opened"
        assert checked["data"]["client_id"] == world.clients["ada"]
    assert first.body == second.body
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert b"kitchen" not in first.body
    assert b"Ada" not in first.body


def test_without_the_setting_nothing_on_this_machine_is_called(
    world: World, server: WireServer
) -> None:
    told(world, server)
    world.reply("ada", "I fell in the kitchen")
    webhook_tick(world.store, world.clock, post, Meters())
    assert call(world).problem == "The name leads into a private network."
    assert server.asked == []


def test_the_running_service_calls_by_itself(
    world: World, server: WireServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scheduler, "WEBHOOKS_EVERY_S", 0.1)
    told(world, server)
    settings = world.parts.settings.model_copy(
        update={"webhook_private": True, "tick_seconds": 0.1}
    )
    world.reply("ada", "I fell in the kitchen")
    stop = scheduler.start_ticks(replace(world.parts, settings=settings))
    try:
        until(lambda: server.asked)
    finally:
        stop()
    assert json.loads(server.asked[0].body)["data"]["kind"] == "fall"
    assert call(world).state == "taken"
