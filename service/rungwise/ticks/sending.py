"""Taking texts from the outbox to a carrier, several at once, and storing what became of them."""

import logging
from collections.abc import Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from datetime import datetime, timedelta
from threading import Event, Thread
from time import monotonic
from types import TracebackType
from typing import Self

from rungwise.carriers.base import (
    Accepted,
    Carrier,
    OutboundText,
    Outcome,
    Refused,
    TryLater,
    Unknown,
)
from rungwise.clock import Clock
from rungwise.coach.daily.delivery import Sent, settle, take
from rungwise.coach.outbox.claiming import LEASE, outbound, waits_for
from rungwise.coach.outbox.rate_limit import Pace
from rungwise.logs import about
from rungwise.meters import Meters
from rungwise.store import Store
from rungwise.store.database import is_passing

log = logging.getLogger(__name__)

# A text that was claimed and not handed over by now, because the process was held up, is put
# back: what is handed over must have its answer before the lease runs out.
HAND_OVER_WITHIN = timedelta(seconds=20)
# A round waits for one answer at most, and each comes within half a minute.
ROUND_WITHIN_S = 90.0
OUTCOMES: Mapping[type, str] = {
    Accepted: "accepted",
    TryLater: "try_later",
    Refused: "refused",
    Unknown: "unknown",
}


class Sender:
    """Sends one carrier's texts, at most `pace.at_once` on their way at the same time.

    A text is claimed only when it can leave at once, so that between the look at its client's
    state and the wire nothing is waited for.
    """

    def __init__(
        self,
        store: Store,
        carrier: Carrier,
        clock: Clock,
        pace: Pace,
        meters: Meters | None = None,
    ) -> None:
        self._store = store
        self._carrier = carrier
        self._clock = clock
        self._pace = pace
        self._pool: ThreadPoolExecutor | None = None
        self._on_their_way: set[Future[Sent]] = set()
        self._meters = meters or Meters()
        self._answers_since: dict[int, datetime] = {}

    @property
    def name(self) -> str:
        return self._carrier.name

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _problem: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.finish()

    def round(self) -> int:
        """Claim what may leave now, hand it over and wait for all answers; how many claimed."""
        claimed = self._claim(self._pace.at_once)
        self._wait_for_all()
        return claimed

    def step(self) -> int:
        """Claim and hand over what there is room for; store the answers that are there.

        Waits for the first answer when texts are on their way. 0: nothing was left to do.
        """
        dealt_with = self._claim(self._pace.at_once - len(self._on_their_way))
        if self._on_their_way:
            wait(self._on_their_way, return_when=FIRST_COMPLETED)
            dealt_with += self._store_answers()
        return dealt_with

    def finish(self) -> None:
        """Wait for every answer, store them and let the threads go."""
        self._wait_for_all()
        if self._pool is not None:
            self._pool.shutdown()
            self._pool = None

    def _wait_for_all(self) -> None:
        while self._on_their_way:
            wait(self._on_their_way, return_when=FIRST_COMPLETED)
            self._store_answers()

    def _claim(self, room: int) -> int:
        if room <= 0:
            return 0
        name = self.name
        with self._store.read() as session:
            if not waits_for(session, self._clock.now(), name):
                return 0
        now = self._clock.now()
        claimed = self._store.run(lambda session: take(session, now, name, self._pace, room))
        until = Deadline(now + HAND_OVER_WITHIN, monotonic() + HAND_OVER_WITHIN.total_seconds())
        for message in claimed.to_send:
            text = outbound(message, now)
            if message.answers_id is not None:
                self._answers_since[message.id] = message.created_at
            self._on_their_way.add(
                self._threads().submit(self._send, text, message.attempts, until)
            )
        others = (claimed.kept_back, claimed.set_aside, claimed.stale)
        return len(claimed.to_send) + sum(len(each) for each in others)

    def _threads(self) -> ThreadPoolExecutor:
        if self._pool is None:
            name = f"send-{self._carrier.name}"
            self._pool = ThreadPoolExecutor(self._pace.at_once, thread_name_prefix=name)
        return self._pool

    def _send(self, text: OutboundText, attempt: int, until: "Deadline") -> Sent:
        return Sent(text.id, attempt, self._outcome(text, until))

    def _outcome(self, text: OutboundText, until: "Deadline") -> Outcome:
        if until.is_over(self._clock.now()):
            return TryLater("The service was held up before it could send this.")
        try:
            return self._carrier.send(text)
        except Exception as problem:
            log.exception("sending message %s failed", text.id, extra={"message_id": text.id})
            return Unknown(type(problem).__name__)

    def _store_answers(self) -> int:
        done = {each for each in self._on_their_way if each.done()}
        answers: Sequence[Sent] = [each.result() for each in done]
        now = self._clock.now()
        self._settle(now, answers)
        # Only now: while the database is away, the answers wait here.
        self._on_their_way -= done
        for answer in answers:
            self._count(answer, now)
        return len(answers)

    def _settle(self, now: datetime, answers: Sequence[Sent]) -> None:
        """Store the answers together; if that fails, each by itself, so that one stops no other."""
        try:
            self._store.run(lambda session: settle(session, now, self.name, answers))
        except Exception as problem:
            if is_passing(problem):
                raise
            # If it is only one, its lease runs out and it is settled without its answer.
            log.exception("the answers to %s could not be stored", [a.message_id for a in answers])
            for answer in answers if len(answers) > 1 else ():
                self._settle(now, [answer])

    def _count(self, answer: Sent, now: datetime) -> None:
        outcome = OUTCOMES[type(answer.outcome)]
        self._meters.sent.labels(self.name, outcome).inc()
        since = self._answers_since.pop(answer.message_id, None)
        if since is not None and outcome == "accepted":
            self._meters.answers.observe(max((now - since).total_seconds(), 0.0))
        ids = {"message_id": answer.message_id, "attempt": answer.attempt}
        log.info("handed over", extra={**ids, "carrier": self.name, "outcome": outcome})


