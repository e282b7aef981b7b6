"""The books of a run as they are read from a real database, and when a run is at rest."""

from datetime import timedelta

import pytest
from soak_books import books_of, put_off, waiting
from soak_clients import BEGINS, PRACTICE, TRAINER, Resident, move_in
from soak_ledger import Accepted, broken
from sqlmodel import select

from rungwise.carriers import base
from rungwise.carriers.base import InboundText
from rungwise.clock import HandClock
from rungwise.coach.daily.receive import receive
from rungwise.store.tables import Alert
from rungwise.ticks.jobs import due_tick, send_tick

NOON = BEGINS.time().replace(hour=12)


class Wire:
    """A carrier that answers with `says`, and keeps what it took."""

    name = "cloud"

    def __init__(self, clock) -> None:
        self.clock = clock
        self.says = lambda text: base.Accepted(f"w-{text.id}")
        self.took: list[Accepted] = []

    def send(self, text):
        answer = self.says(text)
        if isinstance(answer, base.Accepted):
            self.took.append(Accepted(text.id, text.to_phone, text.body, self.clock.now()))
        return answer


@pytest.fixture
def run(store):
    """Two clients who have asked for help and are not hurt as far as anybody knows."""
    clock = HandClock(BEGINS)
    people = [Resident(number, "Europe/London", NOON) for number in range(2)]
    move_in(store, people, BEGINS, show=False)
    wire = Wire(clock)
    with store.write() as session:
        for each in people:
            text = InboundText(f"in-{each.number}", each.phone, PRACTICE, "HELP")
            receive(session, BEGINS, "cloud", text)
    return store, clock, wire, people


def tick(store, clock, wire) -> None:
    due_tick(store, clock)
    while send_tick(store, {"cloud": wire}, clock):
        pass


def test_help_that_several_asked_for_during_an_outage_is_no_missed_page(run):
    store, clock, wire, people = run
    tick(store, clock, wire)
    clock.set(BEGINS + timedelta(minutes=20))
    tick(store, clock, wire)
    with store.read() as session:
        urgent = [alert.kind for alert in session.exec(select(Alert)).all()]
        books = books_of(
            session, clock.now(), {each.phone: () for each in people}, accepted=wire.took
        )
    assert urgent == ["help", "help"]
    pages = [text.body for text in wire.took if text.phone == TRAINER]
    assert pages == ["URGENT: 2 clients need you. Please open the alert inbox now."]
    assert not [breach for breach in broken(books) if breach.promise == "missed page"]


def test_a_page_that_waits_for_its_next_try_is_not_at_rest(run):
    store, clock, wire, _people = run
    tick(store, clock, wire)
    clock.set(BEGINS + timedelta(minutes=11))
    wire.says = lambda _text: base.Unknown("no answer")
    tick(store, clock, wire)
    with store.read() as session:
        assert waiting(session, clock.now()) == []
        # To the trainer, and the other way: to the second contact.
        assert len(put_off(session, clock.now())) == 2
    wire.says = lambda text: base.Accepted(f"w-{text.id}")
    clock.set(clock.now() + timedelta(minutes=20))
    tick(store, clock, wire)
    with store.read() as session:
        assert waiting(session, clock.now()) == put_off(session, clock.now()) == []
