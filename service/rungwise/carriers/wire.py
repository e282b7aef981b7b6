"""Asking a carrier's HTTP interface, so that what became of a text is known and never guessed.

The question that decides is whether the carrier may have taken the text. It surely has not when no
connection was made. Once the request is on its way, a lost answer tells nothing.
"""

from dataclasses import dataclass
from time import monotonic

import httpx

from rungwise.carriers.base import TryLater, Unknown

CONNECT_S = 5.0
WRITE_S = 5.0
# Long, because an answer that comes late is worth more than one given up on.
READ_S = 15.0
# The whole answer must be here by then. All of it stays well under the outbox's lease.
ANSWER_S = 20.0
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
    """A client with the timeouts for sending texts; usable from many threads.

    How many texts leave at once is for the outbox to say. There is no second limit here, because
    httpcore 1.0 can leave its pool full for ever after requests had to wait for it (its issue 550).
    """
    return httpx.Client(
        auth=auth,
        timeout=httpx.Timeout(connect=CONNECT_S, write=WRITE_S, read=READ_S, pool=CONNECT_S),
        limits=httpx.Limits(max_connections=None, max_keepalive_connections=0),
        headers={"Accept-Encoding": "identity", "User-Agent": "rungwise"},
        trust_env=through_proxy,
        follow_redirects=False,
    )


def ask(
    http: httpx.Client, request: httpx.Request, within_s: float = ANSWER_S
) -> Answer | TryLater | Unknown:
    """Send the request once and read the whole answer, or say why there is none.

    Each text has a connection of its own. A kept one may be closed by the carrier while a text is
    on its way; and httpcore 1.0, used from several threads, now and then closes a kept connection
    that another thread is using (its issue 1110). Either would leave the text unknown.
    """
    request.headers["Connection"] = "close"
    started = monotonic()
    try:
        response = http.send(request, stream=True)
        try:
            body = _body(response, started + within_s)
        finally:
            response.close()
    except NEVER_SENT:
        return TryLater("The carrier could not be reached.", unreachable=True)
    except (httpx.TimeoutException, _TooLate):
        return Unknown("The carrier did not answer in time; it may have taken the text.")
    except (httpx.TransportError, _TooLong):
        return Unknown("The answer broke off or made no sense; the carrier may have the text.")
    return Answer(response.status_code, body)


class _TooLate(Exception):
    """The answer trickles in more slowly than we wait."""


class _TooLong(Exception):
    """The answer is larger than any that a carrier gives, or packed so that it could be."""


def _body(response: httpx.Response, until: float) -> bytes:
    if response.headers.get("content-encoding", "identity") != "identity":
        raise _TooLong  # none was asked for, and it could unpack to any size
    body = b""
    for chunk in response.iter_bytes():
        body += chunk
        if len(body) > LARGEST_ANSWER:
            raise _TooLong
        if monotonic() > until:
            raise _TooLate
    return body
