"""More practices and clients beside the world's own, and a gateway that fails for some numbers."""

from collections.abc import Collection
from datetime import timedelta

from sqlmodel import select
from wire import Wire

from rungwise.carriers.base import Accepted, InboundText, Outcome, Unknown
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import Body, Profile
from rungwise.store.tables import Client, Practice, Trainer
from rungwise.ticks.jobs import due_tick, send_tick

PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
LOST = Unknown("The carrier answered 500.")


def by_wire(world, wire: Wire | None = None, **more: Wire) -> Wire:
    """Let every practice of the world text by one wire, and the world's ticks use it."""
    wire = wire or Wire()
    with world.store.write() as session:
        for practice in session.exec(select(Practice)).all():
            practice.carrier = wire.name
    carriers = {wire.name: wire, **more}

    def tick() -> None:
        due_tick(world.store, world.clock)
        while send_tick(world.store, carriers, world.clock):
            pass

    world.tick = tick
    return wire


def fails_for(numbers: Collection[str], outcome: Outcome = LOST):
    """What a gateway says that answers so for these numbers, and takes every other text."""

    def says(text) -> Outcome:
        return outcome if text.to_phone in numbers else Accepted(f"w-{text.id}")

    return says


def add_practice(world, phone: str, carrier: str = "wire", **more) -> int:
    """Another practice with a trainer whose phone is the practice's with a 9 at the end."""
    with world.store.write() as session:
        practice = Practice(
            name=f"Practice {phone[-2:]}",
            phone=phone,
            carrier=carrier,
            created_at=world.clock.now(),
            **more,
        )
        session.add(practice)
        session.flush()
        session.add(
            Trainer(
                practice_id=practice.id,
                name="Theo Other",
                email=f"{phone[1:]}@example.org",
                password_hash="none",
                role="lead",
                phone=f"{phone[:-1]}9",
                page_answered_at=world.clock.now(),
                created_at=world.clock.now(),
            )
        )
        return practice.id


def add_person(world, phone: str, called: str = "Bea", practice_id: int = 1) -> int:
    """Another client, who gets texts."""
    with world.store.write() as session:
        trainer = session.exec(select(Trainer).where(Trainer.practice_id == practice_id)).first()
        new = NewClient(f"{called} Sample", called, phone, PROFILE, "America/New_York", agreed=True)
        return add_client(session, world.clock.now(), trainer, new).id


def hear(world, client_id: int, said: str) -> None:
    """A text from this client, received as a carrier brings it."""
    # Only what a carrier knows: the rest of the row may be broken.
    numbers = (
        select(Client.phone, Practice.phone, Practice.carrier)
        .join(Practice, Practice.id == Client.practice_id)
        .where(Client.id == client_id)
    )
    with world.store.write() as session:
        phone, to_phone, carrier = session.exec(numbers).one()
        world.ids += 1
        inbound = InboundText(f"other-{world.ids}", phone, to_phone, said)
        receive(session, world.clock.now(), carrier, inbound)
    world.tick()


def ticks_for(world, every_s: int = 5, **time: float) -> None:
    """Let time pass with a tick every few seconds, as the scheduler does."""
    until = world.clock.now() + timedelta(**time)
    while world.clock.now() < until:
        world.clock.advance(timedelta(seconds=every_s))
        world.tick()


def texts(world, phone: str, body: str) -> None:
    """A text from any phone at all, by the carrier, and the tick that follows."""
    world.ids += 1
    with world.store.write() as session:
        practice = session.exec(select(Practice)).first()
        text = InboundText(f"from-{world.ids}", phone, practice.phone, body)
        receive(session, world.clock.now(), "wire", text)
    world.tick()
