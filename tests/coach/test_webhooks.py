"""What webhooks are told of: stored with the alert, told at least once, given up after a day."""

import json
import logging
from contextlib import suppress
from datetime import timedelta

import pytest
from screened import unhurt
from sqlmodel import col, select

from rungwise.carriers.hooks import HookAnswer, HookCall
from rungwise.coach.alerting.alerts import Raised, raise_alert, see
from rungwise.coach.data.erase import erase_client
from rungwise.coach.outbox.webhook_calls import (
    GIVE_UP_AFTER,
    KEPT,
    LEASE,
    MOST_EACH,
    claim_calls,
    forget_old_calls,
    settle_calls,
)
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.plan.undo import undo_handling
from rungwise.coach.practice.webhooks import (
    MOST_HOOKS,
    EnoughWebhooks,
    add_webhook,
    end_webhook,
    latest_calls,
    try_webhook,
)
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.record.audit import broken_at
from rungwise.coach.record.situation import load
from rungwise.errors import NotFound
from rungwise.meters import Meters
from rungwise.store.tables import Alert, Client, Practice, Trainer, Webhook, WebhookCall
from rungwise.ticks.webhooks import webhook_tick

pytestmark = pytest.mark.both_databases

ADDRESS = "https://records.example.org/alerts"
BUSY = HookAnswer("It answered 503.")


class Answers:
    """Answers as it is told and remembers who was called with what."""

    def __init__(self, *says: HookAnswer) -> None:
        self.says = list(says)
        self.calls: list[HookCall] = []

    def __call__(self, call: HookCall) -> HookAnswer:
        self.calls.append(call)
        return self.says.pop(0) if self.says else HookAnswer()

    @property
    def told(self) -> list[dict]:
        return [json.loads(call.body) for call in self.calls]


def hook(world, address: str = ADDRESS, *, urgent_only: bool = False) -> int:
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainer_id)
        lead.role = "lead"
        made = add_webhook(session, world.clock.now(), lead, address, urgent_only=urgent_only)
        return made.id


def tick(world, answers: Answers) -> int:
    return webhook_tick(world.store, world.clock, answers, Meters())


def calls(world) -> list[WebhookCall]:
    with world.store.read() as session:
        return list(session.exec(select(WebhookCall).order_by(col(WebhookCall.id))).all())


def raise_one(world, kind: str = "pain") -> None:
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        practice = session.get_one(Practice, client.practice_id)
        raise_alert(session, world.clock.now(), practice, client, Raised(kind, "Told."))


def test_an_alerts_life_is_told_in_kinds_ids_and_times(world) -> None:
    hook(world)
    world.pass_time(hours=2)
    world.reply("I fell in the kitchen, sore knee")
    answers = Answers()
    tick(world, answers)
    alert = world.alerts()["fall"]
    world.reply("I fell again")
    with world.store.write() as session:
        now = world.clock.now()
        trainer = session.get_one(Trainer, world.trainer_id)
        row = session.get_one(Alert, alert.id)
        situation = load(session, session.get_one(Client, world.client_id))
        see(session, now, trainer, row)
        handle(
            session, now, trainer, row, situation, Handling("Phoned: not hurt", after_fall=unhurt())
        )
        undo_handling(session, now, trainer, row, situation)
    tick(world, answers)
    of_fall = [one for one in answers.told if one["data"]["kind"] == "fall"]
    kinds = [one["type"] for one in of_fall]
    assert kinds == ["alert.opened", "alert.grew", "alert.handled", "alert.reopened"]
    assert of_fall[0]["data"] == {
        "alert_id": alert.id,
        "client_id": world.client_id,
        "kind": "fall",
        "urgency": "urgent",
        "state": "new",
        "opened_at": alert.opened_at.isoformat(),
    }
    for words in ("Ada", "Sample", "kitchen", "knee", "+1202", "Phoned"):
        assert all(words not in call.body for call in answers.calls)
    assert {call.address for call in answers.calls} == {ADDRESS}
    assert {one.state for one in calls(world)} == {"taken"}


