"""A day of many clients lived through by a few processes, with a clock that skips idle time.

While anything is to do, the clock runs at real speed, so that being late is being late by what it
would be in service. When nothing is, it goes on to the whole second in which something is next,
as a tick does that comes every second, or to the next of longer steps.
"""

import heapq
import resource
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from hashlib import blake2b
from math import ceil, inf
from multiprocessing import get_context
from multiprocessing.context import SpawnProcess
from threading import Lock
from time import monotonic, sleep
from typing import Any

from million_seed import (
    CARRIER,
    CLIENT_PHONES,
    TRAINER_PHONES,
    Sink,
    due_at,
    phone_of,
    practice_phone,
)
from waiting import PATIENCE_S

from rungwise.carriers.base import (
    Accepted,
    Heard,
    InboundText,
    OutboundText,
    Outcome,
    Receipt,
)
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.meters import Meters
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.due import next_due_at
from rungwise.ticks.jobs import due_tick, look_after
from rungwise.ticks.sending import Sender
from rungwise.web.callbacks.inbound_batch import MOST_TOGETHER, Call, store_calls

PROCESSES = get_context("spawn")
# Of a hundred clients, how many answer their text; not before so many seconds.
ANSWERING = 60
SOONEST_S = 20
# What they write, by hundredths: most in a few plain ways, some not to be read, some grave.
SAID = (
    *["20 steady"] * 46, *["20 sec steady"] * 14, *["14 wobbly"] * 12, *["20"] * 10,
    *["20 wobbly"] * 8, *["did it, felt good, 20 seconds"] * 4, *["skip today"] * 3,
    *["what is a mat?"] * 2, "my knee hurts",
)  # fmt: skip
RECEIPT_AFTER_S = 3.0
IDLE_S = 0.05
LOOK_AFTER_EVERY_S = 1.0
# Of sixteen texts, or of what comes together; the rest has threads of its own in service.
ROUNDS_IN_TURN = 7
# What one client's text has come to.
WAITING, PROMPTED, SAYING, ANSWERED = range(4)


@cache
def _due_s(place: int) -> float:
    return due_at(place).timestamp()


def due_s(number: int) -> float:
    """When the client's text is due, in seconds since 1970. Only 1,600 different ones."""
    return _due_s(number % 1600)


def _chance(number: int, salt: int, of: int) -> int:
    drawn = blake2b(f"{salt} {number}".encode(), digest_size=4).digest()
    return int.from_bytes(drawn, "big") * of >> 32


def says(number: int, within_s: float) -> tuple[str, float] | None:
    """What this client answers and after how many seconds; None for one who doesn't."""
    if _chance(number, 1, 100) >= ANSWERING:
        return None
    after_s = SOONEST_S + _chance(number, 3, 1000) / 1000 * (within_s - SOONEST_S)
    return SAID[_chance(number, 2, 100)], after_s


class Shared:
    """What the processes share: the clock, who is idle, and what became of each client's text."""

    def __init__(
        self,
        clients: int,
        workers: int,
        begins: datetime,
        ends: datetime,
        within_s: float,
        step_s: int = 1,
    ) -> None:
        self.begins_s, self.ends_s = begins.timestamp(), ends.timestamp()
        # Idle time is skipped to a multiple of this; what comes meanwhile comes together.
        self.step_s = step_s
        # The longest that a client takes to answer.
        self.within_s = within_s
        # Seconds that the clock is ahead of the machine's monotonic one. Until all are there it
        # is earlier than anything due.
        self.ahead = PROCESSES.Value("d", begins.timestamp() - 7200 - monotonic(), lock=False)
        self.skips = PROCESSES.Value("l", 0, lock=False)
        self.stop = PROCESSES.Value("b", 0, lock=False)
        # -1: at work; else when the worker next has something, in seconds, or infinity.
        self.next_s = PROCESSES.Array("d", [-1.0] * workers, lock=False)
        self.came_to = PROCESSES.RawArray("b", clients)
        self.prompt_lag_s = PROCESSES.RawArray("f", clients)
        self.said_at_s = PROCESSES.RawArray("d", clients)
        self.answer_lag_s = PROCESSES.RawArray("f", clients)
        self.counts = {
            name: PROCESSES.Array("l", workers, lock=False)
            for name in ("prompts", "replies", "answers", "receipts", "pages", "others")
        }
        # What the workers have still to bring in.
        self.to_come = PROCESSES.Array("l", workers, lock=False)

    def total(self, name: str) -> int:
        return sum(self.counts[name])

    def now_s(self) -> float:
        return monotonic() + self.ahead.value


