"""Asking a carrier's HTTP interface, so that what became of a text is known and never guessed.

The question that decides is whether the carrier may have taken the text. It surely has not when no
connection was made. Once the request is on its way, a lost answer tells nothing.
"""

from dataclasses import dataclass
from time import monotonic

import httpx

from service.carriers.base import TryLater, Unknown

CONNECT_S = 5.0
WRITE_S = 5.0
# Long, because an answer that comes late is worth more than one given up on.
READ_S = 15.0
# The whole answer must be here by then. All of it stays well under the outbox's lease.
ANSWER_S = 20.0
CONNECTIONS = 16
LARGEST_ANSWER = 64 * 1024

# Raised before anything of a request has left.
NEVER_SENT = (
    httpx.ConnectError,
    httpx.ConnectTimeout,
    httpx.PoolTimeout,
    httpx.ProxyError,
    httpx.UnsupportedProtocol,
)


@dataclass(frozen=True, slots=True)
class Answer:
    """A whole answer of a carrier, at most LARGEST_ANSWER octets."""

    status: int
    body: bytes

    @property
    def words(self) -> str:
        return self.body.decode("utf-8", "replace").strip()


def http_client(*, auth: tuple[str, str] | None = None, through_proxy: bool = True) -> httpx.Client:
    """A client with the timeouts and limits for sending texts; usable from many threads.

    Idle connections are closed soon: a carrier that closes one while a text is on its way would
    leave that text unknown.
    """
    return httpx.Client(
        auth=auth,
        timeout=httpx.Timeout(connect=CONNECT_S, write=WRITE_S, read=READ_S, pool=CONNECT_S),
        limits=httpx.Limits(
            max_connections=CONNECTIONS, max_keepalive_connections=8, keepalive_expiry=2.0
        ),
        headers={"Accept-Encoding": "identity", "User-Agent": "rungwise"},
        trust_env=through_proxy,
        follow_redirects=False,
    )


def ask(http: httpx.Client, request: httpx.Request) -> Answer | TryLater | Unknown:
    """Send the request once and read the whole answer, or say why there is none."""
    started = monotonic()
    try:
        response = http.send(request, stream=True)
        try:
            body = _body(response, started + ANSWER_S)
        finally:
            response.close()
    except NEVER_SENT:
        return TryLater("The carrier could not be reached.")
    except (httpx.TimeoutException, _TooLate):
        return Unknown("The carrier did not answer in time; it may have taken the text.")
    except (httpx.TransportError, _TooLong):
        return Unknown("The answer broke off or made no sense; the carrier may have the text.")
    return Answer(response.status_code, body)


class _TooLate(Exception):
    """The answer trickles in more slowly than we wait."""


class _TooLong(Exception):
    """The answer is larger than any that a carrier gives."""


def _body(response: httpx.Response, until: float) -> bytes:
    body = b""
    # Raw octets: a compressed answer could unpack to any size, and none was asked for.
    for chunk in response.iter_raw():
        body += chunk
        if len(body) > LARGEST_ANSWER:
            raise _TooLong
        if monotonic() > until:
            raise _TooLate
    return body