def test_nothing_is_told_of_an_alert_that_was_not_stored(world) -> None:
    hook(world)

    with suppress(ZeroDivisionError), world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        practice = session.get_one(Practice, client.practice_id)
        raise_alert(session, world.clock.now(), practice, client, Raised("pain", "Told."))
        raise ZeroDivisionError
    assert calls(world) == []
    raise_one(world)
    assert [one.kind for one in calls(world)] == ["alert.opened"]


def test_urgent_only_leaves_the_others_out(world) -> None:
    hook(world, urgent_only=True)
    raise_one(world, "silence")
    raise_one(world, "pain")
    assert [json.loads(one.body)["data"]["kind"] for one in calls(world)] == ["pain"]


def test_what_fails_is_tried_again_with_growing_waits_under_the_same_id(world) -> None:
    hook(world)
    raise_one(world)
    answers = Answers(*[BUSY] * 4)
    waits = []
    for _ in range(4):
        assert tick(world, answers) == 1
        assert tick(world, answers) == 0
        (call,) = calls(world)
        waits.append((call.at - world.clock.now()).total_seconds())
        world.clock.set(call.at)
    assert (call.state, call.problem, call.attempts) == ("waiting", "It answered 503.", 4)
    for wait, least in zip(waits, (5, 10, 20, 40), strict=True):
        assert least <= wait <= least + 5
    assert tick(world, answers) == 1
    (call,) = calls(world)
    assert (call.state, call.problem, call.attempts) == ("taken", None, 5)
    assert len({(one.called, one.body) for one in answers.calls}) == 1


def test_it_is_given_up_after_a_day_and_not_without_a_try(world) -> None:
    hook(world)
    raise_one(world)
    # The service was down for two days: that is no reason to give up what was never tried.
    world.clock.advance(2 * GIVE_UP_AFTER)
    raise_one(world, "fall")
    tick(world, Answers(BUSY, BUSY))
    old, new = calls(world)
    assert (old.state, old.attempts, old.settled_at) == ("given_up", 1, world.clock.now())
    assert new.state == "waiting"
    world.clock.advance(GIVE_UP_AFTER)
    tick(world, Answers(BUSY))
    assert [one.state for one in calls(world)] == ["given_up", "given_up"]
    assert tick(world, Answers()) == 0


def test_an_address_that_fails_is_left_alone_and_holds_up_no_other(
    world, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "rungwise.ticks.webhooks")
    bad, good = hook(world, "https://bad.example.org/"), hook(world)
    for kind in ("pain", "fall", "dizziness", "emergency", "near_fall", "silence"):
        raise_one(world, kind)
    called: list[str] = []

    def answer(call: HookCall) -> HookAnswer:
        called.append(call.address)
        return BUSY if "bad" in call.address else HookAnswer()

    webhook_tick(world.store, world.clock, answer, Meters())
    # Only what was called at once went there before the rest was held.
    assert called.count("https://bad.example.org/") == MOST_EACH
    assert called.count(ADDRESS) == 6
    logged = [vars(record).get("webhook_id") for record in caplog.records]
    assert (logged.count(bad), logged.count(good)) == (MOST_EACH, 6)
    waiting = [one for one in calls(world) if one.webhook_id == bad]
    assert all(one.at > world.clock.now() for one in waiting)
    assert {one.state for one in calls(world) if one.webhook_id == good} == {"taken"}


def test_a_process_that_dies_over_a_call_leaves_it_due(world) -> None:
    hook(world)
    raise_one(world)
    with world.store.write() as session:
        (lost,) = claim_calls(session, world.clock.now(), 10)
    assert tick(world, Answers()) == 0
    world.clock.advance(LEASE)
    answers = Answers()
    assert tick(world, answers) == 1
    assert answers.calls[0].called == lost.call.called
    # What the first try would have said comes too late to change anything.
    with world.store.write() as session:
        settle_calls(session, world.clock.now(), [(lost, BUSY)])
    assert calls(world)[0].state == "taken"


