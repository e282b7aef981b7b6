"""No word, number, name, password or token reaches the log, at its most talkative, from `serve`.

The real command is served on both databases, with errors whose own messages quote people's rows.
"""

import logging
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import httpx
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlmodel import select, update
from stores import KINDS
from waiting import PATIENCE_S, until

from rungwise.coach.accounts.invitations import invite
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import Body, Profile
from rungwise.logs import TALKATIVE, ErrorLines, JsonLines, PlainLines, write_logs
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Due, Practice, Trainer

# In everything that is said, named, typed or kept secret here.
MARK = "quincetree"
PHONES = ("+12025550177", "+12025550178", "+12025550179")
PASSWORD = f"{MARK}-long-enough-password"
HANDSET = f"{MARK}-token-of-the-handset"
PROFILE = Profile(Body(foot_length_mm=246, foot_breadth_mm=93, hip_width_mm=177))
SQLITE_BREAKS = f"""CREATE TRIGGER broken BEFORE INSERT ON message BEGIN
    SELECT RAISE(ABORT, 'Failing row contains (7, I fell by the {MARK}, {PHONES[0]}).'); END"""
POSTGRES_BREAKS = "ALTER TABLE message ADD CONSTRAINT broken CHECK (id < 0) NOT VALID"


@pytest.fixture(params=KINDS)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database of its own, of each kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'told.sqlite3'}"
        return
    server = Store(request.getfixturevalue("postgres_server"))
    name = f"told_{secrets.token_hex(4)}"
    with server.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
        yield server.engine.url.set(database=name).render_as_string(hide_password=False)
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    server.close()


def fill(store: Store) -> str:
    """A practice with a trainer and a client, all marked; gives the token of an invitation."""
    now = datetime.now(UTC)
    with store.write() as session:
        practice = Practice(name=f"{MARK} Balance", phone="+12025550100", created_at=now)
        session.add(practice)
        session.flush()
        trainer = add_trainer(session, now, practice, f"T {MARK}", f"t@{MARK}.test", PASSWORD)
        trainer.phone, trainer.role = PHONES[1], "lead"
        trainer.page_answered_at = now
        session.flush()
        new = NewClient(
            name=f"Ada {MARK}",
            called=MARK.title(),
            phone=PHONES[0],
            profile=PROFILE,
            time_zone="UTC",
            agreed=True,
        )
        add_client(session, now, trainer, new)
        return str(invite(session, now, trainer, f"N {MARK}", f"n@{MARK}.test"))


@contextmanager
def served(place: str, log: Path, form: str) -> Iterator[httpx.Client]:
    """`rungwise serve` at its most talkative, writing to `log`."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    settings = {
        "RUNGWISE_DATABASE_URL": place,
        "RUNGWISE_HANDSET_TOKEN": HANDSET,
        "RUNGWISE_LOG_LEVEL": "debug",
        "RUNGWISE_LOG_FORMAT": form,
        "RUNGWISE_TICK_SECONDS": "0.1",
    }
    command = [sys.executable, "-m", "rungwise.cli", "serve", "--port", str(port)]
    with (
        log.open("wb") as out,
        httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=PATIENCE_S) as client,
        subprocess.Popen(command, env=os.environ | settings, stdout=out, stderr=out) as process,
    ):
        try:
            until(lambda: listens(port))
            yield client
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE_S)


def listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def text_in(client: httpx.Client, said: str, token: str = HANDSET, **more: object) -> int:
    form = {"from": PHONES[0], "to": "+12025550100", "text": said}
    answer = client.post("/in/handset", data=form, headers={"x-handset-token": token}, **more)
    return answer.status_code


def use(client: httpx.Client, token: str) -> list[str]:
    """Good, wrong and forged requests; gives the secrets that were handed out meanwhile."""
    assert text_in(client, f"20 steady by the {MARK}") == 200
    assert text_in(client, f"I fell over the {MARK}") == 200
    assert text_in(client, f"forged {MARK}", token=f"{MARK}-wrong") == 403
    assert text_in(client, f"{MARK} " * 9_000) == 413
    assert client.get(f"/in/handset?text={MARK}&token={MARK}&from={PHONES[0]}").status_code == 403
    assert client.post("/in/handset", content=MARK.encode()).status_code == 403
    assert client.get(f"/{MARK}/{PHONES[0]}").status_code == 404
    assert client.get(f"/welcome/{token}").status_code == 200
    assert client.get(f"/p/{MARK}-of-a-picture").status_code == 404
    csrf = field(client.get(f"/sign-in?next=/clients?q={MARK}").text)
    for password, status in ((f"wrong {MARK}", 401), (PASSWORD, 303)):
        form = {"email": f"t@{MARK}.test", "password": password, "csrf": csrf}
        answer = client.post("/sign-in", data=form)
        assert answer.status_code == status
        csrf = field(answer.text) if status == 401 else csrf
    given = [csrf, client.cookies["rungwise"], field(client.get("/account").text), token]
    assert client.get(f"/clients?q={MARK}").status_code == 200
    csrf = given[2]
    note = {"csrf": csrf, "body": f"a note about the {MARK}"}
    assert client.post("/clients/1/notes", data=note).status_code == 303
    assert client.post("/clients/1/notes", json={"body": MARK}).status_code == 403
    files = {MARK: (f"{MARK}.csv", f"name\n{MARK}".encode())}
    assert client.post("/clients/1/notes", data={"csrf": csrf}, files=files).status_code < 500
    return given


def field(page: str) -> str:
    found = re.search(r'name="csrf" value="([^"]+)"', page)
    assert found
    return found[1]


def break_it(store: Store) -> None:
    """From now on no text can be stored, and the database says so with the row's values."""
    with store.write() as session:
        session.execute(text(SQLITE_BREAKS if store.is_sqlite else POSTGRES_BREAKS))
        session.execute(update(Due).where(Due.kind == "chain").values(at=datetime.now(UTC)))


