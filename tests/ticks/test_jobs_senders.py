"""Each carrier has a sender of its own; the ticks only wake them."""

from datetime import UTC, datetime, timedelta
from threading import Event

import pytest
from waiting import PATIENCE_S, until

from rungwise.carriers.base import Accepted, Callback, Heard
from rungwise.clock import HandClock
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.coach.outbox.texts import Text, queue_to_phone
from rungwise.settings import Settings
from rungwise.store.tables import Message, Practice
from rungwise.ticks.clock_jumps import ClockWatch
from rungwise.ticks.scheduler import paces
from rungwise.ticks.sending import Senders

pytestmark = pytest.mark.both_databases

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)


class Held:
    """A carrier that answers only when it is let go."""

    def __init__(self, name):
        self.name = name
        self.let_go = Event()
        self.got = []

    def send(self, text):
        self.got.append(text.id)
        self.let_go.wait(PATIENCE_S)
        return Accepted(f"{self.name}-{text.id}")

    def hear(self, callback: Callback) -> Heard:
        return Heard()


@pytest.fixture
def practices(store):
    """Two practices, each with a carrier of its own."""
    with store.write() as session:
        for number, carrier in enumerate(("slow", "quick")):
            phone = f"+1202555010{number}"
            session.add(Practice(name=carrier, phone=phone, carrier=carrier, created_at=NOW))
    return store


def queue(store, practice_id, count):
    with store.write() as session:
        practice = session.get_one(Practice, practice_id)
        texts = [
            queue_to_phone(session, NOW, practice, Text("page", f"{n}"), "+12025550101")
            for n in range(count)
        ]
        return [text.id for text in texts]


def states(store, ids):
    with store.read() as session:
        return [session.get_one(Message, each).state for each in ids]


def test_a_carrier_that_hangs_holds_up_no_other(practices):
    slow, quick = Held("slow"), Held("quick")
    quick.let_go.set()
    carriers = {"slow": slow, "quick": quick}
    senders = Senders(practices, carriers, HandClock(NOW), {"slow": Pace(at_once=2)})
    senders.start()
    waiting, going = queue(practices, 1, 5), queue(practices, 2, 5)
    senders.wake()
    until(lambda: states(practices, going) == ["sent"] * 5)
    until(lambda: len(slow.got) == 2)
    assert states(practices, waiting).count("sending") == 2
    assert senders.all_well()
    slow.let_go.set()
    until(lambda: states(practices, waiting) == ["sent"] * 5)
    senders.stop()


def test_stopping_waits_for_what_is_on_its_way(practices):
    slow = Held("slow")
    senders = Senders(practices, {"slow": slow}, HandClock(NOW), {})
    senders.start()
    ids = queue(practices, 1, 3)
    senders.wake()
    until(lambda: len(slow.got) == 3)
    slow.let_go.set()
    senders.stop()
    assert states(practices, ids) == ["sent"] * 3


def test_each_carrier_has_its_rate_from_the_settings():
    cloud = {"cloud_url": "http://127.0.0.1:1", "cloud_account": "a", "cloud_secret": "b"}
    found = paces(Settings(**cloud, cloud_texts_per_second=0.5))
    assert (found["kannel"].per_second, found["cloud"].per_second) == (10.0, 0.5)


class Clocks:
    """A machine's two clocks, moved by hand."""

    def __init__(self):
        self.wall_at, self.steady_at = NOW, 100.0

    def run(self, seconds):
        self.wall_at += timedelta(seconds=seconds)
        self.steady_at += seconds

    def watch(self):
        return ClockWatch(lambda: self.wall_at, lambda: self.steady_at)


def test_a_clock_that_runs_is_trusted():
    clocks = Clocks()
    watch = clocks.watch()
    for _ in range(500):
        clocks.run(10)
        clocks.wall_at += timedelta(seconds=1)  # it drifts, badly
        assert watch.trusted()


@pytest.mark.parametrize("hours", [0.25, 1, 30])
def test_after_a_step_forward_nothing_is_done_for_a_minute(hours):
    clocks = Clocks()
    watch = clocks.watch()
    clocks.wall_at += timedelta(hours=hours)
    assert not watch.trusted()
    clocks.run(59)
    assert not watch.trusted()
    clocks.run(1)
    assert watch.trusted()


def test_a_step_that_is_taken_back_in_time_was_never_acted_on():
    clocks = Clocks()
    watch = clocks.watch()
    clocks.wall_at += timedelta(days=1)
    acted_on = []
    for second in range(120):
        if second == 30:
            clocks.wall_at -= timedelta(days=1)
        if watch.trusted():
            acted_on.append(clocks.wall_at)
        clocks.run(1)
    assert acted_on
    assert max(acted_on) - NOW < timedelta(minutes=3)


@pytest.mark.parametrize("hours", [0.25, 30])
def test_a_step_back_is_trusted_at_once(hours):
    clocks = Clocks()
    watch = clocks.watch()
    clocks.wall_at -= timedelta(hours=hours)
    assert watch.trusted()
