"""A small practice served in-process: trainers, a lead, clients, and a clock set by hand."""

import atexit
import re
import shutil
import tempfile
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, SQLModel, col, select

from rungwise.app import create_app
from rungwise.carriers.base import InboundText
from rungwise.carriers.handset import Handset
from rungwise.clock import AheadClock, HandClock
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.daily.receive import receive
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import Body, Profile
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.tables import (
    Alert,
    Client,
    DemoClock,
    Message,
    MoveRow,
    Placement,
    Practice,
    Trainer,
)
from rungwise.ticks.jobs import due_tick, send_tick

START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # a Monday, 08:00 in New York
LASTS = timedelta(hours=12)
PASSWORD = "a long enough password"
TOKEN = "token-of-the-handset-in-tests"
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
TRAINERS = {"tess": "Tess Example", "omar": "Omar Sample", "lena": "Lena Placeholder"}


@dataclass
class World:
    """The loop and its pages, driven by hand."""

    parts: Parts
    app: FastAPI
    clock: HandClock | AheadClock
    trainers: dict[str, int] = field(default_factory=dict)
    clients: dict[str, int] = field(default_factory=dict)
    ids: int = 0

    @property
    def store(self) -> Store:
        return self.parts.store

    def tick(self) -> None:
        due_tick(self.store, self.clock)
        while send_tick(self.store, self.parts.carriers, self.clock):
            pass

    def pass_time(self, **by: float) -> None:
        until = self.clock.now() + timedelta(**by)
        while self.clock.now() < until:
            self.clock.set(self.clock.now() + min(timedelta(minutes=30), until - self.clock.now()))
            self.tick()

    def reply(self, who: str, text: str) -> None:
        self.ids += 1
        with self.store.write() as session:
            client = session.get_one(Client, self.clients[who])
            practice = session.get_one(Practice, client.practice_id)
            inbound = InboundText(f"in-{self.ids}", client.phone, practice.phone, text)
            receive(session, self.clock.now(), "handset", inbound)
        self.tick()

    def client(self, who: str) -> Client:
        with self.store.read() as session:
            return session.get_one(Client, self.clients[who])

    def rung_of(self, who: str) -> str:
        with self.store.read() as session:
            return session.get_one(Placement, self.clients[who]).rung_key

    def sent(self, who: str, kind: str | None = None) -> list[Message]:
        """Texts to the client that left, oldest first."""
        with self.store.read() as session:
            rows = select(Message).where(
                Message.client_id == self.clients[who],
                Message.direction == "out",
                col(Message.state).in_(("sent", "delivered")),
            )
            found = session.exec(rows.order_by(col(Message.id))).all()
        return [message for message in found if kind in (None, message.kind)]

    def alerts(self, who: str, state: str | None = None) -> list[Alert]:
        with self.store.read() as session:
            rows = select(Alert).where(Alert.client_id == self.clients[who])
            found = session.exec(rows.order_by(col(Alert.id))).all()
        return [alert for alert in found if state in (None, alert.state)]

    def moves(self, who: str) -> list[MoveRow]:
        with self.store.read() as session:
            rows = select(MoveRow).where(
                MoveRow.client_id == self.clients[who], col(MoveRow.superseded_at).is_(None)
            )
            return list(session.exec(rows.order_by(col(MoveRow.id))).all())

    def browser(self) -> TestClient:
        """A browser that is not signed in yet."""
        return TestClient(self.app, follow_redirects=False)

    def signed_in(self, who: str = "tess") -> "SignedIn":
        return SignedIn(self, who, self.browser()).sign_in()


def sign_in(browser: TestClient, email: str, password: str, **more: str) -> Response:
    token = csrf_of(browser.get("/sign-in").text)
    form = {"email": email, "password": password, "csrf": token, **more}
    return browser.post("/sign-in", data=form)


def csrf_of(page: str) -> str:
    found = re.search(r'name="csrf" value="([^"]+)"', page)
    assert found, page[:2000]
    return found[1]


@dataclass
class SignedIn:
    """A signed-in browser that fills in the CSRF field of the forms it posts.

    Its trainer signs in again when the clock has been moved on by a working day.
    """

    world: World
    who: str
    browser: TestClient
    since: datetime = START

    def sign_in(self) -> "SignedIn":
        self.browser.cookies.clear()
        done = sign_in(self.browser, f"{self.who}@example.org", PASSWORD)
        assert done.status_code == 303, done.text
        self.since = self.world.clock.now()
        return self

    def get(self, address: str) -> Response:
        return self.browser.get(address)

    def page(self, address: str, status: int = 200) -> str:
        if self.world.clock.now() - self.since >= LASTS:
            self.sign_in()
        answer = self.browser.get(address)
        assert answer.status_code == status, (address, answer.status_code, answer.text[:500])
        return str(answer.text)

    def post(self, address: str, /, **form: object) -> Response:
        token = csrf_of(self.page("/account"))
        return self.browser.post(address, data={"csrf": token, **form})


def make_world(folder: Path, *, is_demo: bool = False) -> World:
    """The practice in `folder`: copied, because hashing passwords and making tables takes long."""
    file = folder / "pages.sqlite3"
    shutil.copy(_first_made(), file)
    store = Store(f"sqlite:///{file}")
    clock: HandClock | AheadClock = HandClock(START)
    if is_demo:
        with store.write() as session:
            session.add(DemoClock(ahead_s=(START - datetime.now(UTC)).total_seconds()))
            session.get_one(Practice, 1).is_demo = True
        clock = AheadClock(store)
    # Tests move the clock on by hours between two looks; test_web_sign_in.py tries being idle.
    settings = Settings(
        database_url=store.url, ticks=False, handset_token=TOKEN, sign_in_idle_minutes=12 * 60
    )
    parts = Parts(settings, store, clock, {"handset": Handset(TOKEN)})
    world = World(parts, create_app(parts=parts), clock)
    with store.read() as session:
        for trainer in session.exec(select(Trainer)).all():
            world.trainers[trainer.email.partition("@")[0]] = trainer.id
        for client in session.exec(select(Client)).all():
            world.clients[client.called.lower()] = client.id
    return world


@cache
def _first_made() -> Path:
    file = Path(tempfile.mkdtemp(prefix="rungwise-pages-")) / "first.sqlite3"
    atexit.register(shutil.rmtree, file.parent)
    store = Store(f"sqlite:///{file}")
    SQLModel.metadata.create_all(store.engine)
    with store.write() as session:
        _people(session)
    clock = HandClock(START)
    due_tick(store, clock)
    send_tick(store, {"handset": Handset(TOKEN)}, clock)
    store.close()
    return file


def _people(session: Session) -> None:
    practice = Practice(name="Harbour Balance", phone="+12025550100", created_at=START)
    session.add(practice)
    session.flush()
    for place, (short, name) in enumerate(TRAINERS.items()):
        trainer = add_trainer(session, START, practice, name, f"{short}@example.org", PASSWORD)
        trainer.phone, trainer.page_answered_at = f"+1202555011{place}", START
        trainer.role = "lead" if short == "lena" else "trainer"
    session.flush()
    people = (("Ada Sample", 1), ("Bo Specimen", 1), ("Cy Instance", 2))
    for place, (name, trainer_id) in enumerate(people):
        new = NewClient(
            name=name,
            called=name.split()[0],
            phone=f"+1202555020{place}",
            profile=PROFILE,
            time_zone="America/New_York",
            agreed=True,
        )
        add_client(session, START, session.get_one(Trainer, trainer_id), new)
