"""What a carrier is: one small protocol. A new carrier is one file that keeps it.

`send` is called outside any database transaction and may be called from several threads.
`hear` turns a carrier's callback into texts and delivery receipts, or raises Forged.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from service.errors import ServiceError


class Forged(ServiceError):
    """A callback without the carrier's signature or token. Check the carrier's settings."""


@dataclass(frozen=True, slots=True)
class OutboundText:
    """A text to send: phones in E.164; `id` is ours and never changes between tries."""

    id: int
    from_phone: str
    to_phone: str
    body: str
    media_url: str | None = None


@dataclass(frozen=True, slots=True)
class Accepted:
    """The carrier has the text. `delivered` when it also knows that the phone has it."""

    carrier_id: str
    delivered: bool = False


@dataclass(frozen=True, slots=True)
class TryLater:
    """Surely not taken; worth trying again."""

    reason: str


@dataclass(frozen=True, slots=True)
class Refused:
    """Surely not taken, and trying again cannot help."""

    reason: str


@dataclass(frozen=True, slots=True)
class Unknown:
    """The carrier may have taken it: the answer was lost."""

    reason: str


Outcome = Accepted | TryLater | Refused | Unknown


@dataclass(frozen=True, slots=True)
class InboundText:
    """A text that came in. `carrier_id` is the carrier's own id: a repeat has the same."""

    carrier_id: str
    from_phone: str
    to_phone: str
    body: str


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a text we sent."""

    carrier_id: str
    state: Literal["sent", "delivered", "failed"]
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Callback:
    """A request from a carrier, as plain values. `fields` are its query and form fields."""

    method: str
    url: str
    headers: Mapping[str, str]
    fields: Mapping[str, str]
    body: bytes = b""


@dataclass(frozen=True, slots=True)
class Heard:
    """What a callback said, and the answer the carrier expects once it is stored."""

    texts: tuple[InboundText, ...] = ()
    receipts: tuple[Receipt, ...] = ()
    answer: str = ""
    media_type: str = "text/plain"
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)


class Carrier(Protocol):
    @property
    def name(self) -> str: ...

    def send(self, text: OutboundText) -> Outcome: ...

    def hear(self, callback: Callback) -> Heard: ...