class Senders:
    """A thread for each carrier, so that a slow one holds up no other."""

    def __init__(
        self,
        store: Store,
        carriers: Mapping[str, Carrier],
        clock: Clock,
        paces: Mapping[str, Pace],
        meters: Meters | None = None,
    ) -> None:
        self._threads = [
            _Loop(Sender(store, carrier, clock, paces.get(name, Pace()), meters))
            for name, carrier in carriers.items()
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def wake(self) -> None:
        """Something may wait in the outbox."""
        for thread in self._threads:
            thread.wake.set()

    def all_well(self) -> bool:
        """Whether each has come round lately."""
        return all(monotonic() - thread.last_round < ROUND_WITHIN_S for thread in self._threads)

    def stop(self) -> None:
        """End after what is on its way has been answered."""
        for thread in self._threads:
            thread.stopping = True
            thread.wake.set()
        for thread in self._threads:
            thread.join()


class _Loop(Thread):
    """Sends until nothing waits, then sleeps until it is woken."""

    def __init__(self, sender: Sender) -> None:
        super().__init__(name=f"sender-{sender.name}", daemon=True)
        self.wake = Event()
        self.stopping = False
        self.last_round = monotonic()
        self._sender = sender

    def run(self) -> None:
        with about(tick="send"):
            self._run()

    def _run(self) -> None:
        while not self.stopping:
            self.wake.wait()
            self.wake.clear()
            try:
                while self._sender.step() and not self.stopping:
                    self.last_round = monotonic()
                self.last_round = monotonic()
            except Exception:
                log.exception("sending by %s failed; it is tried again", self._sender.name)
        try:
            self._sender.finish()
        except Exception:
            log.exception("the last answers of %s could not be stored", self._sender.name)


class Deadline:
    """A moment by the practice's clock and by one that nobody sets; over when either says so."""

    def __init__(self, at: datetime, at_monotonic: float) -> None:
        self._at = at
        self._at_monotonic = at_monotonic

    def is_over(self, now: datetime) -> bool:
        # Set far ahead of `at` or far back from it, the clock says nothing: then the other rules.
        near = abs(now - self._at) < LEASE
        return monotonic() > self._at_monotonic or (near and now > self._at)
