"""Kannel, the open-source gateway: it speaks SMPP to operators, and HTTP to us.

Texts leave by a POST to its sendsms page. The POST and not the GET, so that password, number and
words stand in headers and body, which nobody logs, and not in an address, which everybody logs.
Replies and delivery reports come to /in/kannel as deploy/kannel/kannel.conf sets it up.
"""

import base64
import binascii
import codecs
import hashlib
import logging
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal
from urllib.parse import parse_qsl, unquote_to_bytes, urlsplit

import httpx

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    Heard,
    InboundText,
    OutboundText,
    Outcome,
    Part,
    Receipt,
    Refused,
    TryLater,
    Unknown,
)
from rungwise.carriers.checks import LONGEST_NAME, same_secret, short, storable, unsendable
from rungwise.carriers.wire import Answer, ask
from rungwise.wording.segments import segments

log = logging.getLogger(__name__)

# What a report can say, as Kannel numbers it; we ask for all of them.
REPORTS: Mapping[int, tuple[Literal["sent", "delivered", "failed"], str]] = {
    1: ("delivered", ""),
    2: ("failed", "The operator could not deliver it."),
    4: ("sent", ""),  # the operator keeps it, to try again
    8: ("sent", ""),  # handed to the operator
    16: ("failed", "The operator did not take it."),  # refused, or its time ran out
}
ASK_FOR_ALL = sum(REPORTS)


@dataclass(frozen=True, slots=True)
class KannelAccess:
    """Where Kannel listens and how it knows us; where it calls us and how we know it.

    `url` and `callback_url` have no query; `callback_url` ends before /in/kannel. `token` is made
    of letters, digits, - and _, because it stands in the addresses that Kannel calls.
    """

    url: str
    username: str
    password: str = field(repr=False)
    token: str = field(repr=False)
    callback_url: str


