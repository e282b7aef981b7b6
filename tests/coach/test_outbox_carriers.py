"""Rates, circuits and further numbers: how the outbox treats a carrier as a whole."""

from datetime import UTC, datetime, timedelta

import pytest
from wire import Wire

from rungwise.carriers.base import Accepted, Refused, TryLater, Unknown
from rungwise.coach.outbox.circuit import (
    FAILURES_TO_OPEN,
    RECEIVERS_TO_OPEN,
    may_try,
    note_outcome,
    note_trial,
)
from rungwise.coach.outbox.rate_limit import Pace, allowance, spend
from rungwise.coach.outbox.sender_numbers import practice_at
from rungwise.store.tables import CarrierState, Circuit, Client, Number, Practice
from rungwise.ticks.jobs import send_tick

pytestmark = pytest.mark.both_databases

NOW = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
DOWN = TryLater("The carrier could not be reached.", unreachable=True)
BUSY = TryLater("busy")


def fresh():
    return CarrierState(name="wire", tokens=1.0, filled_at=NOW, failures=0)


def leaves(state, now, pace):
    count = allowance(state, now, pace, 100)
    spend(state, pace, count)
    return count


def test_over_a_long_time_no_more_leave_than_the_rate_allows():
    state, pace = fresh(), Pace(per_second=3.0, at_once=16)
    counts = [leaves(state, NOW + timedelta(seconds=step / 5), pace) for step in range(500)]
    assert 3 * 100 - 1 <= sum(counts) <= 3 * 100 + 6
    assert max(counts) <= 6


def test_after_a_quiet_time_two_seconds_worth_leave_at_once():
    state, pace = fresh(), Pace(per_second=3.0, at_once=16)
    assert leaves(state, NOW + timedelta(hours=1), pace) == 6


def test_a_slow_rate_still_lets_one_leave():
    state, pace = fresh(), Pace(per_second=0.1)
    assert leaves(state, NOW, pace) == 1
    assert leaves(state, NOW + timedelta(seconds=9), pace) == 0
    assert leaves(state, NOW + timedelta(seconds=10), pace) == 1


@pytest.mark.parametrize("step", [timedelta(hours=-5), timedelta(hours=5)])
def test_a_stepped_clock_neither_stops_nor_floods_the_carrier(step):
    state, pace = fresh(), Pace(per_second=3.0)
    leaves(state, NOW, pace)
    assert leaves(state, NOW + step, pace) <= 6
    assert leaves(state, NOW + step + timedelta(seconds=1), pace) >= 3


def fails(circuit, outcomes, receivers=("+1",), now=NOW):
    """Texts with ids from 1, to these numbers in turn, each with its outcome."""
    for place, outcome in enumerate(outcomes):
        numbers = {number + 1: receivers[number % len(receivers)] for number in range(place + 1)}
        note_outcome(circuit, now, place + 1, outcome, numbers)


def test_failures_to_several_receivers_open_the_circuit_and_trials_come_ever_more_seldom():
    circuit = Circuit(carrier="wire", practice_id=1, failures=0, failing=[])
    everybody = [f"+{number}" for number in range(RECEIVERS_TO_OPEN)]
    fails(circuit, [BUSY] * (FAILURES_TO_OPEN - 1), everybody)
    assert circuit.down_since is None
    fails(circuit, [Unknown("timed out")] * FAILURES_TO_OPEN, everybody)
    assert circuit.down_since == NOW
    now, gaps = NOW, []
    assert not may_try(circuit, now)
    for _ in range(8):
        gaps.append((circuit.retry_at - now).total_seconds())
        now = circuit.retry_at
        assert may_try(circuit, now)
        note_trial(circuit, now)
        assert not may_try(circuit, now)
        note_outcome(circuit, now, 1, BUSY, {1: "+1"})
    assert gaps == sorted(gaps[:5]) + gaps[5:]
    assert 5 <= gaps[0] <= 7
    assert max(gaps) <= 60
    note_outcome(circuit, now, 1, Accepted("x"), {1: "+1"})
    assert (circuit.down_since, circuit.failing, circuit.failures) == (None, [], 0)


@pytest.mark.parametrize("count", range(1, RECEIVERS_TO_OPEN))
@pytest.mark.parametrize("outcome", [BUSY, Unknown("The carrier answered 500.")])
def test_a_few_numbers_that_always_fail_never_open_the_circuit(count, outcome):
    circuit = Circuit(carrier="wire", practice_id=1, failures=0, failing=[])
    fails(circuit, [outcome] * 200, [f"+{number}" for number in range(count)])
    assert circuit.down_since is None


def test_a_carrier_that_cannot_be_reached_is_down_whoever_the_texts_were_for():
    circuit = Circuit(carrier="wire", practice_id=1, failures=0, failing=[])
    fails(circuit, [DOWN] * FAILURES_TO_OPEN)
    assert circuit.down_since == NOW


def test_a_single_failure_between_successes_opens_nothing():
    circuit = Circuit(carrier="wire", practice_id=1, failures=0, failing=[])
    fails(circuit, [DOWN, DOWN, Refused("no such number")] * 50)
    assert circuit.down_since is None


