"""The embedded carrier: a practice phone in the browser. Texts never leave this machine."""

import json
import re
from uuid import uuid4

from rungwise.carriers.base import (
    Accepted,
    Callback,
    Forged,
    Heard,
    InboundText,
    OutboundText,
    Outcome,
)
from rungwise.carriers.checks import LONGEST_NAME, same_secret, storable

_BACK = re.compile(r"/phone(?:\?client=\d{1,18})?", re.ASCII)


class Handset:
    """Sends to the practice phone's page, and hears what is typed there.

    A callback carries form fields `from`, `to`, `text` and optionally `id`, and the token in the
    header `X-Handset-Token` or the field `token`. The field `back`, a path of the phone's page,
    makes the answer bring a browser back there.
    """

    name = "handset"

    def __init__(self, token: str) -> None:
        self._token = token

    @property
    def token(self) -> str:
        """What a form of the phone's page must carry; shown to signed-in trainers only."""
        return self._token

    def send(self, text: OutboundText) -> Outcome:
        # The page reads the stored message itself, so being stored is being delivered.
        return Accepted(f"handset-{text.id}", delivered=True)

    def hear(self, callback: Callback) -> Heard:
        given = callback.headers.get("x-handset-token") or callback.fields.get("token", "")
        if not same_secret(given, self._token):
            raise Forged("This handset message has no valid token.")
        carrier_id = storable(callback.fields.get("id") or uuid4().hex)[:LONGEST_NAME]
        text = InboundText(
            carrier_id=carrier_id,
            from_phone=storable(callback.fields.get("from", ""))[:LONGEST_NAME],
            to_phone=storable(callback.fields.get("to", ""))[:LONGEST_NAME],
            body=storable(callback.fields.get("text", "")),
        )
        back = callback.fields.get("back", "")
        if _BACK.fullmatch(back):
            return Heard(texts=(text,), status=303, headers={"Location": back})
        answer = json.dumps({"id": carrier_id, "stored": True})
        return Heard(texts=(text,), answer=answer, media_type="application/json")
