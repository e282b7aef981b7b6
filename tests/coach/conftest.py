"""A practice with one client on a real database, a clock set by hand, and texts played through."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest
from postbox import Postbox, serving
from sqlmodel import col, select
from wire import Outbox, Wire

from rungwise.carriers.base import InboundText
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.coach.record.situation import Situation, load
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.due import next_due_at
from rungwise.store.tables import Alert, Client, Message, MoveRow, Practice, Trainer
from rungwise.ticks.jobs import due_tick, send_tick

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # a Monday, 08:00 in New York
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))


@dataclass
class World:
    """The loop, driven by hand."""

    store: Store
    clock: HandClock
    client_id: int = 0
    trainer_id: int = 0
    ids: int = field(default=0)

    def tick(self) -> None:
        due_tick(self.store, self.clock)
        carriers = {"handset": Handset("x" * 20)}
        while send_tick(self.store, carriers, self.clock):
            pass

    def pass_time(self, **by: float) -> None:
        """Let time pass, with ticks whenever something comes due."""
        until = self.clock.now() + timedelta(**by)
        while self.clock.now() < until:
            with self.store.read() as session:
                due = next_due_at(session)
            soonest = self.clock.now() + timedelta(seconds=1)
            self.clock.set(min(until, max(due or until, soonest)))
            self.tick()

    def reply(self, text: str, carrier_id: str | None = None) -> None:
        self.ids += 1
        with self.store.write() as session:
            client = session.get_one(Client, self.client_id)
            practice = session.get_one(Practice, client.practice_id)
            inbound = InboundText(
                carrier_id or f"in-{self.ids}", client.phone, practice.phone, text
            )
            receive(session, self.clock.now(), "handset", inbound)
        self.tick()

    @property
    def client(self) -> Client:
        with self.store.read() as session:
            return session.get_one(Client, self.client_id)

    @property
    def situation(self) -> Situation:
        with self.store.read() as session:
            situation = load(session, session.get_one(Client, self.client_id))
            assert situation is not None
            return situation

    def sent(self, kind: str | None = None) -> list[Message]:
        """Texts to the client that left, oldest first."""
        with self.store.read() as session:
            rows = select(Message).where(
                Message.client_id == self.client_id,
                Message.direction == "out",
                col(Message.state).in_(("sent", "delivered")),
            )
            found = session.exec(rows.order_by(col(Message.id))).all()
        return [message for message in found if kind is None or message.kind == kind]

    def pages(self) -> list[Message]:
        with self.store.read() as session:
            return list(session.exec(select(Message).where(Message.kind == "page")).all())

    def alerts(self) -> dict[str, Alert]:
        """The open alerts by kind."""
        with self.store.read() as session:
            rows = select(Alert).where(Alert.state != "handled")
            return {alert.kind: alert for alert in session.exec(rows).all()}

    def moves(self) -> list[MoveRow]:
        """The moves that stand, oldest first."""
        with self.store.read() as session:
            rows = select(MoveRow).where(col(MoveRow.superseded_at).is_(None))
            return list(session.exec(rows.order_by(col(MoveRow.id))).all())


@pytest.fixture
def world(store: Store) -> World:
    world = World(store, HandClock(START))
    with store.write() as session:
        practice = Practice(name="Harbour Balance", phone="+12025550100", created_at=START)
        session.add(practice)
        session.flush()
        # Not by add_trainer: hashing a password is slow on purpose.
        trainer = Trainer(
            practice_id=practice.id,
            name="Tess Example",
            email="t@example.org",
            password_hash="none",
            created_at=START,
        )
        session.add(trainer)
        session.flush()
        trainer.phone, trainer.page_answered_at = "+12025550101", START
        trainer.second_contact_name = "Sam Second"
        trainer.second_contact_phone = "+12025550102"
        client = add_client(
            session,
            START,
            trainer,
            NewClient(
                name="Ada Sample",
                called="Ada",
                phone="+12025550103",
                profile=PROFILE,
                time_zone="America/New_York",
                agreed=True,
            ),
        )
        world.client_id = client.id
        world.trainer_id = trainer.id
    return world


@pytest.fixture
def outbox(world: World) -> Outbox:
    """The world's outbox, empty, with a carrier that answers as it is told."""
    world.tick()
    with world.store.write() as session:
        practice = session.exec(select(Practice)).one()
        practice.carrier = "wire"
        session.add(practice)
    return Outbox(world, Wire())


@pytest.fixture
def trainer(world: World) -> Trainer:
    with world.store.read() as session:
        return session.get_one(Trainer, world.trainer_id)


@pytest.fixture(scope="module")
def mail_server() -> Iterator[Postbox]:
    """A real mail server for all tests of a file."""
    with serving() as served:
        yield served


@pytest.fixture
def box(mail_server: Postbox) -> Postbox:
    """The mail server's box, empty, taking everything."""
    mail_server.letters.clear()
    mail_server.receivers.clear()
    mail_server.answer = "250 OK"
    return mail_server


@pytest.fixture
def wire() -> Wire:
    return Wire()
