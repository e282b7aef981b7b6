"""An operator that cannot be trusted, on loopback: the far end of the cloud carrier.

It takes our texts by form POST and calls back with signed forms, as docs/carriers.md says. Rough,
it drops, delays, repeats and reorders, answers 500 before and after taking a text, takes one and
never says so, and somebody forges its calls. What it took and what it was told it writes down:
the ledger that the service's own records are held against. A text of a client's is offered until
we say 2xx.
"""

import asyncio
import base64
from collections.abc import Coroutine
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from random import Random
from threading import Event, Thread
from typing import Any
from urllib.parse import parse_qs, parse_qsl, urlencode, urlsplit

from soak_clients import PRACTICE, Phones, Says
from soak_ledger import Accepted, Offered
from soak_server import ACCOUNT, SECRET, FastClock

from rungwise.carriers.cloud import signature

# Real seconds.
CALL_WITHIN_S = 10.0
RETRY_S = (0.1, 1.5)
HUNG_S = 3.0
AT_ONCE = 24


@dataclass(frozen=True, slots=True)
class Manners:
    """How often (0 to 1) what goes wrong: with our texts, with its calls, and by forgers."""

    dropped: float = 0.03
    answers_500: float = 0.03
    busy: float = 0.02
    late: float = 0.05
    taken_then_500: float = 0.02
    taken_then_silent: float = 0.03
    taken_then_cut: float = 0.03
    undelivered: float = 0.01
    report_lost: float = 0.05
    repeated: float = 0.08
    hangs_up: float = 0.05
    same_words_new_id: float = 0.02
    forged: float = 0.03


ROUGH = Manners()
KIND = Manners(*[0.0] * 13)


@dataclass
class Aim:
    """Kills a server at a chosen instant: `armed` says at which, `fire` is called there."""

    armed: str | None = None
    shoot: Any = None
    hit: Event = field(default_factory=Event)

    def fire(self, instant: str, port: int | None = None) -> None:
        if self.armed == instant and self.shoot is not None:
            self.armed = None
            self.shoot(port)
            self.hit.set()


