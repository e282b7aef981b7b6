"""A cloud SMS service with the common kind of HTTP interface.

Texts leave by a form POST to {url}/Accounts/{account}/Messages.json with basic authentication;
replies and status reports come to /in/cloud as signed form POSTs. docs/carriers.md names services
that speak it.
"""

import base64
import hmac
import json
import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal
from urllib.parse import parse_qsl, quote, urlsplit, urlunsplit

import httpx

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    Heard,
    InboundText,
    OutboundText,
    Outcome,
    Receipt,
    Refused,
    TryLater,
    Unknown,
)
from rungwise.carriers.checks import LONGEST_NAME, same_secret, short, storable, unsendable
from rungwise.carriers.wire import Answer, ask

log = logging.getLogger(__name__)

# A document that says to answer nothing: our answers leave through the outbox.
NO_ANSWER = '<?xml version="1.0" encoding="UTF-8"?><Response></Response>'
STATES: Mapping[str, Literal["sent", "delivered", "failed"]] = {
    "accepted": "sent",  # the service has it, which is what `sent` means
    "scheduled": "sent",
    "queued": "sent",
    "sending": "sent",
    "sent": "sent",
    "delivered": "delivered",
    "read": "delivered",
    "undelivered": "failed",
    "failed": "failed",
    "canceled": "failed",
}
ARRIVED = ("received", "receiving")
# A longer one is refused by some services (from memory).
LONGEST_VALIDITY_S = 4 * 3600
MOST_FIELDS = 100
MOST_PICTURES = 10


@dataclass(frozen=True, slots=True)
class CloudAccess:
    """The service's address, our account there, and the secret that also signs its callbacks.

    `callback_url` ends before /in/cloud and is our address as the service calls it, because the
    signature covers it; behind a proxy the address that we see is another.
    """

    url: str
    account: str
    secret: str = field(repr=False)
    callback_url: str
    signature_header: str


class Cloud:
    """Sends by the service's Messages resource, and hears its signed callbacks."""

    name = "cloud"

    def __init__(self, access: CloudAccess, http: httpx.Client) -> None:
        self._access = access
        self._http = http

    def send(self, text: OutboundText) -> Outcome:
        refused = unsendable(text)
        if refused is not None:
            return refused
        answer = ask(self._http, self._request(text))
        return _outcome(answer) if isinstance(answer, Answer) else answer

    def _request(self, text: OutboundText) -> httpx.Request:
        form = {
            "To": text.to_phone,
            "From": text.from_phone,
            "Body": storable(text.body),
            "ValidityPeriod": str(max(1, min(text.good_for_s, LONGEST_VALIDITY_S))),
            # Our own id comes back in the report, inside what is signed.
            "StatusCallback": f"{self._called_at()}?message={text.id}",
        }
        if text.media_url is not None:
            form["MediaUrl"] = text.media_url
        account = quote(self._access.account, safe="")
        url = f"{self._access.url.rstrip('/')}/Accounts/{account}/Messages.json"
        return self._http.build_request("POST", url, data=form)

    def _called_at(self) -> str:
        return self._access.callback_url.rstrip("/") + "/in/cloud"

    def hear(self, callback: Callback) -> Heard:
        query = urlsplit(callback.url).query
        form = _pairs(callback.body.decode("utf-8", "replace")) if callback.method == "POST" else []
        url = self._called_at() + (f"?{query}" if query else "")
        given = callback.headers.get(self._access.signature_header.lower(), "")
        if not signed(self._access.secret, url, form, given):
            raise Forged(
                "This callback is not signed by the cloud carrier. Check RUNGWISE_CLOUD_SECRET, "
                "and that RUNGWISE_PUBLIC_URL is the address it calls."
            )
        fields = dict(reversed([*form, *_pairs(query)]))
        texts, receipts = _said(fields)
        return Heard(texts, receipts, NO_ANSWER, "text/xml")


def signature(secret: str, url: str, form: Iterable[tuple[str, str]]) -> str:
    """HMAC-SHA1 of the address and the form's fields, sorted, with nothing between; base64."""
    said = url + "".join(name + value for name, value in sorted(set(form)))
    digest = hmac.new(secret.encode(), said.encode("utf-8", "replace"), "sha1").digest()
    return base64.b64encode(digest).decode()


