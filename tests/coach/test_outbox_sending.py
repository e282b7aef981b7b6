"""What becomes of a queued text: every answer of a carrier, lost answers, and giving up."""

from datetime import timedelta
from itertools import pairwise

import pytest
from sqlmodel import select

from rungwise.carriers.base import Accepted, Receipt, Refused, TryLater, Unknown
from rungwise.coach.daily.delivery import Sent, settle, take
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.store.tables import Due, Message
from rungwise.ticks.jobs import due_tick

pytestmark = pytest.mark.both_databases

AT_LEAST_ONCE = ["safety", "page", "help", "opt_out"]


def test_an_accepted_text_is_sent_and_keeps_the_carriers_id(outbox):
    text = outbox.queue()
    assert outbox.send() == 1
    stored = outbox.text(text)
    assert (stored.state, stored.carrier_id, stored.attempts) == ("sent", f"w-{text}", 1)
    assert outbox.send() == 0
    assert [got.id for got in outbox.wire.got] == [text]


def test_the_most_urgent_leaves_first(outbox):
    for kind in ("notice", "answer", "safety"):
        outbox.queue(kind)
    outbox.paces["wire"] = Pace(at_once=1)
    while outbox.send():
        pass
    kinds = [outbox.text(got.id).kind for got in outbox.wire.got]
    assert kinds == ["safety", "answer", "notice"]


def test_what_was_surely_not_taken_is_tried_again_after_growing_waits(outbox):
    outbox.wire.says = [TryLater("busy")]
    outbox.paces["wire"] = Pace()
    text = outbox.queue()
    waits = []
    for _ in range(4):
        outbox.send()
        stored = outbox.text(text)
        assert (stored.state, stored.problem) == ("queued", "busy")
        waits.append((stored.not_before - outbox.world.clock.now()).total_seconds())
        outbox.world.clock.set(stored.not_before)
    # 15 s doubling, with up to 5 s of chance.
    assert all(15 * 2**place <= wait <= 15 * 2**place + 5 for place, wait in enumerate(waits))


def test_a_text_that_must_arrive_is_tried_again_sooner(outbox):
    outbox.wire.says = [TryLater("busy")]
    text = outbox.queue("safety")
    outbox.send()
    wait = outbox.text(text).not_before - outbox.world.clock.now()
    assert timedelta(seconds=5) <= wait <= timedelta(seconds=7)


def test_a_refused_text_fails_at_once_and_the_trainer_is_told(outbox):
    outbox.wire.says = [Refused("no such number")]
    text = outbox.queue()
    outbox.send()
    assert outbox.state(text) == "failed"
    alert = outbox.world.alerts()["undeliverable"]
    assert alert.urgency == "today"
    assert "no such number" in alert.system_did
    assert outbox.send() == 0


def test_a_refused_safety_text_is_urgent(outbox):
    outbox.wire.says = [Refused("no such number")]
    outbox.queue("safety")
    outbox.send()
    assert outbox.world.alerts()["undeliverable"].urgency == "urgent"
    assert outbox.world.pages()


@pytest.mark.parametrize("lost", [Unknown("timed out"), RuntimeError("a carrier's mistake")])
@pytest.mark.parametrize("kind", ["prompt", "reminder", "answer", "notice"])
def test_a_text_whose_answer_was_lost_is_unknown_and_never_sent_again(outbox, kind, lost):
    outbox.wire.says = [lost]
    text = outbox.queue(kind)
    outbox.send()
    assert outbox.state(text) == "unknown"
    outbox.world.clock.advance(timedelta(hours=1))
    assert outbox.send() == 0
    assert len(outbox.wire.got) == 1


@pytest.mark.parametrize("kind", AT_LEAST_ONCE)
def test_what_must_arrive_is_sent_again_when_its_answer_was_lost(outbox, kind):
    outbox.wire.says = [Unknown("timed out"), Accepted("second")]
    text = outbox.queue(kind)
    outbox.send()
    assert outbox.state(text) == "queued"
    outbox.world.clock.advance(timedelta(seconds=60))
    outbox.send()
    stored = outbox.text(text)
    assert (stored.state, stored.carrier_id, len(outbox.wire.got)) == ("sent", "second", 2)


