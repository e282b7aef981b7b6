"""What must hold of any text before it goes to a carrier, and after it came from one."""

import hmac
import re

from rungwise.carriers.base import OutboundText, Refused
from rungwise.wording.segments import segments

# A gateway set up for fewer parts drops the rest of a text without a word (Kannel does), and half
# a safety text is worse than an alert that it could not be sent. deploy/kannel has the same limit.
MOST_PARTS = 10
# Ids and phones stand in unique keys, whose size a database limits.
LONGEST_NAME = 64

_E164 = re.compile(r"\+[1-9][0-9]{1,14}")
# A number, a short code, or a name of up to 11 letters, where operators allow one.
_SENDER = re.compile(r"\+?[0-9]{3,15}|[0-9A-Za-z][0-9A-Za-z ._-]{0,10}")
_NUL_OR_HALF_PAIR = re.compile("[\x00\ud800-\udfff]")


def unsendable(text: OutboundText) -> Refused | None:
    """Why no carrier should be asked to send this, or None when it can go.

    Checked here because gateways are lenient: one takes an empty text, and one takes a space in
    the number as the start of another number.
    """
    if not _E164.fullmatch(text.to_phone):
        return Refused("The receiver's number is not a whole international number. Correct it.")
    if not _SENDER.fullmatch(text.from_phone):
        return Refused("The practice's own number is not one to send from. Correct it.")
    if not text.body.strip():
        return Refused("The text is empty.")
    if segments(text.body).count > MOST_PARTS:
        return Refused(f"The text takes more than {MOST_PARTS} segments. Make it shorter.")
    return None


def storable(text: str) -> str:
    """The text without what a database cannot hold: NUL and halves of surrogate pairs."""
    return _NUL_OR_HALF_PAIR.sub("\ufffd", text)


def same_secret(given: str, secret: str) -> bool:
    """Whether the two are equal, in a time that does not tell where they differ."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), secret.encode())


def short(words: str, most: int = 160) -> str:
    """What a carrier said, as one plain line without telephone numbers, to show to a trainer."""
    line = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    line = re.sub(r"\+?[0-9]{7,}", "(number)", line)
    return line if len(line) <= most else line[: most - 1] + "…"
