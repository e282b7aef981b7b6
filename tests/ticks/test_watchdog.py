"""Ticks that stop are noticed by what is no tick, and by a monitor outside whom nobody pings."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
from sqlmodel import select
from waiting import until

from rungwise.carriers.base import Accepted, Callback, Heard, OutboundText, Outcome, TryLater
from rungwise.clock import HandClock
from rungwise.coach.record.audit import ends, record_by_service
from rungwise.settings import Settings, WrongSetting
from rungwise.store import Store
from rungwise.store.tables import Alert, Client, Practice, Trainer, WatchNotice
from rungwise.ticks.heartbeat import heartbeat_client, heartbeat_tick
from rungwise.ticks.jobs import note_tick
from rungwise.ticks.watchdog import Watchdog, start_watchdog

pytestmark = pytest.mark.both_databases

# On SQLite alone: what PostgreSQL does otherwise is tried by the other tests here.
one_store = pytest.mark.parametrize("store", ["sqlite"], indirect=True)
START = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
PATIENCE = timedelta(minutes=5)


class Way:
    """A carrier that keeps what it takes, or takes nothing."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.got: list[OutboundText] = []
        self.works = True

    def send(self, message: OutboundText) -> Outcome:
        if not self.works:
            return TryLater("down")
        self.got.append(message)
        return Accepted(f"{self.name}-{len(self.got)}")

    def hear(self, callback: Callback) -> Heard:
        return Heard()


