"""What the benchmarks here share: a practice with a past, servers, and a client that costs little.

The client speaks HTTP/1.1 over kept connections, one request after the other on each, and reads no
more of an answer than its length: so that on a machine with two cores the server has one to itself.
"""

import asyncio
import os
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles
from time import perf_counter, process_time, sleep
from typing import Any

from sqlalchemy import insert, text
from sqlmodel import select

sys.path.insert(0, str(Path(__file__).parents[1]))

from stored_practice import BEGAN, later, lives, store_clients, store_practice
from stores import start_postgres

from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Client, Message, Placement, Practice

KANNEL_TOKEN = "a-token-only-for-benchmarks"
PRACTICE_PHONE = "+12025550100"
SETTINGS = {
    "RUNGWISE_TICKS": "0",
    "RUNGWISE_KANNEL_URL": "http://127.0.0.1:9",
    "RUNGWISE_KANNEL_USERNAME": "bench",
    "RUNGWISE_KANNEL_PASSWORD": "bench",
    "RUNGWISE_KANNEL_TOKEN": KANNEL_TOKEN,
}
DIFFERENT_LIVES = 40


@contextmanager
def database(kind: str) -> Iterator[str]:
    """The address of a fresh database of this kind, durable as in service."""
    folder = Path(tempfile.mkdtemp(prefix="rungwise-bench-"))
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'bench.sqlite3'}"
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()
        return
    server = start_postgres(folder)
    try:
        yield server.get_uri()
    finally:
        server.cleanup()


def fill_practice(url: str, clients: int, days: int) -> list[str]:
    """A practice whose clients practised for so many days and were texted today; their phones."""
    store = Store(url)
    migrate(store)
    with store.write() as session:
        trainer = store_practice(session)
    now = datetime.now(UTC)
    shift = (now.date() - BEGAN).days - days
    given = [later(life, shift) for life in lives(min(DIFFERENT_LIVES, clients), days)]
    store_clients(store, trainer, given, clients)
    with store.write() as session:
        practice = session.exec(select(Practice)).one()
        here = select(Client.id, Client.phone, Placement.rung_key).join(
            Placement, Placement.client_id == Client.id
        )
        found = session.exec(here.order_by(Client.id)).all()
        session.execute(
            insert(Message),
            [
                {
                    "practice_id": practice.id, "client_id": client_id, "direction": "out",
                    "kind": "prompt", "body": "x", "from_phone": PRACTICE_PHONE,
                    "to_phone": phone, "carrier": "handset", "state": "delivered", "rank": 2,
                    "local_date": now.date(), "rung_key": rung_key, "attempts": 1,
                    "created_at": now - timedelta(minutes=5),
                    "once_key": f"prompt:{client_id}:{now.date().isoformat()}",
                }
                for client_id, phone, rung_key in found
            ],
        )  # fmt: skip
    with store.engine.connect() as connection:
        connection.execute(text("ANALYZE"))
        connection.commit()
    store.close()
    return [phone for _, phone, _ in found]


# --- servers --------------------------------------------------------------------------------------


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serving(command: Sequence[str], port: int, more: Mapping[str, str]) -> Iterator[int]:
    """A server process on this port, waited for; gives its process id."""
    environment = {**os.environ, "PYTHONWARNINGS": "ignore", **more}
    # Its log goes to a file, as it would in service.
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen([sys.executable, *command], env=environment, stderr=log)
    try:
        for _ in range(300):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            if process.poll() is not None:
                raise SystemExit("the server ended before it listened")
            sleep(0.1)
        yield process.pid
    finally:
        process.terminate()
        process.wait()


@contextmanager
def service_at(url: str, **settings: str) -> Iterator[tuple[int, int]]:
    """`rungwise serve` on this database; gives its port and process id."""
    port = free_port()
    given = {"RUNGWISE_DATABASE_URL": url, **SETTINGS, **settings}
    command = ("-m", "rungwise.cli", "serve", "--port", str(port))
    with serving(command, port, given) as pid:
        yield port, pid


def cpu_s(pid: int) -> float:
    """Seconds of one core that this process has used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


# --- the client -----------------------------------------------------------------------------------


def kannel_call(phone: str, carrier_id: str, body: str) -> bytes:
    """A reply as Kannel passes it on when it is set up as deploy/kannel says."""
    octets = body.encode()
    return (
        f"POST /in/kannel?token={KANNEL_TOKEN}&id={carrier_id} HTTP/1.1\r\nHost: bench\r\n"
        f"Content-Type: text/plain; charset=UTF-8\r\nX-Kannel-From: {phone}\r\n"
        f"X-Kannel-To: {PRACTICE_PHONE}\r\nContent-Length: {len(octets)}\r\n\r\n"
    ).encode() + octets


@dataclass(frozen=True, slots=True)
class Took:
    """One run: requests answered, seconds, each request's time in ms, cores used."""

    count: int
    seconds: float
    each_ms: Sequence[float]
    server_cores: float
    client_cores: float

    @property
    def per_second(self) -> float:
        return self.count / self.seconds

    @property
    def cpu_ms(self) -> float:
        """The server's CPU time for one request."""
        return 1000 * self.server_cores / self.per_second

    def __str__(self) -> str:
        cuts = quantiles(self.each_ms, n=100) if len(self.each_ms) > 1 else [0.0] * 99
        return (
            f"{self.per_second:7.0f} a second   median {cuts[49]:6.1f} ms, 99 % under "
            f"{cuts[98]:6.1f} ms   server {self.server_cores:.2f} cores, {self.cpu_ms:.2f} ms "
            f"each, client {self.client_cores:.2f}"
        )


def call(
    ports: Sequence[int], pids: Sequence[int], requests: Sequence[bytes], at_once: int
) -> Took:
    """Send all requests over so many connections, spread over the ports; all must get a 200."""
    before, mine = sum(map(cpu_s, pids)), process_time()
    begun = perf_counter()
    each = asyncio.run(_call(ports, requests, at_once))
    seconds = perf_counter() - begun
    server = (sum(map(cpu_s, pids)) - before) / seconds
    return Took(len(requests), seconds, each, server, (process_time() - mine) / seconds)


async def _call(ports: Sequence[int], requests: Sequence[bytes], at_once: int) -> list[float]:
    waiting = iter(requests)
    took: list[float] = []

    async def one_connection(port: int) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for request in waiting:
            begun = perf_counter()
            writer.write(request)
            head = await reader.readuntil(b"\r\n\r\n")
            assert head.startswith(b"HTTP/1.1 200"), head
            _, _, rest = head.lower().partition(b"content-length:")
            await reader.readexactly(int(rest.split(b"\r\n", 1)[0]))
            took.append((perf_counter() - begun) * 1000)
        writer.close()

    await asyncio.gather(*(one_connection(ports[i % len(ports)]) for i in range(at_once)))
    return took


def rows(url: str, query: str, **values: Any) -> list[Any]:
    """What a query gives, on a connection of its own."""
    store = Store(url)
    with store.engine.connect() as connection:
        found = connection.execute(text(query), values).all()
    store.close()
    return list(found)
