"""Each carrier on a bench: the carrier, its far end played by the test, and its own callbacks.

A new carrier gets a bench here, a line in BENCHES, and with it every test of the shared suite.
"""

import base64
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from types import MappingProxyType
from urllib.parse import parse_qs, urlencode

import httpx
from twilio.request_validator import RequestValidator
from wire_server import Says, WireServer, wire_server

from rungwise.carriers.base import Callback, Carrier, OutboundText
from rungwise.carriers.cloud import Cloud, CloudAccess
from rungwise.carriers.handset import Handset
from rungwise.carriers.kannel import Kannel, KannelAccess

PRACTICE = "+12025550100"
CLIENT = "+12025550103"
PUBLIC_URL = "http://127.0.0.1:8780"
TOKEN = "a-token_of-our-own-0123456789"
PASSWORD = "pass & word+%41"
ACCOUNT = "AC0123456789abcdef"
SECRET = "the secret of the account"
# Short, so that a test of a carrier that does not answer is quick; the real ones are tested too.
# What hangs is given up soon; everything else may be slow on a busy machine.
QUICK = httpx.Timeout(60.0, read=1.0)
PATIENT = httpx.Timeout(60.0)


def a_text(body: str = "Feet together, 20 seconds.", id: int = 7, **more: object) -> OutboundText:
    return replace(OutboundText(id, PRACTICE, CLIENT, body), **more)


@dataclass(frozen=True)
class Seen:
    """A text as the carrier's far end got it."""

    from_phone: str
    to_phone: str
    body: str


class Bench:
    """What the shared suite needs to know of a carrier."""

    carrier: Carrier

    def inbound(self, body: str, id: str = "in-1", from_phone: str = CLIENT) -> Callback:
        """The callback that brings a reply from a client."""
        raise NotImplementedError

    def forged(self, callback: Callback) -> dict[str, Callback]:
        """The same callback as someone else would send it, by what is wrong with it."""
        raise NotImplementedError


class WiredBench(Bench):
    """A carrier whose far end is an HTTP server, and which reports what became of a text."""

    accepts: tuple[Says, ...]
    later: tuple[Says, ...]
    refuses: tuple[Says, ...]
    unknown: tuple[Says, ...]
    reports: Mapping[str, str]  # what the carrier's report says → our state

    def __init__(self, wire: WireServer, http: httpx.Client) -> None:
        self.wire = wire
        self.http = http

    def elsewhere(self, url: str, http: httpx.Client | None = None) -> Carrier:
        """The same carrier with its far end at another address or through another client."""
        raise NotImplementedError

    def seen(self) -> list[Seen]:
        """The texts that the far end was asked to send."""
        raise NotImplementedError

    def report(self, text: OutboundText, carrier_id: str, says: str) -> Callback:
        """The callback that tells what became of a text."""
        raise NotImplementedError


class HandsetBench(Bench):
    def __init__(self) -> None:
        self.carrier = Handset(TOKEN)

    def inbound(self, body: str, id: str = "in-1", from_phone: str = CLIENT) -> Callback:
        fields = {"from": from_phone, "to": PRACTICE, "text": body, "id": id}
        return _form("handset", fields, {"x-handset-token": TOKEN})

    def forged(self, callback: Callback) -> dict[str, Callback]:
        return {
            "nothing": replace(callback, headers={**callback.headers, "x-handset-token": ""}),
            "wrong": replace(callback, headers={**callback.headers, "x-handset-token": "é" * 20}),
            "cut": replace(callback, headers={**callback.headers, "x-handset-token": TOKEN[:-1]}),
        }


