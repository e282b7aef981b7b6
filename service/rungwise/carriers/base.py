"""What a carrier is: one small protocol. A new carrier is one file that keeps it.

`send` is called outside any database transaction and may be called from several threads. It says
honestly what became of the text, answers within half a minute and never raises for what the wire
does: a text that may have been taken is Unknown, never TryLater. A carrier that cannot send
pictures sends the words alone.

`hear` turns a carrier's callback into texts and delivery receipts, or raises Forged. It stores
nothing and does not wait. What is signed but says nothing we know is heard as nothing.

docs/adding-a-carrier.md says how to add one; tests/carriers has what every carrier must pass.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from rungwise.errors import ServiceError


class Forged(ServiceError):
    """A callback without the carrier's signature or token. Check the carrier's settings."""


@dataclass(frozen=True, slots=True)
class OutboundText:
    """A text to send: phones in E.164; `id` is ours and never changes between tries.

    `good_for_s` is how long a gateway or operator may keep it for a phone that is off or a link
    that is down. Kept for days, a prompt would come at night, or after the client went to rest.
    """

    id: int
    from_phone: str
    to_phone: str
    body: str
    media_url: str | None = None
    good_for_s: int = 4 * 3600


@dataclass(frozen=True, slots=True)
class Accepted:
    """The carrier has the text. `delivered` when it also knows that the phone has it."""

    carrier_id: str
    delivered: bool = False


@dataclass(frozen=True, slots=True)
class TryLater:
    """Surely not taken; worth trying again.

    `unreachable` when the carrier itself could not be reached, whoever the text was for.
    """

    reason: str
    unreachable: bool = False


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
class Part:
    """Which part of a long text this is, when a gateway passes the parts on one by one.

    Parts with the same sender, receiver, `reference` and `total` belong together (TS 23.040).
    References come again after 256 or 65,536 texts. `number` is 1 to `total`; the parts come in
    any order.
    """

    reference: int
    total: int
    number: int


@dataclass(frozen=True, slots=True)
class InboundText:
    """A text that came in. `carrier_id` is the carrier's own id: a repeat has the same.

    Phones are as the carrier gives them, in E.164 where it says that they are. `pictures` are
    addresses at the carrier, not fetched.
    """

    carrier_id: str
    from_phone: str
    to_phone: str
    body: str
    part: Part | None = None
    pictures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a text we sent.

    `message_id` is our own id, where the carrier gives it back: it finds the text even when the
    receipt overtakes the answer to our send, or that answer was lost. If the text already has
    another carrier's id, the receipt is not for it.
    """

    carrier_id: str
    state: Literal["sent", "delivered", "failed"]
    detail: str = ""
    message_id: int | None = None


@dataclass(frozen=True, slots=True)
class Callback:
    """A request from a carrier, as plain values. `fields` are its query and form fields.

    The names in `headers` are in lower case; `url` has the query as it came, still encoded.
    """

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
    """A way texts leave and arrive. `name` is its place in /in/NAME and in stored messages."""

    @property
    def name(self) -> str: ...

    def send(self, text: OutboundText) -> Outcome: ...

    def hear(self, callback: Callback) -> Heard: ...