class Operator(Thread):
    """Runs its own event loop in its own thread; `call` gives it things to do from outside."""

    def __init__(self, clock: FastClock, dice: Random, phones: Phones) -> None:
        super().__init__(name="operator", daemon=True)
        self.clock = clock
        self.manners = ROUGH
        self.aim = Aim()
        self.accepted: list[Accepted] = []
        self.offered: list[Offered] = []
        self.forged_taken: list[str] = []
        self.forged = self.calls = self.refusals = 0
        # Texts taken and calls answered.
        self.exchanges = 0
        self.ports: list[int] = []
        self.public_url = ""
        self.port = 0
        # Texts that clients have yet to send, or that we have not taken yet.
        self.owed = 0
        self.asked = 0
        self.mistakes: list[BaseException] = []
        self._dice = dice
        self._phones = phones
        self._ready = Event()
        self._tasks: set[asyncio.Task[None]] = set()
        self._ids = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/2010-04-01"

    def open(self) -> None:
        self.start()
        self._ready.wait()

    def close(self) -> None:
        self._loop.call_soon_threadsafe(self._over.set)
        self.join()

    def run(self) -> None:
        asyncio.run(self._run())

    async def _run(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._over = asyncio.Event()
        self._line = asyncio.Semaphore(AT_ONCE)
        server = await asyncio.start_server(self._asked, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        self._ready.set()
        async with server:
            await self._over.wait()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def _chance(self, of: float) -> bool:
        return self._dice.random() < of

    def _later(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)

    def _done(self, task: "asyncio.Task[None]") -> None:
        self._tasks.discard(task)
        problem = None if task.cancelled() else task.exception()
        if problem is not None:
            self.mistakes.append(problem)

    async def _sleep(self, simulated_s: float) -> None:
        await asyncio.sleep(simulated_s / self.clock.speed)

    # --- texts of ours ----------------------------------------------------------------------------

    async def _asked(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.asked += 1
        try:
            form = await asyncio.wait_for(_read_form(reader), CALL_WITHIN_S)
            if form is not None:
                answer = await self._answer(form)
                if answer:
                    writer.write(answer)
                    await writer.drain()
        except (OSError, EOFError, ValueError, TimeoutError):
            pass  # whoever asked was killed meanwhile
        finally:
            self.asked -= 1
            writer.close()
            with suppress(OSError):
                await writer.wait_closed()

    async def _answer(self, form: dict[str, str]) -> bytes:
        """What is answered to one of our texts; empty: nothing at all."""
        manners, arrived = self.manners, self.clock.now()
        luck = self._dice.random()
        for share, answer in (
            (manners.dropped, b""),
            (manners.answers_500, _http(500, "{}")),
            (manners.busy, _http(429, "{}")),
        ):
            if luck < share:
                return answer
            luck -= share
        if luck < manners.late:
            await asyncio.sleep(self._dice.uniform(0, 1.0))
        luck -= manners.late
        sid = self._accept(form, arrived)
        self.aim.fire("text taken")
        if 0 <= luck < manners.taken_then_500:
            return _http(500, "{}")
        luck -= manners.taken_then_500
        if 0 <= luck < manners.taken_then_silent:
            await asyncio.sleep(HUNG_S)
            return b""
        luck -= manners.taken_then_silent
        whole = _http(201, f'{{"sid": "{sid}", "status": "queued"}}')
        return whole[:-9] if 0 <= luck < manners.taken_then_cut else whole

    def _accept(self, form: dict[str, str], arrived: datetime) -> str:
        query = urlsplit(form["StatusCallback"]).query
        message_id = int(parse_qs(query)["message"][0])
        self._ids += 1
        sid = f"SM{self._ids:08}"
        text = Accepted(message_id, form["To"], form["Body"], arrived)
        self.accepted.append(text)
        self.exchanges += 1
        self._later(self._deliver(sid, text, query))
        return sid

    async def _deliver(self, sid: str, text: Accepted, query: str) -> None:
        """Reports in whatever order, and the phone's owner who may text back."""
        failed = self._chance(self.manners.undelivered)
        for status in ("sent", "undelivered" if failed else "delivered"):
            if not self._chance(self.manners.report_lost):
                self._later(self._report(sid, status, query))
        if failed:
            return
        for says in self._phones.reads(text.phone, text.body, text.arrived_at):
            self._later(self._say(text.phone, says))

    async def _report(self, sid: str, status: str, query: str) -> None:
        # Some overtake the answer to the send, and "delivered" often overtakes "sent".
        await asyncio.sleep(self._dice.choice((0.0, 0.0, 0.05, 0.3, 1.0)))
        form = {"MessageSid": sid, "MessageStatus": status, "To": "x", "From": PRACTICE}
        for _ in range(2 if self._chance(self.manners.repeated) else 1):
            await self._until_taken(form, query)

    # --- texts of clients -------------------------------------------------------------------------

    async def _say(self, phone: str, says: Says) -> None:
        self.owed += 1
        await self._sleep(says.after_s)
        await self._offer(phone, says)
        if self._chance(self.manners.same_words_new_id) and not says.stops:
            await self._sleep(self._dice.uniform(0, 30))
            await self._offer(phone, says)
        self.owed -= 1

    async def _offer(self, phone: str, says: Says) -> None:
        self._ids += 1
        text = Offered(
            f"MO{self._ids:08}",
            phone,
            says.body,
            self.clock.now(),
            alarms=says.alarms,
            stops=says.stops,
        )
        self.offered.append(text)
        form = {"MessageSid": text.id, "From": phone, "To": PRACTICE, "Body": says.body}
        form["NumMedia"] = "0"
        await self._until_taken(form, "")
        text.acked_at = self.clock.now()
        if self._chance(self.manners.repeated):
            await asyncio.sleep(self._dice.uniform(0, 2))
            await self._until_taken(form, "")

    async def _until_taken(self, form: dict[str, str], query: str) -> None:
        """Call until we say 2xx, as a gateway with a store does."""
        while True:
            if self._chance(self.manners.forged):
                await self._forge(query)
            status = await self._call(form, query, SECRET)
            if status is not None and 200 <= status < 300:
                return
            self.refusals += status is not None
            await asyncio.sleep(self._dice.uniform(*RETRY_S))

    async def _forge(self, query: str) -> None:
        """Somebody without the secret says that a client stopped or fell, or that a text failed."""
        self.forged += 1
        phone = self._dice.choice(self.offered).phone if self.offered else "+13035000000"
        sid = f"FORGED{self.forged}"
        form = {"MessageSid": sid, "From": phone, "To": PRACTICE}
        if query:
            form["MessageStatus"] = "failed"
        else:
            form["Body"] = self._dice.choice(("STOP", "I fell", "20 steady"))
        status = await self._call(form, query, "a guess")
        if status is not None and status < 300:
            self.forged_taken.append(sid)

    async def _call(self, form: dict[str, str], query: str, secret: str) -> int | None:
        """One signed POST to one of the servers; the status, or None when no answer came."""
        url = f"{self.public_url}/in/cloud" + (f"?{query}" if query else "")
        given = signature(secret, url, form.items())
        port = self._dice.choice(self.ports)
        hangs_up = self._chance(self.manners.hangs_up)
        async with self._line:
            self.calls += 1
            try:
                status = await asyncio.wait_for(
                    self._post(port, query, urlencode(form), given, hangs_up), CALL_WITHIN_S
                )
            except (OSError, EOFError, ValueError, IndexError, TimeoutError):
                return None
            self.exchanges += status is not None
            return status

    async def _post(
        self, port: int, query: str, body: str, given: str, hangs_up: bool
    ) -> int | None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        try:
            path = "/in/cloud" + (f"?{query}" if query else "")
            writer.write(
                f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Twilio-Signature: {given}\r\n"
                f"Content-Type: application/x-www-form-urlencoded\r\n"
                f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n{body}".encode()
            )
            await writer.drain()
            if self.aim.armed == "text offered":
                await asyncio.sleep(self._dice.uniform(0, 0.03))
                self.aim.fire("text offered", port)
            if hangs_up:
                await asyncio.sleep(self._dice.uniform(0, 0.02))
                return None
            return int((await reader.readline()).split()[1])
        finally:
            writer.close()


async def _read_form(reader: asyncio.StreamReader) -> dict[str, str] | None:
    """The fields of a request to send a text; None when it is not from our account."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").split("\r\n")
    headers = {name.lower(): value for name, _, value in (line.partition(": ") for line in head)}
    body = await reader.readexactly(int(headers["content-length"]))
    account = base64.b64encode(f"{ACCOUNT}:{SECRET}".encode()).decode()
    if headers.get("authorization") != f"Basic {account}":
        return None
    return dict(parse_qsl(body.decode(), keep_blank_values=True))


def _http(status: int, body: str) -> bytes:
    return (
        f"HTTP/1.1 {status} x\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n{body}"
    ).encode()