@pytest.mark.parametrize("kind", AT_LEAST_ONCE)
def test_what_may_have_arrived_goes_again_at_most_three_times_an_hour(outbox, kind):
    """When answers are always lost. The bound is our own promise: docs/reliability.md."""
    outbox.wire.says = [Unknown("timed out")]
    text = outbox.queue(kind)
    tried, begun = [], outbox.world.clock.now()
    for minute in range(8 * 60):
        before = len(outbox.wire.got)
        outbox.send()
        tried += [minute] * sum(got.id == text for got in outbox.wire.got[before:])
        outbox.world.clock.set(begun + timedelta(minutes=minute + 1))
    for hour in range(8 * 60):
        assert len([minute for minute in tried if hour <= minute < hour + 60]) <= 3
    if kind in ("opt_out", "page"):
        assert tried[:3] == [0, 1, 11]
        assert {later - earlier for earlier, later in pairwise(tried[2:])} == {60}


def test_an_unknown_text_is_settled_by_its_receipt_and_nobody_is_told(outbox):
    outbox.wire.says = [Unknown("timed out")]
    text = outbox.queue("prompt")
    outbox.send()
    outbox.receipts(Receipt(f"w-{text}", "delivered", message_id=text))
    assert (outbox.state(text), outbox.text(text).carrier_id) == ("delivered", f"w-{text}")
    outbox.world.pass_time(minutes=20)
    assert "undeliverable" not in outbox.world.alerts()


def test_an_unknown_text_without_a_receipt_is_told_after_a_while(outbox):
    outbox.wire.says = [Unknown("timed out")]
    outbox.queue("prompt")
    outbox.send()
    assert "undeliverable" not in outbox.world.alerts()
    outbox.world.pass_time(minutes=16)
    assert "unknown" in outbox.world.alerts()["undeliverable"].system_did


def claim_by_hand(outbox):
    """Take texts as a process does that is then killed."""
    now = outbox.world.clock.now()
    with outbox.world.store.write() as session:
        return list(take(session, now, "wire", Pace(), 16).to_send)


def test_a_lease_that_runs_out_is_no_permission_to_send_again(outbox):
    prompt, safety = outbox.queue("prompt"), outbox.queue("safety")
    assert {text.id for text in claim_by_hand(outbox)} == {prompt, safety}
    assert outbox.send() == 0  # it is somebody's
    outbox.world.clock.advance(timedelta(seconds=61))
    outbox.send()
    assert (outbox.state(prompt), outbox.state(safety)) == ("unknown", "sent")
    assert [got.id for got in outbox.wire.got] == [safety]


def test_a_late_answer_settles_a_text_whose_lease_ran_out(outbox):
    prompt = outbox.queue("prompt")
    (taken,) = claim_by_hand(outbox)
    outbox.world.clock.advance(timedelta(seconds=61))
    outbox.send()
    assert outbox.state(prompt) == "unknown"
    with outbox.world.store.write() as session:
        answer = Sent(prompt, taken.attempts, Accepted("late"))
        settle(session, outbox.world.clock.now(), "wire", [answer])
    assert (outbox.state(prompt), outbox.text(prompt).carrier_id) == ("sent", "late")


def test_a_late_no_says_nothing_about_a_later_try(outbox):
    safety = outbox.queue("safety")
    (first,) = claim_by_hand(outbox)
    outbox.world.clock.advance(timedelta(seconds=61))
    outbox.send()
    with outbox.world.store.write() as session:
        settle(
            session,
            outbox.world.clock.now(),
            "wire",
            [Sent(safety, first.attempts, Refused("not now"))],
        )
    assert outbox.state(safety) == "sent"


@pytest.mark.parametrize(
    ("news", "ends"),
    [
        (["sent", "delivered"], "delivered"),
        (["delivered", "sent"], "delivered"),
        (["failed", "sent"], "failed"),
        (["failed", "delivered"], "delivered"),
        (["delivered", "failed"], "delivered"),
        (["sent", "failed", "failed"], "failed"),
    ],
)
@pytest.mark.parametrize("when", ["before the answer", "after the answer"])
def test_states_only_move_forward_whatever_order_receipts_come_in(outbox, news, ends, when):
    text = outbox.queue()
    receipts = [Receipt(f"w-{text}", state, message_id=text) for state in news]
    if when == "before the answer":
        outbox.wire.says = [lambda sent: outbox.receipts(*receipts) or Accepted(f"w-{sent.id}")]
        outbox.send()
    else:
        outbox.send()
        outbox.receipts(*receipts)
    assert outbox.state(text) == ends
    assert ("undeliverable" in outbox.world.alerts()) is ("failed" in news[: news.index(ends) + 1])