def test_a_circuit_opened_before_the_clock_was_set_back_is_still_tried():
    circuit = Circuit(carrier="wire", practice_id=1, failures=0, failing=[])
    fails(circuit, [DOWN] * FAILURES_TO_OPEN)
    assert may_try(circuit, NOW - timedelta(hours=3))


def test_a_carrier_that_is_down_costs_waiting_texts_no_tries(outbox):
    outbox.wire.says = [DOWN]
    texts = [outbox.queue("answer", str(number)) for number in range(40)]
    outbox.world.clock.advance(timedelta(seconds=1))
    for _ in range(40):
        outbox.send()
        outbox.world.clock.advance(timedelta(seconds=15))
    tries = sum(outbox.text(text).attempts for text in texts)
    # 10 minutes: one batch before the circuit opened, then a trial a minute.
    assert tries <= 16 + 25
    outbox.wire.says = [lambda text: Accepted(f"w-{text.id}")]
    outbox.world.clock.advance(timedelta(minutes=31))
    while outbox.send():
        pass
    assert {outbox.state(text) for text in texts} == {"sent"}


def test_the_trial_is_the_most_urgent_text_that_waits(outbox):
    outbox.wire.says = [DOWN]
    for number in range(FAILURES_TO_OPEN):
        outbox.queue("answer", str(number))
    outbox.send()
    outbox.queue("answer", "one more")
    safety = outbox.queue("safety")
    outbox.world.clock.advance(timedelta(seconds=8))
    outbox.wire.got.clear()
    outbox.send()
    assert [got.id for got in outbox.wire.got] == [safety]


def test_no_more_than_allowed_are_on_their_way_at_once(outbox):
    for number in range(20):
        outbox.queue("answer", str(number))
    outbox.paces["wire"] = Pace(at_once=4)
    assert outbox.send() == 4
    assert len(outbox.wire.got) == 4


# --- several numbers ------------------------------------------------------------------------------


@pytest.fixture
def second(outbox):
    """The practice has a second number, by a carrier of its own."""
    with outbox.world.store.write() as session:
        practice_id = session.get_one(Client, outbox.world.client_id).practice_id
        session.add(Number(practice_id=practice_id, place=1, carrier="spare", phone="+12025550190"))
    outbox.more["spare"] = Wire("spare")
    return outbox.more["spare"]


def open_circuit(outbox):
    outbox.wire.says = [DOWN]
    for number in range(FAILURES_TO_OPEN):
        outbox.queue("answer", f"first {number}")
    outbox.send()


def test_urgent_texts_leave_by_the_next_number_at_once_when_the_first_is_down(outbox, second):
    open_circuit(outbox)
    safety = outbox.queue("safety")
    prompt = outbox.queue("prompt")
    outbox.send()
    assert [(got.id, got.from_phone) for got in second.got] == [(safety, "+12025550190")]
    assert outbox.state(safety) == "sent"
    assert outbox.state(prompt) == "queued"


def test_other_texts_leave_by_it_after_five_minutes(outbox, second):
    open_circuit(outbox)
    prompt = outbox.queue("prompt")
    for _ in range(31):
        outbox.world.clock.advance(timedelta(seconds=10))
        outbox.send()
    assert outbox.text(prompt).carrier == "spare"
    assert outbox.state(prompt) == "sent"


def test_without_another_number_texts_wait(outbox):
    open_circuit(outbox)
    safety = outbox.queue("safety")
    outbox.send()
    assert outbox.text(safety).carrier == "wire"


def test_a_text_that_may_be_on_its_way_stays_with_its_carrier(outbox, second):
    outbox.wire.says = [Unknown("timed out")]
    prompts = [outbox.queue("prompt", str(number)) for number in range(FAILURES_TO_OPEN)]
    outbox.send()
    outbox.world.clock.advance(timedelta(minutes=10))
    outbox.send()
    assert {outbox.state(prompt) for prompt in prompts} == {"unknown"}
    assert second.got == []


def test_a_client_stays_on_their_own_number(outbox, second):
    with outbox.world.store.write() as session:
        number = session.get_one(Number, 1)
        client = session.get_one(Client, outbox.world.client_id)
        client.number_id = number.id
        session.add(client)
    text = outbox.queue("answer")
    outbox.send()
    assert (outbox.text(text).carrier, outbox.text(text).from_phone) == ("spare", "+12025550190")


def test_texts_of_a_carrier_that_is_not_set_up_leave_by_the_next(outbox, second):
    text = outbox.queue("answer")
    send_tick(outbox.world.store, {"spare": second}, outbox.world.clock)
    assert (outbox.text(text).carrier, outbox.state(text)) == ("spare", "sent")


@pytest.mark.parametrize("phone", ["+12025550190", "12025550190"])
def test_a_text_to_the_second_number_is_the_practices(outbox, second, phone):
    with outbox.world.store.write() as session:
        other = Practice(name="Hill Steps", phone="+12025550150", created_at=NOW)
        session.add(other)
    with outbox.world.store.read() as session:
        assert practice_at(session, phone).name == "Harbour Balance"
        assert practice_at(session, "+12025550150").name == "Hill Steps"