def signed(secret: str, url: str, form: Iterable[tuple[str, str]], given: str) -> bool:
    """Whether `given` is the signature. The port may be named in what was signed, or not."""
    fields = tuple(form)
    fits = [
        same_secret(given, signature(secret, spelling, fields))
        for spelling in {url, *_with_and_without_port(url)}
    ]
    return any(fits)


def _with_and_without_port(url: str) -> tuple[str, str]:
    parts = urlsplit(url)
    host = parts.netloc.rpartition("@")[2]
    bare = host if parts.port is None else host.rpartition(":")[0]
    port = parts.port or (443 if parts.scheme == "https" else 80)
    return (
        urlunsplit(parts._replace(netloc=bare)),
        urlunsplit(parts._replace(netloc=f"{bare}:{port}")),
    )


def _pairs(encoded: str) -> list[tuple[str, str]]:
    try:
        return parse_qsl(encoded, keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        raise Forged("This callback has more fields than any text message.") from None


def _outcome(answer: Answer) -> Outcome:
    """What an answer means.

    The service has no key by which a second send would be known for the same text, so every answer
    after which the text may have been taken is Unknown: 5xx too, 503 among them, because a proxy
    in between answers so after it passed the request on. Only 408 and 429 say that it was not taken
    and may be tried again.
    """
    told = _json(answer.body)
    if answer.status in (200, 201, 202):
        sid = told.get("sid")
        if isinstance(sid, str) and 0 < len(sid) <= 64 and sid.isascii():
            return Accepted(sid)
        return Unknown("The carrier took the text but gave no id for it.")
    if answer.status in (408, 429):
        return TryLater("The carrier asked us to send more slowly.")
    if answer.status in (401, 403):
        return Refused(
            "The carrier refused our account or secret. Check RUNGWISE_CLOUD_ACCOUNT and "
            "RUNGWISE_CLOUD_SECRET." + _reason(told)
        )
    if 400 <= answer.status < 500:
        return Refused("The carrier refused it." + _reason(told))
    return Unknown(f"The carrier answered {answer.status}; it may have taken the text.")


def _json(body: bytes) -> Mapping[str, object]:
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}


def _reason(told: Mapping[str, object]) -> str:
    message, code = told.get("message"), told.get("code")
    said = short(message) if isinstance(message, str) else ""
    number = f" (code {code})" if isinstance(code, int) else ""
    return f" It says: {said}{number}" if said else number


def _said(fields: Mapping[str, str]) -> tuple[tuple[InboundText, ...], tuple[Receipt, ...]]:
    carrier_id = storable(fields.get("MessageSid") or fields.get("SmsSid", ""))[:LONGEST_NAME]
    status = fields.get("MessageStatus", "").lower()
    if carrier_id and status and status not in ARRIVED:
        state = STATES.get(status)
        if state is not None:
            return (), (Receipt(carrier_id, state, _detail(state, fields), _our_id(fields)),)
    elif carrier_id and "From" in fields and "Body" in fields:
        return (_text(carrier_id, fields),), ()
    log.warning("a signed callback of the cloud carrier said nothing we know")
    return (), ()


def _text(carrier_id: str, fields: Mapping[str, str]) -> InboundText:
    told = fields.get("NumMedia", "")
    count = min(int(told), MOST_PICTURES) if told.isascii() and told.isdigit() else 0
    pictures = (storable(fields.get(f"MediaUrl{place}", "")) for place in range(count))
    return InboundText(
        carrier_id=carrier_id,
        from_phone=storable(fields["From"])[:LONGEST_NAME],
        to_phone=storable(fields.get("To", ""))[:LONGEST_NAME],
        body=storable(fields.get("Body", "")),
        pictures=tuple(picture for picture in pictures if picture),
    )


def _detail(state: str, fields: Mapping[str, str]) -> str:
    if state != "failed":
        return ""
    code = short(fields.get("ErrorCode", ""), 20)
    return f"The carrier could not deliver it (code {code})." if code else "It was not delivered."


def _our_id(fields: Mapping[str, str]) -> int | None:
    told = fields.get("message", "")
    return int(told) if told.isascii() and told.isdigit() and len(told) <= 18 else None