class Kannel:
    """Sends by Kannel's sendsms page, and hears its callbacks.

    The carrier's id of a text we send is `k-` and our own id: Kannel gives none of its own, and a
    report may come before its answer does.
    """

    name = "kannel"

    def __init__(self, access: KannelAccess, http: httpx.Client) -> None:
        self._access = access
        self._http = http

    def send(self, text: OutboundText) -> Outcome:
        refused = unsendable(text)
        if refused is not None:
            return refused
        answer = ask(self._http, self._request(text))
        return _outcome(answer, text.id) if isinstance(answer, Answer) else answer

    def _request(self, text: OutboundText) -> httpx.Request:
        gsm7 = segments(text.body).encoding == "GSM-7"
        headers = {
            "Content-Type": "text/plain; charset=UTF-8",
            "X-Kannel-Username": self._access.username,
            "X-Kannel-Password": self._access.password,
            "X-Kannel-From": text.from_phone,
            "X-Kannel-To": text.to_phone,
            # Kannel does not choose: in 7 bits an emoji would arrive as a question mark.
            "X-Kannel-Coding": "0" if gsm7 else "2",
            "X-Kannel-Validity": str(max(1, text.good_for_s // 60)),  # minutes
            "X-Kannel-DLR-Mask": str(ASK_FOR_ALL),
            "X-Kannel-DLR-Url": self._report_url(text.id),
        }
        url = self._access.url.rstrip("/") + "/cgi-bin/sendsms"
        content = storable(text.body).encode()
        return self._http.build_request("POST", url, headers=headers, content=content)

    def _report_url(self, message_id: int) -> str:
        # Kannel fills in %d (which report) and %F (the operator's id), and turns the user part
        # into an Authorization header, so that the token stays out of logged addresses.
        base = self._access.callback_url.rstrip("/")
        scheme, _, rest = base.partition("://")
        called = f"{scheme}://kannel:{self._access.token}@{rest}/in/kannel"
        return f"{called}?report=%d&message={message_id}&operator_id=%F"

    def hear(self, callback: Callback) -> Heard:
        fields = _fields(callback)
        given = _password(callback.headers.get("authorization", "")) or fields.get("token", "")
        if not same_secret(given, self._access.token):
            raise Forged("This callback has no valid token. Check RUNGWISE_KANNEL_TOKEN.")
        if "report" in fields:
            return _hear_report(fields)
        return Heard(texts=(_hear_text(callback, fields),))


def _outcome(answer: Answer, message_id: int) -> Outcome:
    said = short(answer.words)
    if answer.status == 202 and answer.words.startswith(("0:", "3:")):
        return Accepted(f"k-{message_id}")
    if answer.status in (408, 429) or (answer.status == 503 and _from_kannel(answer)):
        return TryLater("The carrier's queue is full, or it is just starting.")
    if answer.status == 403 and "Authorization" in said:
        return Refused(
            "Kannel refused our name or password. Check RUNGWISE_KANNEL_USERNAME and "
            "RUNGWISE_KANNEL_PASSWORD."
        )
    if answer.status == 404:
        return Refused("Nothing sends texts at that address. Check RUNGWISE_KANNEL_URL.")
    if 400 <= answer.status < 500:
        return Refused(f"Kannel refused it: {said}")
    return Unknown(f"Kannel answered {answer.status}: {said}")


def _from_kannel(answer: Answer) -> bool:
    """Whether a 503 is Kannel's own, said after it did not take the text; a proxy may not know."""
    return answer.words.startswith("Temporal failure")


def _fields(callback: Callback) -> dict[str, str]:
    """The query's fields. As Latin-1, one octet a character, because `text` names its own set."""
    query = urlsplit(callback.url).query
    try:
        pairs = parse_qsl(query, keep_blank_values=True, encoding="latin-1", max_num_fields=50)
    except ValueError:
        raise Forged("This callback has more fields than any that Kannel makes.") from None
    return dict(reversed(pairs))


def _password(authorization: str) -> str:
    scheme, _, encoded = authorization.partition(" ")
    if scheme.lower() != "basic":
        return ""
    try:
        return base64.b64decode(encoded, validate=True).decode().partition(":")[2]
    except (binascii.Error, ValueError):
        return ""


def _hear_report(fields: Mapping[str, str]) -> Heard:
    report, message = fields["report"], fields.get("message", "")
    known = REPORTS.get(int(report)) if _is_number(report) else None
    if known is None or not _is_number(message):
        log.warning("a delivery report of Kannel's said nothing we know")
        return Heard()
    state, detail = known
    operator_id = re.sub(r"[^0-9A-Za-z._-]", "", fields.get("operator_id", ""))[:40]
    if state == "failed" and operator_id:
        detail = f"{detail} Its id there is {operator_id}."
    return Heard(receipts=(Receipt(f"k-{int(message)}", state, detail, int(message)),))


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 18


def _hear_text(callback: Callback, fields: Mapping[str, str]) -> InboundText:
    """A reply: the text in the body as our configuration asks, or in the query with a get-url."""
    headers = callback.headers
    if callback.method == "POST":
        charset = _charset_of(headers.get("content-type", ""))
        octets = callback.body
    else:
        charset = "utf-16-be" if fields.get("coding") == "2" else fields.get("charset", "")
        octets = fields.get("text", "").encode("latin-1", "replace")
    from_phone = headers.get("x-kannel-from") or fields.get("from", "")
    to_phone = headers.get("x-kannel-to") or fields.get("to", "")
    time = headers.get("x-kannel-time") or fields.get("time", "")
    header = _octets(headers.get("x-kannel-udh"), fields.get("udh", ""))
    body = storable(_decoded(octets, charset))
    # A gateway set up without %I still must not be heard twice when it calls again.
    facts = "\0".join((from_phone, to_phone, time, header.hex(), body))
    made_up = hashlib.sha256(facts.encode("utf-8", "replace")).hexdigest()[:32]
    return InboundText(
        carrier_id=storable(fields.get("id") or f"h-{made_up}")[:LONGEST_NAME],
        from_phone=_international(from_phone),
        to_phone=_international(to_phone),
        body=body,
        part=_part(header),
    )


def _charset_of(content_type: str) -> str:
    for parameter in content_type.split(";")[1:]:
        name, _, value = parameter.partition("=")
        if name.strip().lower() == "charset":
            return value.strip().strip('"')
    return ""


def _decoded(octets: bytes, charset: str) -> str:
    """The text; what is no text in its own set becomes U+FFFD, because nothing may get lost."""
    try:
        return octets.decode(codecs.lookup(charset or "utf-8").name, "replace")
    except (LookupError, ValueError):
        return octets.decode("utf-8", "replace")


def _international(phone: str) -> str:
    """Without stray spaces and with a plus for a leading 00; what is not a number stays."""
    phone = storable(phone.strip())[:LONGEST_NAME]
    if phone.startswith("00") and phone.isascii() and phone.isdigit():
        return "+" + phone[2:]
    return phone


def _octets(encoded: str | None, plain: str) -> bytes:
    """The user data header: encoded as in an address, or already taken out of one."""
    if encoded is not None:
        return unquote_to_bytes(encoded.replace("+", " "))
    return plain.encode("latin-1", "replace")


def _part(header: bytes) -> Part | None:
    """The part that a user data header names, by TS 23.040; a nonsense one counts as none."""
    octets = header[1:] if header and header[0] == len(header) - 1 else b""
    while len(octets) >= 2 and len(octets) >= 2 + octets[1]:
        kind, size = octets[0], octets[1]
        element, octets = octets[2 : 2 + size], octets[2 + size :]
        if (kind, size) in ((0x00, 3), (0x08, 4)):
            *reference, total, number = element
            if 1 <= number <= total and total > 1:
                return Part(int.from_bytes(bytes(reference)), total, number)
    return None