def test_a_receipt_that_knows_only_the_carriers_id_is_kept_until_that_is_known(outbox):
    text = outbox.queue()
    outbox.receipts(Receipt("theirs", "delivered"))
    outbox.wire.says = [Accepted("theirs")]
    outbox.send()
    assert outbox.state(text) == "delivered"


def test_a_receipt_stops_further_tries(outbox):
    outbox.wire.says = [Unknown("timed out"), Accepted("twice")]
    text = outbox.queue("safety")
    outbox.send()
    outbox.receipts(Receipt(f"w-{text}", "sent", message_id=text))
    outbox.world.clock.advance(timedelta(minutes=5))
    assert outbox.send() == 0
    assert len(outbox.wire.got) == 1


def test_a_receipt_for_another_carriers_try_is_ignored(outbox):
    text = outbox.queue()
    outbox.send()
    outbox.receipts(Receipt("another", "failed", "gone", message_id=text))
    assert outbox.state(text) == "sent"


def test_failing_receipts_tell_the_trainer(outbox):
    text = outbox.queue()
    outbox.send()
    outbox.receipts(Receipt(f"w-{text}", "failed", "The phone is unknown."))
    assert "The phone is unknown." in outbox.world.alerts()["undeliverable"].system_did


def test_a_text_that_must_arrive_and_cannot_leave_is_told_after_five_minutes(outbox):
    outbox.wire.says = [TryLater("down")]
    outbox.queue("safety")
    outbox.send()
    outbox.world.clock.advance(timedelta(minutes=5))
    due_tick(outbox.world.store, outbox.world.clock)
    alert = outbox.world.alerts()["undeliverable"]
    assert alert.urgency == "urgent"
    assert "waiting" in alert.system_did


def test_what_waited_for_too_long_is_given_up(outbox):
    outbox.wire.says = [TryLater("down")]
    answer, prompt = outbox.queue("answer"), outbox.queue("prompt")
    outbox.send()
    outbox.world.clock.advance(timedelta(hours=7))
    outbox.send()
    assert (outbox.state(answer), outbox.state(prompt)) == ("failed", "missed")
    assert "undeliverable" in outbox.world.alerts()
    assert len(outbox.wire.got) == 2


def test_the_carrier_is_told_how_long_a_text_is_good_for(outbox):
    outbox.queue("prompt", not_after=outbox.world.clock.now() + timedelta(minutes=90))
    outbox.queue("safety")
    outbox.send()
    by_kind = {outbox.text(got.id).kind: got.good_for_s for got in outbox.wire.got}
    assert by_kind == {"prompt": 5400, "safety": 4 * 3600}


def test_a_fresh_text_leaves_though_the_clock_was_set_back(outbox):
    text = outbox.queue("safety")
    outbox.world.clock._at -= timedelta(hours=3)
    outbox.send()
    assert outbox.state(text) == "sent"


def test_a_text_held_up_between_claim_and_wire_is_put_back(outbox):
    """As when a machine sleeps: the client may have said STOP since."""
    text = outbox.queue("prompt")
    first = Pace(at_once=1)
    outbox.paces["wire"] = first

    class Sleepy(type(outbox.world.clock)):
        calls = 0

        def now(self):
            self.calls += 1
            # The hand-over asks last, half a minute after the claim.
            if self.calls == 4:
                self.advance(timedelta(seconds=30))
            return super().now()

    outbox.world.clock.__class__ = Sleepy
    outbox.send()
    assert outbox.wire.got == []
    assert outbox.state(text) == "queued"


def test_each_lost_text_has_one_time_to_be_looked_at(outbox):
    outbox.wire.says = [Unknown("timed out")]
    text = outbox.queue("prompt")
    outbox.send()
    with outbox.world.store.read() as session:
        kinds = session.exec(select(Due.kind).where(Due.subject_id == text)).all()
    assert "unsettled" in kinds


def test_pictures_addresses_reach_the_carrier(outbox):
    outbox.queue("prompt", media_url="https://example.org/p.png")
    outbox.send()
    assert outbox.wire.got[0].media_url == "https://example.org/p.png"


def test_a_second_text_with_the_same_key_is_not_queued(outbox):
    outbox.queue("prompt", once_key="prompt:1:2026-03-02")
    with pytest.raises(AttributeError):
        outbox.queue("prompt", once_key="prompt:1:2026-03-02")
    with outbox.world.store.read() as session:
        assert len(session.exec(select(Message).where(Message.kind == "prompt")).all()) == 1
