"""A carrier that answers as it is told, to play the outbox through every kind of trouble."""

from collections.abc import Callable
from dataclasses import dataclass, field

from sqlmodel import select

from rungwise.carriers.base import Accepted, Callback, Heard, OutboundText, Outcome
from rungwise.coach.daily.delivery import note_receipts
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.store.tables import Client, Message, Practice
from rungwise.ticks.jobs import send_tick


@dataclass
class Wire:
    """Answers with `says`, one after the other and then the last for ever; keeps what it got."""

    name: str = "wire"
    says: list[Outcome | Exception | Callable[[OutboundText], Outcome]] = field(
        default_factory=lambda: [lambda text: Accepted(f"w-{text.id}")]
    )
    got: list[OutboundText] = field(default_factory=list)

    def send(self, text: OutboundText) -> Outcome:
        self.got.append(text)
        said = self.says[0] if len(self.says) == 1 else self.says.pop(0)
        if isinstance(said, Exception):
            raise said
        return said if not callable(said) else said(text)

    def hear(self, callback: Callback) -> Heard:
        return Heard()


@dataclass
class Outbox:
    """The outbox of a world whose practice sends by `wire`, driven by hand."""

    world: object
    wire: Wire
    more: dict[str, Wire] = field(default_factory=dict)
    paces: dict[str, Pace] = field(default_factory=dict)

    def queue(self, kind: str = "answer", body: str = "Hello", **more) -> int:
        world = self.world
        with world.store.write() as session:
            client = session.get_one(Client, world.client_id)
            practice = session.get_one(Practice, client.practice_id)
            text = Text(kind, body, **more)
            return queue_to_client(session, world.clock.now(), practice, client, text).id

    def send(self) -> int:
        carriers = {"wire": self.wire, **self.more}
        return send_tick(self.world.store, carriers, self.world.clock, self.paces)

    def receipts(self, *receipts) -> None:
        with self.world.store.write() as session:
            note_receipts(session, self.world.clock.now(), "wire", receipts)

    def text(self, message_id: int) -> Message:
        with self.world.store.read() as session:
            return session.get_one(Message, message_id)

    def state(self, message_id: int) -> str:
        return self.text(message_id).state

    def change(self, **values) -> None:
        """Change the client, as a reply or a trainer would."""
        with self.world.store.write() as session:
            client = session.get_one(Client, self.world.client_id)
            for name, value in values.items():
                setattr(client, name, value)
            session.add(client)

    def of_kind(self, kind: str) -> list[Message]:
        with self.world.store.read() as session:
            rows = select(Message).where(Message.kind == kind).order_by(Message.id)
            return list(session.exec(rows).all())