def test_two_processes_do_not_make_the_same_call(world) -> None:
    hook(world)
    for kind in ("pain", "fall", "dizziness"):
        raise_one(world, kind)
    with world.store.write() as session:
        first = claim_calls(session, world.clock.now(), 2)
    with world.store.write() as session:
        second = claim_calls(session, world.clock.now(), 2)
    assert [len(first), len(second)] == [2, 1]
    assert len({one.id for one in (*first, *second)}) == 3


def test_gone_ends_the_webhook_and_what_waits_for_it(world) -> None:
    hook(world)
    for kind in ("pain", "fall", "dizziness", "emergency", "near_fall", "silence"):
        raise_one(world, kind)
    tick(world, Answers(*[HookAnswer("It answered 410.", gone=True)] * 4))
    with world.store.read() as session:
        made = session.exec(select(Webhook)).one()
    assert made.ended_at == world.clock.now()
    assert made.why_ended == "Its address answered that it is gone (410)."
    assert {one.state for one in calls(world)} == {"given_up"}
    raise_one(world, "stuck")
    assert len(calls(world)) == 6


def test_our_own_mistake_in_calling_is_a_failure_like_others(world) -> None:
    hook(world)
    raise_one(world)

    def breaks(_call: HookCall) -> HookAnswer:
        raise RuntimeError("boom")

    webhook_tick(world.store, world.clock, breaks, Meters())
    (call,) = calls(world)
    assert (call.state, call.problem) == ("waiting", "Our mistake; the log has it.")


def test_the_lead_makes_tries_and_ends_webhooks(world) -> None:
    with world.store.read() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        with pytest.raises(OnlyTheLead):
            add_webhook(session, world.clock.now(), trainer, ADDRESS, urgent_only=False)
    hook_id = hook(world)
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainer_id)
        now = world.clock.now()
        try_webhook(session, now, lead, hook_id)
        with pytest.raises(NotFound):
            end_webhook(session, now, lead, hook_id + 1)
        for number in range(MOST_HOOKS - 1):
            add_webhook(session, now, lead, f"{ADDRESS}/{number}", urgent_only=True)
        with pytest.raises(EnoughWebhooks):
            add_webhook(session, now, lead, ADDRESS, urgent_only=True)
    answers = Answers()
    assert tick(world, answers) == 1
    assert answers.told[0]["type"] == "webhook.try"
    raise_one(world)
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainer_id)
        end_webhook(session, world.clock.now(), lead, hook_id)
        with pytest.raises(NotFound):
            try_webhook(session, world.clock.now(), lead, hook_id)
        latest = latest_calls(session, lead.practice_id, 100)
        practice = session.get_one(Practice, lead.practice_id)
        assert broken_at(session, practice) is None
    states = [(call.kind, call.state) for call, made in latest if made.id == hook_id]
    assert states == [("alert.opened", "given_up"), ("webhook.try", "taken")]


def test_what_was_settled_long_ago_is_forgotten(world) -> None:
    hook(world)
    raise_one(world)
    tick(world, Answers())
    raise_one(world, "fall")
    world.clock.advance(KEPT + timedelta(seconds=1))
    with world.store.write() as session:
        forget_old_calls(session, world.clock.now())
    assert [one.state for one in calls(world)] == ["waiting"]


def test_an_erased_client_leaves_no_call_behind(world) -> None:
    hook(world)
    world.tick()
    raise_one(world)
    with world.store.write() as session:
        claimed = claim_calls(session, world.clock.now(), 10)
    with world.store.write() as session:
        trainer = session.get_one(Trainer, world.trainer_id)
        client = session.get_one(Client, world.client_id)
        erase_client(session, world.clock.now(), trainer, client, "Ada Sample")
    with world.store.write() as session:
        settle_calls(session, world.clock.now(), [(one, BUSY) for one in claimed])
    assert calls(world) == []
