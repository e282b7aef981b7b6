"""The operator behind a gateway: a small SMPP 3.4 message centre on loopback.

It takes what the gateway submits, keeps it as a phone would show it, and delivers replies and
receipts. The alphabet is another library's (smsutil), so that ours is not checked by itself.
"""

import asyncio
import threading
from collections import defaultdict
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, TypeVar

import smpp34
import smsutil
from waiting import PATIENCE_S

T = TypeVar("T")
UCS2 = 8
HEADER_PRESENT = 0x40
RECEIPT = 0x04
INTERNATIONAL = 1


@dataclass(frozen=True)
class Submitted:
    """One part as the gateway submitted it, with the id that the operator gave it."""

    id: str
    source: str
    destination: str
    coding: int
    body: bytes
    wants_receipt: bool
    joined: tuple[int, int, int] | None  # reference, total, number


@dataclass
class Operator:
    """`parts` is everything submitted so far; `rejects` are the errors to refuse the next with,
    once `may_answer` is set."""

    port: int
    parts: list[Submitted] = field(default_factory=list)
    rejects: list[int] = field(default_factory=list)
    may_answer: threading.Event = field(default_factory=threading.Event)
    count: int = 0
    _loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.new_event_loop)
    _session: Any = None

    @property
    def bound(self) -> bool:
        return self._session is not None

    def parts_to(self, phone: str) -> list[Submitted]:
        return [part for part in list(self.parts) if part.destination == phone]

    def texts_to(self, phone: str) -> list[str]:
        """The whole texts, by when their first part came; unfinished ones are left out."""
        whole: dict[object, dict[int, bytes]] = defaultdict(dict)
        totals: dict[object, tuple[int, int]] = {}
        for place, part in enumerate(self.parts_to(phone)):
            reference, total, number = part.joined or (place, 1, 1)
            key = (part.source, part.joined is None, reference)
            whole[key][number] = part.body
            totals[key] = (total, part.coding)
        found = []
        for key, bodies in whole.items():
            total, coding = totals[key]
            if len(bodies) == total:
                octets = b"".join(bodies[number] for number in sorted(bodies))
                found.append(_shown(octets, coding))
        return found

    def reply(self, sender: str, receiver: str, words: str, parts: int = 1, **more: Any) -> None:
        """A client's text, in 7 bits if it can be, in as many parts as are asked for."""
        for body, header in in_parts(words, parts):
            self.deliver(sender, receiver, body, header, coding_of(words), **more)

    def deliver(
        self,
        sender: str,
        receiver: str,
        body: bytes,
        header: bytes = b"",
        coding: int = 0,
        ton: int = INTERNATIONAL,
    ) -> None:
        """One part to the gateway; it has it when this returns."""
        self._deliver(
            source_addr=sender.removeprefix("+"),
            destination_addr=receiver.removeprefix("+"),
            source_addr_ton=ton,
            dest_addr_ton=ton,
            esm_class=HEADER_PRESENT if header else 0,
            data_coding=coding,
            short_message=header + body,
        )

    def receipt(self, part: Submitted, stat: str = "DELIVRD") -> None:
        """What became of a text at the phone."""
        said = (
            f"id:{part.id} sub:001 dlvrd:001 submit date:2603021300 done date:2603021301 "
            f"stat:{stat} err:000 text:..."
        )
        self._deliver(
            source_addr=part.destination.removeprefix("+"),
            destination_addr=part.source.removeprefix("+"),
            source_addr_ton=INTERNATIONAL,
            dest_addr_ton=INTERNATIONAL,
            esm_class=RECEIPT,
            short_message=said.encode(),
        )

    def _deliver(self, **pdu: Any) -> None:
        async def deliver() -> Any:
            return await self._session.deliver_sm(**pdu)

        assert self._call(deliver()).is_success

    def _call(self, work: Coroutine[Any, Any, T]) -> T:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(PATIENCE_S)

    async def _serve(self, started: threading.Event) -> None:
        server = smpp34.Server("127.0.0.1", self.port, system_id="OPERATOR")
        await server.start()
        started.set()
        try:
            while True:
                event = await server.next()
                if isinstance(event, smpp34.Esme):
                    self._session = event
                elif isinstance(event, smpp34.SubmitSmEvent):
                    while not self.may_answer.is_set():
                        await asyncio.sleep(0.01)
                    self._take(event)
        finally:
            await server.stop()

    def _take(self, event: Any) -> None:
        if self.rejects:
            event.reject(self.rejects.pop(0))
            return
        self.count += 1
        id = f"{self.count:08x}"
        self.parts.append(_submitted(id, event))
        event.accept(id)


def _submitted(id: str, event: Any) -> Submitted:
    header, body = b"", event.short_message
    if event.esm_class & HEADER_PRESENT:
        header, body = body[: body[0] + 1], body[body[0] + 1 :]
    joined = (header[3], header[4], header[5]) if header[1:3] == b"\x00\x03" else None

    def whole(ton: int, number: str) -> str:
        return ("+" if ton == INTERNATIONAL else "") + number

    return Submitted(
        id=id,
        source=whole(event.source_addr_ton, event.source_addr),
        destination=whole(event.dest_addr_ton, event.destination_addr),
        coding=event.data_coding,
        body=body,
        wants_receipt=event.registered_delivery & 1 == 1,
        joined=joined,
    )


def coding_of(words: str) -> int:
    return 0 if smsutil.is_valid_gsm(words) else UCS2


def octets_of(words: str) -> bytes:
    return bytes(smsutil.encode(words)) if coding_of(words) == 0 else words.encode("utf-16-be")


def _shown(octets: bytes, coding: int) -> str:
    if coding == UCS2:
        return octets.decode("utf-16-be")
    shown: str = smsutil.decode(octets, "gsm0338")
    return shown


def in_parts(words: str, count: int, reference: int = 0x20) -> list[tuple[bytes, bytes]]:
    """Body and user data header of each part; equal lengths, so surrogate pairs may be parted."""
    octets = octets_of(words)
    if count == 1:
        return [(octets, b"")]
    size = -(-len(octets) // count)
    size += size % 2
    pieces = [octets[start : start + size] for start in range(0, len(octets), size)]
    assert len(pieces) == count
    return [
        (piece, bytes([5, 0, 3, reference, count, number]))
        for number, piece in enumerate(pieces, start=1)
    ]


@contextmanager
def operator_on(port: int) -> Iterator[Operator]:
    """An operator that takes texts until the end of the block."""
    operator = Operator(port)
    started = threading.Event()
    loop = operator._loop

    def run() -> None:
        asyncio.set_event_loop(loop)
        work = loop.create_task(operator._serve(started))
        loop.run_forever()
        work.cancel()
        loop.run_until_complete(asyncio.gather(work, return_exceptions=True))
        loop.close()

    thread = threading.Thread(target=run)
    thread.start()
    try:
        assert started.wait(PATIENCE_S)
        yield operator
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join(PATIENCE_S)