class KannelBench(WiredBench):
    # Answers as Kannel 1.4.5 words them.
    accepts = (
        Says(202, "0: Accepted for delivery"),
        Says(202, "3: Queued for later delivery"),
    )
    later = (Says(503, "Temporal failure, try again later."), Says(429, "slow down"))
    refuses = (
        Says(403, "Authorization failed for sendsms"),
        Says(403, "Not routable. Do not try again."),
        Says(400, "Empty receiver number not allowed, rejected"),
        Says(404, "Unknown request."),
    )
    unknown = (
        Says(500, "Sending failed."),
        Says(502, "<html>Bad gateway</html>"),
        Says(503, "<html>Service unavailable</html>"),
        Says(202, "<html>Welcome</html>"),
        Says(200, "0: Accepted for delivery"),
        Says(302, ""),
    )
    reports = MappingProxyType(
        {"1": "delivered", "2": "failed", "4": "sent", "8": "sent", "16": "failed"}
    )

    def __init__(self, wire: WireServer, http: httpx.Client) -> None:
        super().__init__(wire, http)
        self.carrier = self.elsewhere(wire.url)

    def elsewhere(self, url: str, http: httpx.Client | None = None) -> Carrier:
        access = KannelAccess(url, "rungwise", PASSWORD, TOKEN, PUBLIC_URL)
        return Kannel(access, http or self.http)

    def seen(self) -> list[Seen]:
        return [
            Seen(asked.headers["x-kannel-from"], asked.headers["x-kannel-to"], asked.body.decode())
            for asked in self.wire.asked
        ]

    def inbound(self, body: str, id: str = "in-1", from_phone: str = CLIENT) -> Callback:
        headers = {
            "content-type": 'text/plain; charset="UTF-8"',
            "authorization": basic("kannel", TOKEN),
            "x-kannel-from": from_phone,
            "x-kannel-to": PRACTICE,
            "x-kannel-time": "2026-11-25 09:50:52",
        }
        url = f"{PUBLIC_URL}/in/kannel?{urlencode({'id': id})}"
        return Callback("POST", url, headers, {"id": id}, body.encode())

    def report(self, text: OutboundText, carrier_id: str, says: str) -> Callback:
        fields = {"report": says, "message": str(text.id), "operator_id": "4711"}
        url = f"{PUBLIC_URL}/in/kannel?{urlencode(fields)}"
        return Callback("GET", url, {"authorization": basic("kannel", TOKEN)}, fields)

    def forged(self, callback: Callback) -> dict[str, Callback]:
        def with_header(value: str) -> Callback:
            return replace(callback, headers={**callback.headers, "authorization": value})

        bare = {k: v for k, v in callback.headers.items() if k != "authorization"}
        return {
            "nothing": replace(callback, headers=bare),
            "empty": with_header(basic("kannel", "")),
            "wrong": with_header(basic("kannel", "x" * 20)),
            "cut": with_header(basic("kannel", TOKEN[:-1])),
            "as the name": with_header(basic(TOKEN, "")),
            "not base64": with_header("Basic " + TOKEN),
            "another scheme": with_header("Bearer " + TOKEN),
        }


