"""What carriers bring waits here for its turn, and what waits together is stored together.

Each call is answered only after the commit that holds it. A commit waits for the disk, and reading
what a decision needs costs as much for thirty clients as for three; so the calls that came while
one transaction ran share the next. When one of them makes that fail, each is stored by itself.
"""

import asyncio
import logging
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session
from starlette.concurrency import run_in_threadpool

from rungwise.carriers.base import Heard, Receipt
from rungwise.coach.daily.addressed import Arrival
from rungwise.coach.daily.delivery import note_receipts
from rungwise.coach.daily.receive import receive, receive_together
from rungwise.parts import Parts
from rungwise.store.database import is_passing
from rungwise.store.tables import Message

log = logging.getLogger(__name__)

# More would keep others from writing for too long and gain little.
MOST_TOGETHER = 32
# A moment for others that are just coming in, e.g. from a gateway that had its last answers now.
GATHER_S = 0.002


@dataclass(frozen=True, slots=True)
class Call:
    """What one call of a carrier said."""

    carrier: str
    heard: Heard


class Arriving:
    """The calls that wait, for one event loop."""

    def __init__(self, parts: Parts, loop: asyncio.AbstractEventLoop) -> None:
        self.parts = parts
        self.loop = loop
        self._waiting: list[tuple[Call, asyncio.Future[list[int]]]] = []
        self._worker: asyncio.Task[None] | None = None

    async def store(self, call: Call) -> list[int]:
        """Store it with all that it sets off; the new messages' ids, once they are committed."""
        done: asyncio.Future[list[int]] = self.loop.create_future()
        self._waiting.append((call, done))
        if self._worker is None:
            self._worker = asyncio.create_task(self._work())
        return await done

    async def _work(self) -> None:
        try:
            while self._waiting:
                await asyncio.sleep(GATHER_S)
                together = self._waiting[:MOST_TOGETHER]
                del self._waiting[:MOST_TOGETHER]
                calls = [call for call, _ in together]
                outcomes = await run_in_threadpool(store_calls, self.parts, calls)
                for (_, done), outcome in zip(together, outcomes, strict=True):
                    if done.done():
                        continue  # whoever called has gone
                    if isinstance(outcome, BaseException):
                        done.set_exception(outcome)
                    else:
                        done.set_result(outcome)
        finally:
            self._worker = None


def store_calls(parts: Parts, calls: Sequence[Call]) -> list[list[int] | Exception]:
    """Store the calls, in one transaction if that can be; for each its messages' ids, or why not.

    It is done again when the database was away for a moment: some carriers call only once. Twice is
    as good as once, because the carrier's id tells a text that is stored already.
    """
    try:
        return [*parts.store.run(lambda session: _together(session, parts.clock.now(), calls))]
    except Exception as problem:
        if is_passing(problem):
            return [problem] * len(calls)
        log.exception("%s calls could not be stored together; each is stored by itself", len(calls))
    return [_alone(parts, call) for call in calls]


def _together(session: Session, now: datetime, calls: Sequence[Call]) -> list[list[int]]:
    whole = [
        (number, Arrival(call.carrier, text))
        for number, call in enumerate(calls)
        for text in call.heard.texts
        if text.part is None
    ]
    ids: list[list[int]] = [[] for _ in calls]
    stored = receive_together(session, now, [arrival for _, arrival in whole])
    for (number, _), message in zip(whole, stored, strict=True):
        ids[number] += _id(message)
    receipts: dict[str, list[Receipt]] = defaultdict(list)
    for number, call in enumerate(calls):
        for text in call.heard.texts:
            if text.part is not None:
                ids[number] += _id(receive(session, now, call.carrier, text))
        receipts[call.carrier] += call.heard.receipts
    for carrier, brought in receipts.items():
        note_receipts(session, now, carrier, brought)
    return ids


def _alone(parts: Parts, call: Call) -> list[int] | Exception:
    def store(session: Session) -> list[int]:
        now = parts.clock.now()
        stored = [receive(session, now, call.carrier, text) for text in call.heard.texts]
        note_receipts(session, now, call.carrier, call.heard.receipts)
        return [message.id for message in stored if message is not None]

    try:
        return parts.store.run(store)
    except Exception as problem:
        return problem


def _id(message: Message | None) -> list[int]:
    return [] if message is None else [message.id]
