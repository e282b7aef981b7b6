"""Broken installations, really looked at: each fails with the sentence that mends it.

Each is a sound one, with a served "ready", a practice with a lead and a database, and one thing
wrong. A full disk and copies that are old cannot be made here; test_check_judge.py judges those.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from kannel_process import free_ports
from outside import answering
from sqlalchemy import text, update
from waiting import PATIENCE_S

from rungwise.cli import main
from rungwise.coach.monitoring.health import INSTALLATION, installation_id
from rungwise.commands.check_judge import judge
from rungwise.commands.check_look import look
from rungwise.demo.cast import cast
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.sealing.crypto import Key
from rungwise.store.sealing.rotation import Rotation
from rungwise.store.tables import LastTick, Practice, Trainer

NEW = "sqlite:////tmp/rungwise-not-made-yet.sqlite3"
NOWHERE = "sqlite:////nowhere-at-all/x.sqlite3"
KEY, OTHER = (letter * 42 + "A" for letter in "ab")


@dataclass
class Installation:
    """Where it is, its settings, and when it is looked at."""

    store: Store
    environ: dict[str, str]
    now: datetime = field(default_factory=lambda: datetime.now(UTC))

    def set(self, **more: str) -> None:
        self.environ |= {f"RUNGWISE_{name}": value for name, value in more.items()}

    def change(self, row: type, **values: object) -> None:
        with self.store.write() as session:
            session.execute(update(row).values(**values))


@contextmanager
def ready(serves: str) -> Iterator[int]:
    """What answers "ready" as the service of that installation does; its port."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header(INSTALLATION, serves)
            self.send_header("Content-Length", "6")
            self.end_headers()
            self.wfile.write(b"ready\n")

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as http:
        thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield http.server_port
        http.shutdown()
        thread.join(PATIENCE_S)


@pytest.fixture
def sound(tmp_path: Path) -> Iterator[Installation]:
    """On disk, never in memory: pytest's own folder may be on either."""
    url = f"sqlite:///{tmp_path / 'practice.sqlite3'}"
    store = Store(url)
    migrate(store)
    now = datetime.now(UTC)
    with store.write() as session:
        practice = Practice(**{**cast().practice, "created_at": now})
        session.add(practice)
        session.flush()
        lead = Trainer(
            practice_id=practice.id, name="Nell", email="n@example.org", password_hash="x",
            role="lead", phone="+12025550110", created_at=now,
        )  # fmt: skip
        session.add(lead)
        session.add(LastTick(name="due", at=now))
    with ready(installation_id(url)) as port:
        here = Installation(store, {"RUNGWISE_DATABASE_URL": url})
        here.set(PORT=str(port), PUBLIC_URL=f"http://127.0.0.1:{port}")
        yield here
    store.close()


def failures(here: Installation) -> list[tuple[str, str]]:
    found = judge(look(here.environ, here.now))
    return [(each.said, each.advice) for each in found if each.verdict == "fail"]


def sealed(here: Installation) -> None:
    here.change(LastTick, at=here.now - timedelta(minutes=5))
    rotation = Rotation(here.store, [Key(KEY)])
    rotation.prepare()
    rotation.run(lambda _: None)
    here.change(LastTick, at=here.now)


def wrong_key(here: Installation) -> None:
    sealed(here)
    here.set(DATA_KEYS=OTHER)


def newer_tables(here: Installation) -> None:
    with here.store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))


def no_lead(here: Installation) -> None:
    here.change(Trainer, role="trainer")


def service_down(here: Installation) -> None:
    here.set(PORT=str(free_ports(1)[0]))


def away(scheme: str) -> str:
    return f"{scheme}://127.0.0.1:{free_ports(1)[0]}"


KANNEL = {"KANNEL_USERNAME": "rungwise", "KANNEL_PASSWORD": "pw", "KANNEL_TOKEN": "t" * 20}
MAIL = {"SMTP_HOST": "127.0.0.1", "SMTP_FROM": "s@example.org", "SMTP_SECURITY": "none"}