def test_the_log_of_the_real_service_tells_of_nobody(place: str, tmp_path: Path) -> None:
    store = Store(place)
    form = "json" if store.is_sqlite else "plain"
    migrate(store)
    token = fill(store)
    log = tmp_path / "log"
    with served(place, log, form) as client:
        secret = use(client, token)
        break_it(store)
        assert text_in(client, f"another fall by the {MARK}") == 500
        until(lambda: b"failed" in log.read_bytes() and b"due chain" in log.read_bytes())
    store.close()
    told = log.read_text(encoding="utf-8").casefold()
    for line in ("a request failed", "due chain", "without a valid signature", "error"):
        assert line in told
    # Who got in and who did not is told too, by ids.
    assert told.count("a sign-in was refused") == 1
    assert "trainer_id" in next(line for line in told.splitlines() if "signed in" in line)
    for words in (MARK, *(phone[1:] for phone in PHONES), *secret):
        assert words.casefold() not in told, [
            line for line in told.splitlines() if words.casefold() in line
        ][:3]


# --- the errors that quote people -----------------------------------------------------------------


@pytest.fixture
def quoting(place: str) -> Iterator[DBAPIError]:
    """A database's own error about a row, with the row's values in its words."""
    store = Store(place)
    migrate(store)
    fill(store)
    break_it(store)
    with pytest.raises(DBAPIError) as found, store.write() as session:
        add_client(
            session,
            datetime.now(UTC),
            session.exec(select(Trainer)).one(),
            NewClient(
                name=f"Bo {MARK}",
                called=MARK,
                phone=PHONES[2],
                profile=PROFILE,
                time_zone="UTC",
                agreed=True,
            ),
        )
    yield found.value
    store.close()


def test_an_error_quotes_people_and_its_line_does_not(quoting: DBAPIError) -> None:
    try:
        raise RuntimeError(f"about the {MARK}") from quoting
    except RuntimeError as problem:
        problem.add_note(f"a note about the {MARK}")
        record = logging.LogRecord(
            "x", logging.ERROR, __file__, 1, "message %s", (7,), (type(problem), problem, None)
        )
    # Python's own formatter tells it all: the search would find it.
    usual = logging.Formatter().format(record)
    assert usual.casefold().count(MARK) >= 3
    assert "Failing row contains" in usual
    record.exc_text = None
    for ours in (JsonLines(), PlainLines(), ErrorLines()):
        line = ours.format(record)
        assert "RuntimeError" in line
        assert MARK not in line.casefold()


@pytest.fixture
def written() -> Iterator[StringIO]:
    """Logs as `serve` writes them, at their most talkative; afterwards as they were."""
    root = logging.getLogger()
    before = (root.level, list(root.handlers), sys.excepthook, threading.excepthook)
    raises = logging.raiseExceptions
    levels = {name: logging.getLogger(name).level for name in TALKATIVE}
    for name in levels:
        logging.getLogger(name).setLevel(logging.DEBUG)  # as if somebody had them talk
    out = StringIO()
    write_logs(Settings(log_level="debug"), out)
    yield out
    logging.captureWarnings(False)
    root.handlers[:] = before[1]
    root.setLevel(before[0])
    logging.raiseExceptions = raises
    sys.excepthook, threading.excepthook = before[2], before[3]
    for name, level in levels.items():
        logging.getLogger(name).setLevel(level)


def test_no_library_logs_what_it_handles(place: str, written: StringIO) -> None:
    """A database opened after logging began says neither statements nor rows."""
    store = Store(place)
    migrate(store)
    fill(store)
    with store.read() as session:
        assert MARK in session.exec(select(Trainer)).one().name
    store.close()
    logging.getLogger("service.test").debug("still heard")
    told = written.getvalue()
    assert "still heard" in told
    assert MARK not in told.casefold()
    assert PHONES[0] not in told


def test_what_nobody_caught_is_logged_without_its_words(written: StringIO) -> None:
    def fall() -> None:
        raise ValueError(f"by the {MARK}")

    thread = threading.Thread(target=fall)
    thread.start()
    thread.join()
    problem = ValueError(f"by the {MARK}")
    sys.excepthook(ValueError, problem, None)
    told = written.getvalue()
    assert "a thread ended by an error" in told
    assert "the service ended by an error" in told
    assert told.count("ValueError") == 2
    assert MARK not in told.casefold()