class SharedClock:
    """The service's clock in one worker. `capped`: never past the end, for what is due."""

    def __init__(self, shared: Shared, *, capped: bool = False) -> None:
        self._shared = shared
        self._capped = capped

    def now(self) -> datetime:
        now_s = self._shared.now_s()
        if self._capped:
            now_s = min(now_s, self._shared.ends_s)
        return datetime.fromtimestamp(now_s, UTC)


@dataclass(order=True)
class Coming:
    """Something that a carrier will bring."""

    at_s: float
    number: int
    heard: Heard = field(compare=False)
    is_text: bool = field(compare=False, default=True)


class Answering(Sink):
    """Takes every text, says that it arrived, and lets clients answer theirs."""

    def __init__(self, shared: Shared, worker: int, *, receipts: bool) -> None:
        self.coming: list[Coming] = []
        self._shared = shared
        self._worker = worker
        self._receipts = receipts
        self._lock = Lock()

    def send(self, text: OutboundText) -> Outcome:
        now_s = self._shared.now_s()
        carrier_id = f"{CARRIER}-{text.id}"
        with self._lock:
            number = self._note(text, now_s)
            if self._receipts:
                receipt = Receipt(carrier_id, "delivered", message_id=text.id)
                self._later(now_s + RECEIPT_AFTER_S, number, Heard(receipts=(receipt,)), False)
        return Accepted(carrier_id)

    def _note(self, text: OutboundText, now_s: float) -> int:
        shared, worker = self._shared, self._worker
        if not text.to_phone.startswith(CLIENT_PHONES):
            assert text.to_phone.startswith(TRAINER_PHONES), text.to_phone
            shared.counts["pages"][worker] += 1
            return -1
        number = int(text.to_phone.removeprefix(CLIENT_PHONES))
        came_to = shared.came_to[number]
        if came_to == WAITING:
            shared.counts["prompts"][worker] += 1
            shared.prompt_lag_s[number] = now_s - due_s(number)
            shared.came_to[number] = PROMPTED
            self._let_answer(number, now_s)
        elif came_to == SAYING:
            shared.counts["answers"][worker] += 1
            shared.answer_lag_s[number] = now_s - shared.said_at_s[number]
            shared.came_to[number] = ANSWERED
        else:
            shared.counts["others"][worker] += 1
        return number

    def _let_answer(self, number: int, now_s: float) -> None:
        said = says(number, self._shared.within_s)
        if said is not None:
            body, after_s = said
            text = InboundText(f"in-{number}", phone_of(number), practice_phone(number), body)
            self._later(now_s + after_s, number, Heard(texts=(text,)), True)

    def _later(self, at_s: float, number: int, heard: Heard, is_text: bool) -> None:
        heapq.heappush(self.coming, Coming(at_s, number, heard, is_text))
        self._shared.to_come[self._worker] = len(self.coming)

    def arrived(self, now_s: float, most: int) -> Sequence[Coming]:
        """What has come by now, the earliest first."""
        found: list[Coming] = []
        with self._lock:
            while self.coming and self.coming[0].at_s <= now_s and len(found) < most:
                each = heapq.heappop(self.coming)
                found.append(each)
                if each.is_text:
                    self._shared.said_at_s[each.number] = each.at_s
                    self._shared.came_to[each.number] = SAYING
        return found

    def next_s(self) -> float:
        with self._lock:
            return self.coming[0].at_s if self.coming else inf