BROKEN: dict[str, tuple[Callable[[Installation], object], str, str]] = {
    "a wrong setting": (
        lambda here: here.set(LOG_LEVEL="loud"),
        "RUNGWISE_LOG_LEVEL",
        "deploy/environment.example explains each.",
    ),
    "a wrong data key": (wrong_key, "RUNGWISE_DATA_KEYS holds", ""),
    "no data key": (sealed, "RUNGWISE_DATA_KEYS is not set", ""),
    "a data key, and nothing sealed": (
        lambda here: here.set(DATA_KEYS=KEY),
        "was made without one. Stop the service everywhere, run `rungwise keys rotate`",
        "",
    ),
    "no tables": (
        lambda here: here.set(DATABASE_URL=NEW, PORT=str(free_ports(1)[0])),
        "no tables yet",
        "rungwise migrate",
    ),
    "older tables": (
        lambda here: migrate(here.store, "0006"),
        "The tables are an older version's.",
        "rungwise migrate",
    ),
    "newer tables": (newer_tables, "a newer version", "Install that version again."),
    "the database away": (
        lambda here: here.set(DATABASE_URL=away("postgresql") + "/x", PORT=str(free_ports(1)[0])),
        "The database cannot be reached",
        "Check RUNGWISE_DATABASE_URL.",
    ),
    "no folder for the database": (
        lambda here: here.set(DATABASE_URL=NOWHERE, PORT=str(free_ports(1)[0])),
        "There is no folder /nowhere-at-all",
        "Check RUNGWISE_DATABASE_URL.",
    ),
    "the service down": (service_down, "the service does not run", "systemctl start rungwise"),
    "the ticks stopped": (
        lambda here: here.change(LastTick, at=here.now - timedelta(minutes=3)),
        "The ticks do not run",
        "Restart the service and look at its log",
    ),
    "ticks that never ran": (
        lambda here: here.change(LastTick, at=datetime(2020, 1, 1, tzinfo=UTC)),
        "The ticks do not run",
        "Restart the service and look at its log",
    ),
    "nobody to page": (
        lambda here: here.change(Trainer, phone=None),
        "after a fall no phone would ring",
        "Give the lead a phone number",
    ),
    "nobody who leads": (no_lead, "without a lead who can sign in", "rungwise setup"),
    "a lead who was taken off": (
        lambda here: here.change(Trainer, active=False),
        "without a lead who can sign in",
        "rungwise setup",
    ),
    "the monitor away": (
        lambda here: here.set(HEARTBEAT_URL=away("http") + "/ping"),
        "The monitor of the heartbeat cannot be reached",
        "Correct RUNGWISE_HEARTBEAT_URL.",
    ),
    "the gateway away": (
        lambda here: here.set(KANNEL_URL=away("http"), **KANNEL),
        "The carrier kannel:",
        "",
    ),
    "a carrier that is not set up": (
        lambda here: here.change(Practice, carrier="cloud"),
        "A practice texts by cloud, which is not set up",
        "docs/carriers.md",
    ),
    "the mail server away": (
        lambda here: here.set(SMTP_PORT=str(free_ports(1)[0]), **MAIL),
        "The mail server 127.0.0.1: It cannot be reached",
        "RUNGWISE_SMTP_",
    ),
    "a clock that is off": (
        lambda here: setattr(here, "now", datetime(2020, 1, 1, tzinfo=UTC)),
        "before this version was made",
        "Set the clock",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_broken_fails_with_the_one_sentence_that_mends_it(
    sound: Installation, what: str
) -> None:
    breaks, said, advice = BROKEN[what]
    breaks(sound)
    (failed,) = failures(sound)
    assert said in failed[0]
    assert advice in failed[1]


def test_a_sound_one_does_not_fail(sound: Installation) -> None:
    assert failures(sound) == []


def test_a_gateway_that_refuses_us_fails(sound: Installation) -> None:
    with answering(403, "Authorization failed for sendsms") as url:
        sound.set(KANNEL_URL=url, **KANNEL)
        (failed,) = failures(sound)
    assert failed[0].startswith("The carrier kannel:")


def test_another_installation_on_the_port_is_told_from_this_one(sound: Installation) -> None:
    with ready(installation_id("sqlite:////srv/another.sqlite3")) as port:
        sound.set(PORT=str(port))
        (failed,) = failures(sound)
    assert "serves another database" in failed[0]
    assert "RUNGWISE_PORT" in failed[1]


def test_looking_with_a_wrong_key_notes_nothing(sound: Installation) -> None:
    wrong_key(sound)
    with sound.store.engine.connect() as connection:
        before = connection.execute(text("SELECT key_ids FROM sealing")).scalar_one()
        failures(sound)
        assert connection.execute(text("SELECT key_ids FROM sealing")).scalar_one() == before


# --- every command with the database away ---------------------------------------------------------

NEEDS_IT = (
    *(["migrate"], ["serve"], ["client", "list"], ["client", "show", "1"], ["replay"]),
    *(
        ["audit", "verify"],
        ["keys", "show"],
        ["due", "--at", "2026-12-02T00:00Z"],
        ["practice", "reset", "--email", "x@y.org"],
    ),
)


@pytest.mark.parametrize("words", NEEDS_IT, ids=" ".join)
@pytest.mark.parametrize("scheme", ["postgresql", "sqlite"])
def test_a_command_without_its_database_is_one_sentence(
    words: list[str],
    scheme: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    url = away(scheme) + "/x" if scheme == "postgresql" else NOWHERE
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", url)
    assert main(words) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("rungwise: The database does not answer (")
    assert "`rungwise check`" in line
