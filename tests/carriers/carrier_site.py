"""A practice on a carrier, and its callback route."""

from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlsplit

import httpx
from benches import CLIENT, PRACTICE
from sqlmodel import SQLModel, col, select
from starlette.testclient import TestClient

from rungwise.carriers.base import Callback
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import Body, Profile
from rungwise.store import Store
from rungwise.store.tables import Message, Practice, Trainer

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # a Monday, 08:00 in New York


def fill(store: Store, carrier: str, ids_after: int = 0, phone: str = CLIENT) -> int:
    """A practice on `carrier` with a trainer and one client; gives the client's id.

    The ids of its texts come after `ids_after`: where one gateway serves several tests, a late
    report for another's text must not fit one of these.
    """
    SQLModel.metadata.create_all(store.engine)
    with store.write() as session:
        practice = Practice(
            name="Harbour Balance", phone=PRACTICE, carrier=carrier, created_at=START
        )
        session.add(practice)
        session.flush()
        session.add(_cancelled(ids_after, practice, carrier, phone))
        # Nobody signs in here, and a real password's hash is slow to make on purpose.
        trainer = Trainer(
            practice_id=practice.id,
            name="Tess Example",
            email="t@example.org",
            password_hash="-",
            page_answered_at=START,
            created_at=START,
        )
        session.add(trainer)
        session.flush()
        profile = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
        new = NewClient(
            name="Ada Sample",
            called="Ada",
            phone=phone,
            profile=profile,
            time_zone="America/New_York",
            agreed=True,
        )
        return add_client(session, START, trainer, new).id


def _cancelled(id: int, practice: Practice, carrier: str, phone: str) -> Message:
    return Message(
        id=id,
        practice_id=practice.id,
        direction="out",
        kind="answer",
        body="-",
        from_phone=PRACTICE,
        to_phone=phone,
        carrier=carrier,
        state="cancelled",
        created_at=START,
    )


@dataclass
class Site:
    """The callback route over a store."""

    store: Store
    web: TestClient

    def call(self, callback: Callback, **changes: object) -> httpx.Response:
        where = urlsplit(callback.url)
        request = {
            "method": callback.method,
            "url": where.path + (f"?{where.query}" if where.query else ""),
            "headers": [(k.encode(), v.encode()) for k, v in callback.headers.items()],
            "content": callback.body,
            **changes,
        }
        return self.web.request(**request)

    def stored(self) -> list[Message]:
        """The texts that came in, oldest first."""
        with self.store.read() as session:
            rows = select(Message).where(Message.direction == "in").order_by(col(Message.id))
            return list(session.exec(rows).all())