class Worker:
    """One process's share: due things, the outbox, and what the carrier brings, in turn."""

    def __init__(self, url: str, shared: Shared, worker: int, *, receipts: bool) -> None:
        self.shared = shared
        self.worker = worker
        self.clock = SharedClock(shared)
        self.until_end = SharedClock(shared, capped=True)
        self.carrier = Answering(shared, worker, receipts=receipts)
        settings = Settings(database_url=url)
        self.parts = Parts(settings, Store(url), self.clock, {CARRIER: self.carrier}, Meters())
        self._looked_at = 0.0

    def run(self) -> None:
        shared = self.shared
        with Sender(self.parts.store, self.carrier, self.clock, Pace()) as sender:
            while not shared.stop.value:
                skips = shared.skips.value
                shared.next_s[self.worker] = -1.0
                if self._round(sender):
                    continue
                if skips == shared.skips.value:
                    shared.next_s[self.worker] = self.carrier.next_s()
                    self._rest(skips)
        self.parts.store.close()

    def _rest(self, skips: int) -> None:
        until = monotonic() + IDLE_S
        while skips == self.shared.skips.value and monotonic() < until:
            sleep(0.001)

    def _round(self, sender: Sender) -> int:
        """A bit of everything, so that neither prompts nor answers wait for all of the others."""
        done = due_tick(self.parts.store, self.until_end, most_batches=1)
        if monotonic() - self._looked_at >= LOOK_AFTER_EVERY_S:
            self._looked_at = monotonic()
            look_after(self.parts.store, self.parts.carriers, self.clock)
        for _ in range(ROUNDS_IN_TURN):
            sent = sender.round()
            done += sent
            if not sent:
                break
        for _ in range(ROUNDS_IN_TURN):
            come = self._bring_in()
            done += come
            if not come:
                break
        return done

    def _bring_in(self) -> int:
        found = self.carrier.arrived(self.shared.now_s(), MOST_TOGETHER)
        if not found:
            return 0
        for outcome in store_calls(self.parts, [Call(CARRIER, each.heard) for each in found]):
            if isinstance(outcome, Exception):
                raise outcome
        for each in found:
            self.shared.counts["replies" if each.is_text else "receipts"][self.worker] += 1
        self.shared.to_come[self.worker] = len(self.carrier.coming)
        return len(found)


def _live(url: str, shared: Shared, worker: int, receipts: bool, told: Any) -> None:
    Worker(url, shared, worker, receipts=receipts).run()
    used = resource.getrusage(resource.RUSAGE_SELF)
    told.put((worker, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024))


@dataclass
class Running:
    """The workers' processes. `used` is filled when they end: (worker, CPU s, largest RSS B)."""

    processes: Sequence[SpawnProcess]
    used: list[tuple[int, float, int]] = field(default_factory=list)


@contextmanager
def working(url: str, shared: Shared, workers: int, *, receipts: bool) -> Iterator[Running]:
    """So many processes at work until this ends."""
    told: Any = PROCESSES.Queue()
    running = Running(
        [
            PROCESSES.Process(target=_live, args=(url, shared, worker, receipts, told), daemon=True)
            for worker in range(workers)
        ]
    )
    for process in running.processes:
        process.start()
    try:
        yield running
    finally:
        shared.stop.value = 1
        for process in running.processes:
            process.join(PATIENCE_S)
            if process.exitcode:
                raise SystemExit(f"a worker ended with {process.exitcode}")
        running.used += [told.get(timeout=PATIENCE_S) for _ in running.processes]


def skip(store: Store, shared: Shared) -> bool:
    """Let idle time pass if all are idle; False when nothing more is to come."""
    soonest = min(shared.next_s)
    if soonest < 0:
        return True
    with store.read() as session:
        due = next_due_at(session)
    due_s_ = due.timestamp() if due is not None else inf
    if due_s_ > shared.ends_s:
        due_s_ = inf
    next_s = min(soonest, due_s_)
    if next_s == inf:
        return False
    now_s = shared.now_s()
    if next_s <= now_s:
        return True  # somebody is about to see it
    for worker in range(len(shared.next_s)):
        shared.next_s[worker] = -1.0
    shared.ahead.value += ceil(next_s / shared.step_s) * shared.step_s - now_s
    shared.skips.value += 1
    return True