class Watched:
    """A watchdog over a store, with a clock moved by hand."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.seconds = 0.0
        self.ways = {"email": Way("email"), "wire": Way("wire")}
        self.dog = self.another()

    def another(self) -> Watchdog:
        return Watchdog(self.store, self.ways, PATIENCE, lambda: self.seconds, self.wall)

    def wall(self) -> datetime:
        return START + timedelta(seconds=self.seconds)

    def note(self) -> None:
        for name in ("due", "send"):
            note_tick(self.store, name, self.wall())

    def minutes(self, count: float, *, ticks: bool = False, step: float = 0.25) -> None:
        for _ in range(int(count / step)):
            self.seconds += 60 * step
            if ticks:
                self.note()
            self.dog.look()

    def said(self, way: str) -> list[str]:
        return [message.body for message in self.ways[way].got]


@pytest.fixture
def watched(store: Store) -> Iterator[Watched]:
    with store.write() as session:
        practice = Practice(
            name="Harbour {minutes} Balance", phone="+12025550100", carrier="wire", created_at=START
        )
        session.add(practice)
        session.flush()
        for name, role, active in (("lead", "lead", True), ("tess", "trainer", True),
                                   ("gone", "lead", False)):  # fmt: skip
            session.add(
                Trainer(
                    practice_id=practice.id,
                    name=name,
                    email=f"{name}@example.org",
                    role=role,
                    password_hash="none",
                    phone="+12025550109",
                    active=active,
                    created_at=START,
                )
            )
    made = Watched(store)
    yield made
    made.dog.close()


@one_store
def test_while_ticks_run_nothing_is_said(watched: Watched) -> None:
    watched.minutes(30, ticks=True, step=2)
    assert watched.said("email") == watched.said("wire") == []


def test_stopped_ticks_are_told_to_the_lead_by_email_and_by_text(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    watched.minutes(4)
    assert watched.said("email") == []
    watched.minutes(1.5)
    for way in ("email", "wire"):
        (words,) = watched.said(way)
        assert "Rungwise has done nothing for 5 minutes" in words
    assert watched.ways["email"].got[0].to_phone == "lead@example.org"
    assert watched.ways["wire"].got[0].to_phone == "+12025550109"
    watched.minutes(60, step=10)
    assert len(watched.said("email")) == 1
    watched.minutes(240, step=10)
    assert len(watched.said("email")) == 2
    assert " minutes. " in watched.said("email")[1]


@one_store
def test_one_tick_of_two_that_hangs_is_enough(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    for _ in range(30):
        note_tick(watched.store, "send", watched.wall())
        watched.minutes(0.25)
    assert len(watched.said("email")) == 1


def test_when_they_run_again_that_is_told_once(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    watched.minutes(6)
    watched.minutes(2, ticks=True)
    assert watched.said("email")[1:] == ["Harbour {minutes} Balance: Rungwise works again."]
    with watched.store.read() as session:
        assert session.exec(select(WatchNotice)).all() == []
    watched.minutes(6)
    assert len(watched.said("email")) == 3, "and a second time is told afresh"


@one_store
def test_a_way_that_fails_does_not_keep_the_other_from_being_used(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    watched.ways["email"].works = False
    watched.minutes(6)
    assert len(watched.said("wire")) == 1


@one_store
def test_when_no_way_works_it_is_tried_until_one_does(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    for way in watched.ways.values():
        way.works = False
    watched.minutes(10)
    watched.ways["email"].works = True
    watched.minutes(0.25)
    assert len(watched.said("email")) == 1


def test_a_practice_that_nothing_reached_is_tried_again_though_another_was_told(
    watched: Watched,
) -> None:
    with watched.store.write() as session:
        other = Practice(name="Other", phone="+12025550200", carrier="spare", created_at=START)
        session.add(other)
        session.flush()
        session.add(
            Trainer(practice_id=other.id, name="lou", email="lou@example.org", role="lead",
                    password_hash="none", phone="+12025550209", created_at=START)
        )  # fmt: skip
    watched.ways["spare"] = Way("spare")
    watched.ways["email"].works = watched.ways["spare"].works = False
    watched.minutes(1, ticks=True)
    watched.minutes(6)
    assert (len(watched.said("wire")), watched.said("spare")) == (1, [])
    watched.ways["spare"].works = True
    watched.minutes(30, step=5)
    assert (len(watched.said("wire")), len(watched.said("spare"))) == (1, 1)
    watched.minutes(1, ticks=True)
    for way in ("wire", "spare"):
        assert "works again" in watched.said(way)[1]


def test_two_processes_tell_once(watched: Watched) -> None:
    other = watched.another()
    watched.minutes(1, ticks=True)
    other.look()
    watched.minutes(6)
    other.look()
    assert len(watched.said("email")) == 1
    watched.note()
    watched.seconds += 15
    for dog in (watched.dog, other):
        dog.look()
    assert len(watched.said("email")) == 2
    other.close()


@one_store
def test_a_clock_that_is_set_forward_is_no_silence(watched: Watched) -> None:
    watched.minutes(1, ticks=True)
    note_tick(watched.store, "due", START + timedelta(days=1))
    watched.minutes(4)
    note_tick(watched.store, "send", START + timedelta(days=1))
    watched.minutes(2)
    assert watched.said("email") == []


@one_store
def test_a_database_where_ticks_never_ran_has_nothing_to_stop(watched: Watched) -> None:
    watched.minutes(30, step=2)
    assert watched.said("email") == []


@one_store
def test_a_database_that_is_gone_is_told_too(watched: Watched, tmp_path) -> None:
    """The notes stop with it; the leads' addresses were kept."""
    watched.minutes(1, ticks=True)
    gone = Store(f"sqlite:///{tmp_path}/no-such-folder/x.sqlite3")
    watched.dog._store = gone
    watched.minutes(6)
    assert len(watched.said("email")) == 1
    watched.dog._store = watched.store
    watched.minutes(1, ticks=True)
    assert "works again" in watched.said("email")[1]
    gone.close()


@one_store
def test_the_demo_tells_nobody(watched: Watched) -> None:
    with watched.store.write() as session:
        session.exec(select(Practice)).one().is_demo = True
    watched.minutes(1, ticks=True)
    watched.minutes(10)
    assert watched.said("email") == []


@one_store
def test_the_thread_looks_by_itself_and_ends_when_told(watched: Watched) -> None:
    """In real time, with nothing but its own thread."""
    note_tick(watched.store, "due", START)
    dog = Watchdog(watched.store, watched.ways, timedelta(seconds=0.2))
    stop = start_watchdog(dog, every_s=0.05)
    until(lambda: watched.said("email"))
    stop()
    assert len(watched.said("email")) == 1


