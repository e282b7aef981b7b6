"""Calling an address that a practice gave: signed, over TLS, and never into a private network.

Signed as Standard Webhooks 1.0 says: HMAC-SHA256 over the call's id, the time and the body. The
address is looked up when it is called, and what it resolves to is checked and connected to in one
step, so that a name that changes meanwhile leads nowhere else. No redirect is followed, no proxy
used, and of the answer only its status is read.
"""

import base64
import hashlib
import hmac
import ipaddress
import secrets
import socket
import ssl
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from time import monotonic
from typing import Any
from urllib.parse import urlsplit

import httpcore
import httpx

from rungwise.errors import ImpossibleValue

PREFIX = "whsec_"
SECRET_BYTES = 32
LONGEST_ADDRESS = 500
CONNECT_S = 5.0
ANSWER_S = 10.0
GLOBAL_IPV6 = ipaddress.ip_network("2000::/3")
GONE = 410
# Where web services listen; a call elsewhere could speak to another kind of program.
PORTS = (443, 8443)
Lookup = Callable[[str, int], list[str]]


@dataclass(frozen=True, slots=True)
class HookCall:
    """One call: `called` is its id, the same at every try; `body` is JSON."""

    address: str
    secret: str
    called: str
    body: str


@dataclass(frozen=True, slots=True)
class HookAnswer:
    """What became of a call. `problem` is empty when it was taken; `gone` when nobody wants it."""

    problem: str = ""
    gone: bool = False


class NotAllowed(OSError):
    """The name leads into a private network."""


class OtherPort(NotAllowed):
    """Webhooks are called on ports 443 and 8443 only."""


class Untrusted(OSError):
    """Whoever answers there cannot show that the name is theirs."""


def new_secret() -> str:
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def sign(secret: str, called: str, at: datetime, body: str) -> str:
    """The value of the webhook-signature header."""
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = f"{called}.{int(at.timestamp())}.{body}".encode()
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def addresses_of(host: str, port: int) -> list[str]:
    """Where a name leads now; OSError if nowhere."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except UnicodeError:
        raise OSError("no name can be so") from None  # such as one with two dots together
    return [str(place[0]) for *_, place in found]


def check_address(address: str, *, private: bool = False, lookup: Lookup = addresses_of) -> str:
    """The address as it is kept; ImpossibleValue for one that is not https or not public.

    With `private`, plain http and this machine's own networks are allowed too.
    """
    allowed = "an address such as https://records.example.org/rungwise, with no user and no #"
    address = address.strip()
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        raise ImpossibleValue("address", address[:80], allowed) from None
    schemes = ("https", "http") if private else ("https",)
    plain = address.isascii() and address.isprintable() and " " not in address
    odd = "@" in parts.netloc or "#" in address or "\\" in address
    if not (plain and parts.scheme in schemes and parts.hostname) or odd:
        raise ImpossibleValue("address", address[:80], allowed)
    if not private and (443 if port is None else port) not in PORTS:
        ports = " or ".join(map(str, PORTS))
        raise ImpossibleValue("address", address[:80], f"on port {ports}")
    if len(address) > LONGEST_ADDRESS:
        raise ImpossibleValue("address", address[:80], f"at most {LONGEST_ADDRESS} letters")
    try:
        resolve(parts.hostname, port or 443, lookup, private=private)
    except NotAllowed:
        raise ImpossibleValue("address", address[:80], "outside of private networks") from None
    except OSError:
        raise ImpossibleValue("address", address[:80], "a name that leads somewhere") from None
    return address


def resolve(host: str, port: int, lookup: Lookup, *, private: bool) -> list[str]:
    """The host's addresses; NotAllowed if any of them is not public, OSError if there is none."""
    addresses = lookup(host, port)
    if not private and not all(is_public(address) for address in addresses):
        raise NotAllowed(host)
    return addresses


