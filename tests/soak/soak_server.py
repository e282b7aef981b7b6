"""One server process under test: the whole service, on a clock that runs fast.

The product has no setting for this. A process is forked from one that has everything imported, so
that it serves a moment after it was killed, and it ends by SIGKILL and in no other way.
"""

import json
import logging
import os
import signal
import socket
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Never
from zoneinfo import ZoneInfo

import httpx
import uvicorn
from soak_clients import PRACTICE, Resident, move_in

from rungwise.app import create_app
from rungwise.carriers.base import InboundText
from rungwise.carriers.cloud import Cloud
from rungwise.carriers.handset import Handset
from rungwise.carriers.setup import cloud_access
from rungwise.carriers.wire import CONNECT_S, READ_S, WRITE_S
from rungwise.coach.daily.receive import receive
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.ticks.jobs import due_tick, send_tick

ACCOUNT = "ACsoak"
SECRET = "a secret that only the operator and the service know"
# What the helper says of a process that has not ended.
ALIVE = 1000


@dataclass(frozen=True, slots=True)
class FastClock:
    """Simulated time, the same in every process: `speed` seconds of it pass in a real one."""

    at: datetime
    since_s: float
    speed: float

    @classmethod
    def starting(cls, at: datetime, speed: float) -> "FastClock":
        return cls(at, monotonic(), speed)

    def now(self) -> datetime:
        return self.at + timedelta(seconds=(monotonic() - self.since_s) * self.speed)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a server process finds its database and its operator, and where it is called."""

    database_url: str
    port: int
    public_url: str
    operator_url: str
    log: str
    texts_per_second: float


def settings_for(place: Place) -> Settings:
    return Settings(
        database_url=place.database_url,
        port=place.port,
        public_url=place.public_url,
        cloud_url=place.operator_url,
        cloud_account=ACCOUNT,
        cloud_secret=SECRET,
        cloud_texts_per_second=place.texts_per_second,
        tick_seconds=0.5,
    )


def serve(place: Place, clock: FastClock) -> None:
    """Serve until killed. Time-outs on the wire shrink as the clock runs faster."""
    logging.basicConfig(
        filename=place.log, level=logging.WARNING, format="%(process)d %(name)s %(message)s"
    )
    # On a busy machine a tick now and then meets itself.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    settings = settings_for(place)
    access = cloud_access(settings)
    assert access is not None
    http = httpx.Client(
        auth=(access.account, access.secret),
        timeout=httpx.Timeout(
            connect=CONNECT_S / clock.speed,
            write=WRITE_S / clock.speed,
            read=READ_S / clock.speed,
            pool=CONNECT_S,
        ),
        limits=httpx.Limits(max_connections=None, max_keepalive_connections=0),
        trust_env=False,
        verify=False,  # plain HTTP on loopback; reading certificates takes a new process a while
    )
    parts = Parts(settings, Store(place.database_url), clock, {"cloud": Cloud(access, http)})
    uvicorn.run(
        create_app(parts=parts),
        host="127.0.0.1",
        port=place.port,
        log_config=None,
        access_log=False,
        server_header=False,
    )


def a_free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Servers:
    """The server processes on one database: started, killed, started again.

    A helper process forks them; it is told by lines of JSON and answers each with a number.
    """

    def __init__(
        self,
        database_url: str,
        operator_url: str,
        count: int,
        folder: Path,
        texts_per_second: float,
    ) -> None:
        self._helper = subprocess.Popen(
            [sys.executable, "-c", "import soak_server; soak_server.fork_servers()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            # What is forked should have one thread only; and find the same code as we do.
            env={
                **os.environ,
                "OPENBLAS_NUM_THREADS": "1",
                "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
            },
        )
        self._one_at_a_time = Lock()
        ports = [a_free_port() for _ in range(count)]
        self.public_url = f"http://127.0.0.1:{ports[0]}"
        self.log = folder / "servers.log"
        self.places = [
            Place(
                database_url, port, self.public_url, operator_url, str(self.log), texts_per_second
            )
            for port in ports
        ]
        self.running: list[int | None] = [None] * count
        self.kills = 0
        # Processes that ended by themselves, which none should.
        self.died: list[int] = []

    @property
    def ports(self) -> list[int]:
        return [place.port for place in self.places]

    def _ask(self, **what: object) -> int:
        assert self._helper.stdin is not None
        assert self._helper.stdout is not None
        with self._one_at_a_time:
            self._helper.stdin.write(json.dumps(what) + "\n")
            self._helper.stdin.flush()
            return int(self._helper.stdout.readline())

    def start_all(self, clock: FastClock) -> None:
        """Start those that don't run."""
        told = (clock.at.isoformat(), clock.since_s, clock.speed)
        for number, pid in enumerate(self.running):
            if pid is None:
                self.running[number] = self._ask(start=asdict(self.places[number]), clock=told)

    def kill(self, number: int) -> None:
        """SIGKILL it at once. It is ours until buried, so its id is nobody else's."""
        pid = self.running[number]
        if pid is not None:
            os.kill(pid, signal.SIGKILL)

    def bury(self, number: int, *, must_be_dead: bool = True) -> bool:
        """Reap it if it has died; whether it has. Counts those that were killed."""
        pid = self.running[number]
        if pid is None:
            return False
        code = self._ask(reap=pid, wait=must_be_dead)
        if code == ALIVE:
            return False
        self.running[number] = None
        if code == -signal.SIGKILL:
            self.kills += 1
        else:
            self.died.append(code)
        return True

    def kill_all(self) -> None:
        for number in range(len(self.running)):
            self.kill(number)
            self.bury(number)

    def close(self) -> None:
        self.kill_all()
        self._helper.communicate()


def _be_a_server(place: Place, clock: FastClock) -> Never:
    os.close(0)
    os.dup2(2, 1)
    try:
        serve(place, clock)
    except BaseException:
        logging.exception("the server ended")
    finally:
        os._exit(1)


def warm_up() -> None:
    """Load what a server loads when first used, so that a new one need not: one day of Ada's."""
    began = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
    clock = FastClock.starting(began, 1.0)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/warm.sqlite3")
        migrate(store)
        ada = Resident(0, "America/New_York", began.astimezone(ZoneInfo("America/New_York")).time())
        move_in(store, [ada], began - timedelta(minutes=1), show=False)
        due_tick(store, clock)
        for number, body in enumerate(("20 steady", "my knee hurts", "I fell", "HELP", "STOP")):
            with store.write() as session:
                receive(
                    session, began, "cloud", InboundText(f"{number}", ada.phone, PRACTICE, body)
                )
            send_tick(store, {"cloud": Handset("x" * 20)}, clock)
        store.close()


def fork_servers() -> None:
    """The helper process, which has everything loaded: fork a server or reap one, as asked."""
    warm_up()
    living: set[int] = set()
    for line in sys.stdin:
        asked = json.loads(line)
        if "start" in asked:
            at, since_s, speed = asked["clock"]
            pid = os.fork()
            if pid == 0:
                place = Place(**asked["start"])
                _be_a_server(place, FastClock(datetime.fromisoformat(at), since_s, speed))
            living.add(pid)
            answer = pid
        else:
            pid, status = os.waitpid(asked["reap"], 0 if asked["wait"] else os.WNOHANG)
            living.discard(pid)
            answer = os.waitstatus_to_exitcode(status) if pid else ALIVE
        sys.stdout.write(f"{answer}\n")
        sys.stdout.flush()
    for pid in living:
        os.kill(pid, signal.SIGKILL)