# --- the heartbeat --------------------------------------------------------------------------------


class Monitor(BaseHTTPRequestHandler):
    asked: list[str] = []  # noqa: RUF012  # one server, one list
    status = 200
    told: dict[str, str] = {}  # noqa: RUF012

    def do_GET(self) -> None:  # http.server's name
        Monitor.asked.append(self.path)
        Monitor.told = dict(self.headers)
        self.send_response(Monitor.status)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def monitor() -> Iterator[str]:
    server = HTTPServer(("127.0.0.1", 0), Monitor)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/ping/0b7e"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def ping(store: Store, monitor: str):
    Monitor.asked, Monitor.status, Monitor.told = [], 200, {}
    with heartbeat_client() as http:
        yield lambda url=monitor: heartbeat_tick(store, HandClock(START), http, url)


@one_store
def test_a_service_that_is_well_pings(store: Store, ping) -> None:
    note_tick(store, "due", datetime.now(UTC))
    assert ping()
    assert Monitor.asked == ["/ping/0b7e"]


@one_store
def test_a_ping_carries_where_the_audit_trail_ends(store: Store, ping) -> None:
    note_tick(store, "due", datetime.now(UTC))
    with store.write() as session:
        session.add(Practice(name="Harbour", phone="+12025550100", created_at=START))
        session.flush()
        record_by_service(session, START, 1, "practice added")
        (end,) = ends(session)
    assert ping()
    assert Monitor.told["X-Rungwise-Audit"] == f"1:1:{end.hash}"


def test_one_whose_ticks_have_stopped_does_not(store: Store, ping) -> None:
    assert not ping(), "never noted"
    note_tick(store, "due", datetime.now(UTC) - timedelta(minutes=10))
    assert not ping()
    assert Monitor.asked == []


@one_store
def test_one_with_an_urgent_alert_nobody_was_paged_about_does_not(store: Store, ping) -> None:
    note_tick(store, "due", datetime.now(UTC))
    with store.write() as session:
        session.add(Practice(id=1, name="A", phone="+12025550100", created_at=START))
        session.flush()
        session.add(
            Trainer(id=1, practice_id=1, name="T", email="t@example.org", password_hash="none",
                    created_at=START)
        )  # fmt: skip
        session.flush()
        session.add(
            Client(id=1, practice_id=1, trainer_id=1, name="Ada", called="Ada", phone="+1",
                   time_zone="UTC", state_since=START, created_at=START)
        )  # fmt: skip
        session.flush()
        session.add(
            Alert(practice_id=1, client_id=1, kind="fall", urgency="urgent", system_did="x",
                  opened_at=START, last_at=START)
        )  # fmt: skip
    assert not ping()
    assert Monitor.asked == []


@one_store
@pytest.mark.parametrize("answered", [500, None])
def test_a_monitor_that_fails_is_logged_without_its_address(
    store: Store, ping, answered, caplog: pytest.LogCaptureFixture
) -> None:
    note_tick(store, "due", datetime.now(UTC))
    if answered is None:
        assert not ping("http://127.0.0.1:9/ping/0b7e")
    else:
        Monitor.status = answered
        assert not ping()
    assert "heartbeat" in caplog.text
    assert "0b7e" not in "".join(
        record.getMessage() for record in caplog.records if record.name.startswith("rungwise")
    )


def test_the_settings_are_bounded_and_the_address_is_not_shown() -> None:
    given = {"RUNGWISE_HEARTBEAT_URL": "https://ping.example.org/0b7e"}
    assert "0b7e" not in repr(Settings.from_environment(given))
    for name, value in (("WATCH_MINUTES", "0"), ("HEARTBEAT_URL", "ping"), ("WATCH_MINUTES", "x")):
        with pytest.raises(WrongSetting, match=name):
            Settings.from_environment({f"RUNGWISE_{name}": value})