class CloudBench(WiredBench):
    accepts = (
        Says(201, '{"sid": "SM0001", "status": "queued"}', "application/json"),
        Says(200, '{"sid": "SM0001", "status": "accepted"}', "application/json"),
    )
    later = (Says(429, '{"code": 20429, "message": "Too Many Requests"}', "application/json"),)
    refuses = (
        Says(400, '{"code": 21211, "message": "Invalid \'To\' number"}', "application/json"),
        Says(401, '{"code": 20003, "message": "Authenticate"}', "application/json"),
        Says(404, "<html>nothing here</html>"),
        Says(422, "[]"),
    )
    unknown = (
        Says(500, '{"message": "Internal error"}', "application/json"),
        Says(502, "<html>Bad gateway</html>"),
        Says(503, "<html>Service unavailable</html>"),
        Says(504, ""),
        Says(201, '{"status": "queued"}', "application/json"),
        Says(201, "<html>Welcome</html>"),
        Says(201, "[" * 60_000),
        Says(302, ""),
    )
    reports = MappingProxyType(
        {
            "queued": "sent",
            "sending": "sent",
            "sent": "sent",
            "delivered": "delivered",
            "read": "delivered",
            "undelivered": "failed",
            "failed": "failed",
        }
    )

    def __init__(self, wire: WireServer, http: httpx.Client) -> None:
        super().__init__(wire, http)
        self.carrier = self.elsewhere(wire.url)

    def elsewhere(self, url: str, http: httpx.Client | None = None) -> Carrier:
        access = CloudAccess(url + "/v1", ACCOUNT, SECRET, PUBLIC_URL, "X-Twilio-Signature")
        return Cloud(access, http or self.http)

    def seen(self) -> list[Seen]:
        forms = [parse_qs(asked.body.decode()) for asked in self.wire.asked]
        return [Seen(form["From"][0], form["To"][0], form["Body"][0]) for form in forms]

    def inbound(self, body: str, id: str = "in-1", from_phone: str = CLIENT) -> Callback:
        fields = {
            "MessageSid": id,
            "SmsSid": id,
            "SmsStatus": "received",
            "AccountSid": ACCOUNT,
            "From": from_phone,
            "To": PRACTICE,
            "Body": body,
            "NumMedia": "0",
        }
        return self.signed("", fields)

    def report(self, text: OutboundText, carrier_id: str, says: str) -> Callback:
        fields = {"MessageSid": carrier_id, "MessageStatus": says, "To": CLIENT, "From": PRACTICE}
        return self.signed(f"?message={text.id}", fields)

    def signed(self, query: str, fields: dict[str, str]) -> Callback:
        """A callback signed by the vendor's own library."""
        url = f"{PUBLIC_URL}/in/cloud{query}"
        signature = RequestValidator(SECRET).compute_signature(url, fields)
        return _form("cloud" + query, fields, {"x-twilio-signature": signature})

    def forged(self, callback: Callback) -> dict[str, Callback]:
        signature = callback.headers["x-twilio-signature"]
        bare = {k: v for k, v in callback.headers.items() if k != "x-twilio-signature"}
        other = RequestValidator("another secret").compute_signature(callback.url, callback.fields)
        body = callback.body
        return {
            "nothing": replace(callback, headers=bare),
            "wrong": replace(callback, headers={**bare, "x-twilio-signature": "é" + signature}),
            "signed by another": replace(callback, headers={**bare, "x-twilio-signature": other}),
            "other words": replace(callback, body=body.replace(b"2025550103", b"2025550104")),
            "one more field": replace(callback, body=body + b"&MessageStatus=delivered"),
            "other address": replace(callback, url=callback.url + "?message=8"),
        }


def basic(name: str, password: str) -> str:
    return "Basic " + base64.b64encode(f"{name}:{password}".encode()).decode()


def _form(place: str, fields: dict[str, str], headers: dict[str, str]) -> Callback:
    kind = {"content-type": "application/x-www-form-urlencoded"}
    url = f"{PUBLIC_URL}/in/{place}"
    return Callback("POST", url, {**kind, **headers}, fields, urlencode(fields).encode())


KINDS: Mapping[str, type[KannelBench] | type[CloudBench]] = MappingProxyType(
    {"kannel": KannelBench, "cloud": CloudBench}
)
WIRED = tuple(KINDS)
BENCHES = ("handset", *WIRED)


@contextmanager
def bench_of(name: str) -> Iterator[Bench]:
    """The bench of a carrier, for the time of a test."""
    if name == "handset":
        yield HandsetBench()
        return
    auth = (ACCOUNT, SECRET) if name == "cloud" else None
    with wire_server() as wire, httpx.Client(timeout=QUICK, auth=auth, trust_env=False) as http:
        yield KINDS[name](wire, http)


def offline(name: str, answer: Callable[[httpx.Request], httpx.Response] | None = None) -> Bench:
    """The bench of a carrier without a server: `answer` stands for the wire."""
    if name == "handset":
        return HandsetBench()
    transport = httpx.MockTransport(answer or (lambda _request: httpx.Response(500)))
    return KINDS[name](WireServer(url="http://127.0.0.1:9"), httpx.Client(transport=transport))
