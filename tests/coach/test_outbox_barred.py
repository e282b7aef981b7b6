"""A queued text is looked at once more before it leaves: may its client still get it, and now?"""

from datetime import UTC, datetime, timedelta

import pytest

from rungwise.carriers.base import TryLater
from rungwise.coach.daily.schedule import schedule_next
from rungwise.coach.record.questions import ask
from rungwise.coach.record.situation import load
from rungwise.store.tables import Client
from rungwise.ticks.jobs import due_tick

KINDS = [
    *("prompt", "reminder", "weekly", "notice", "welcome", "answer", "question"),
    *("safety", "page", "help", "opt_out"),
]
ASKS_TO_PRACTISE = {"prompt", "reminder", "weekly", "falls"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("state", ["active", "resting", "paused", "stopped"])
def test_what_may_leave_in_each_state(outbox, kind, state):
    text = outbox.queue(kind)
    outbox.change(state=state)
    outbox.send()
    may = {
        "active": True,
        "resting": kind not in ASKS_TO_PRACTISE,
        "paused": kind not in ASKS_TO_PRACTISE,
        "stopped": kind in {"safety", "help", "opt_out"},
    }[state]
    assert (outbox.state(text) == "sent") is may
    assert bool(outbox.wire.got) is may
    if not may:
        assert outbox.state(text) == "cancelled"


@pytest.mark.parametrize(("says", "state"), [("STOP", "stopped"), ("I fell", "resting")])
def test_a_prompt_that_is_being_retried_never_leaves_after_a_stop_or_a_fall(outbox, says, state):
    outbox.wire.says = [TryLater("busy")]
    prompt = outbox.queue("prompt")

    def meanwhile(text):
        # Said while the prompt is on its way: taking back what is queued does not find it.
        outbox.world.reply(says)
        return TryLater("busy")

    outbox.wire.says = [meanwhile, TryLater("busy")]
    outbox.send()
    assert outbox.world.client.state == state
    assert outbox.state(prompt) == "queued"
    outbox.world.clock.advance(timedelta(minutes=1))
    outbox.send()
    assert outbox.state(prompt) == "cancelled"


def test_a_prompt_waits_for_no_answer_to_a_safety_question(outbox):
    prompt = outbox.queue("prompt")
    with outbox.world.store.write() as session:
        now = outbox.world.clock.now()
        ask(session, now, outbox.world.client_id, "fall_yes_no", now.date())
    outbox.send()
    assert outbox.state(prompt) == "cancelled"
    assert outbox.wire.got == []


def test_a_prompt_for_a_rung_that_is_no_longer_the_clients_is_taken_back(outbox):
    here = outbox.world.situation.placement.rung_key
    right, wrong = (
        outbox.queue("prompt", rung_key=here),
        outbox.queue("prompt", rung_key="firm/tandem/hover"),
    )
    outbox.send()
    assert (outbox.state(right), outbox.state(wrong)) == ("sent", "cancelled")


def test_stop_takes_back_everything_but_what_answers_a_call_for_help(outbox):
    outbox.wire.says = [TryLater("busy")]
    queued = {kind: outbox.queue(kind) for kind in ("prompt", "answer", "notice", "safety")}
    outbox.world.reply("STOP")
    states = {kind: outbox.state(text) for kind, text in queued.items()}
    assert states == dict.fromkeys(("prompt", "answer", "notice"), "cancelled") | {
        "safety": "queued"
    }


NIGHT = datetime(2026, 3, 3, 2, 30, tzinfo=UTC)  # 21:30 in New York
MORNING = datetime(2026, 3, 3, 13, 0, tzinfo=UTC)  # 08:00


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_of_our_own_accord_leaves_at_night(outbox, kind):
    outbox.world.clock.set(NIGHT)
    text = outbox.queue(kind)
    outbox.send()
    stored = outbox.text(text)
    if kind in ASKS_TO_PRACTISE:
        assert stored.state == "missed"
    elif kind in ("notice", "welcome"):
        assert (stored.state, stored.not_before) == ("queued", MORNING)
        outbox.world.clock.set(MORNING)
        outbox.send()
        assert outbox.state(text) == "sent"
    else:
        assert stored.state == "sent"


def test_a_prompt_is_good_for_two_hours_and_not_into_the_night(outbox):
    world = outbox.world
    with world.store.write() as session:
        client = session.get_one(Client, world.client_id)
        situation = load(session, client)
        plan = situation.plan_row
        plan.settings = {**plan.settings, "prompt_at": "20:15"}
        session.add(plan)
        session.flush()
        schedule_next(session, world.clock.now(), client)
    world.clock.set(datetime(2026, 3, 3, 1, 15, tzinfo=UTC))  # 20:15 in New York
    due_tick(world.store, world.clock)
    (prompt,) = outbox.of_kind("prompt")
    assert prompt.state == "queued"
    assert prompt.not_after == datetime(2026, 3, 3, 2, 0, tzinfo=UTC)  # 21:00