def is_public(address: str) -> bool:
    """Whether anybody on the internet may be reached there."""
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return False  # such as one with a zone: fe80::1%eth0
    if isinstance(ip, ipaddress.IPv6Address):
        inner = ip.sixtofour
        if ip not in GLOBAL_IPV6 or (inner is not None and not inner.is_global):
            return False
    return ip.is_global and not ip.is_multicast and not ip.is_reserved


def post(
    call: HookCall,
    *,
    private: bool = False,
    at: datetime | None = None,
    lookup: Lookup = addresses_of,
) -> HookAnswer:
    """Make the call once, within seconds; never raises for what the wire does."""
    at = at or datetime.now(UTC)
    headers = {
        "content-type": "application/json",
        "user-agent": "rungwise",
        "accept-encoding": "identity",
        "connection": "close",
        "webhook-id": call.called,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": sign(call.secret, call.called, at, call.body),
    }
    limits = {"connect": CONNECT_S, "read": ANSWER_S, "write": ANSWER_S, "pool": CONNECT_S}
    wire = _Wire(monotonic() + ANSWER_S, lookup, private=private)
    asked: dict[str, Any] = {
        "headers": headers,
        "content": call.body.encode(),
        "extensions": {"timeout": limits},
    }
    try:
        with (
            httpcore.ConnectionPool(ssl_context=_ssl(), network_backend=wire) as pool,
            pool.stream("POST", call.address, **asked) as response,
        ):
            return _answer(response.status)
    except NotAllowed as refused:
        return HookAnswer(refused.__doc__ or "")
    except httpcore.TimeoutException:
        return HookAnswer("No answer in time.")
    except Untrusted:
        return HookAnswer("No encrypted connection that can be trusted.")
    except (httpcore.NetworkError, OSError):
        return HookAnswer("It could not be reached.")
    except (httpcore.ProtocolError, httpcore.UnsupportedProtocol):
        return HookAnswer("The answer made no sense.")


def _answer(status: int) -> HookAnswer:
    if 200 <= status < 300:
        return HookAnswer()
    return HookAnswer(f"It answered {status}.", gone=status == GONE)


@cache
def _ssl() -> ssl.SSLContext:
    return httpx.create_ssl_context()


class _Wire(httpcore.NetworkBackend):
    """Connects only where it may, and ends what takes too long as a whole."""

    def __init__(self, until: float, lookup: Lookup, *, private: bool) -> None:
        self._inner = httpcore.SyncBackend()
        self._lookup = lookup
        self._until = until
        self._private = private

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.NetworkStream:
        try:
            address = resolve(host, port, self._lookup, private=self._private)[0]
        except NotAllowed:
            raise
        except OSError as problem:
            raise httpcore.ConnectError(str(problem)) from None
        if not self._private and port not in PORTS:
            raise OtherPort(host)
        stream = self._inner.connect_tcp(address, port, timeout, local_address, socket_options)
        return _Timed(stream, self._until)


class _Timed(httpcore.NetworkStream):
    """A connection that is over at a moment, however slowly the answer trickles in."""

    def __init__(self, inner: httpcore.NetworkStream, until: float) -> None:
        self._inner = inner
        self._until = until

    def _left(self, timeout: float | None) -> float:
        left = self._until - monotonic()
        if left <= 0:
            raise httpcore.ReadTimeout
        return left if timeout is None else min(left, timeout)

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        return self._inner.read(max_bytes, self._left(timeout))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        self._inner.write(buffer, self._left(timeout))

    def close(self) -> None:
        self._inner.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        try:
            inner = self._inner.start_tls(ssl_context, server_hostname, self._left(timeout))
        except httpcore.ConnectError as problem:
            if isinstance(problem.__context__, ssl.SSLError):
                raise Untrusted from None
            raise
        return _Timed(inner, self._until)

    def get_extra_info(self, info: str) -> Any:
        return self._inner.get_extra_info(info)
