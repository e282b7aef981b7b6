"""Heights as people say them: in cm, or in feet and inches."""

import re

from rungwise.coach.record.fields import number
from rungwise.errors import ImpossibleValue

HEIGHT_CM = (120, 220)
# An inch is25.4 mm exactly, by the international yard and pound agreement of 1959.
_FEET = re.compile(
    r"(?P<feet>\d)\s*(?:ft|feet|foot|['’′])\.?\s*"
    r"(?:(?P<over>\d{1,2}(?:[.,]\d+)?)\s*(?:in|inch|inches|[\"”″]|'')?)?"
    r"|(?P<inches>\d{2}(?:[.,]\d+)?)\s*(?:in|inch|inches|[\"”″]|'')"
)


def height_mm(words: str) -> int:
    """A height in cm, or in feet and inches: 163, 5'4", 5 ft 4, 64 in."""
    low, high = HEIGHT_CM
    told = _FEET.fullmatch(words.strip().lower())
    if told is None:
        return round(number(words.lower().removesuffix("cm").strip(), low, high) * 10)
    inches = float((told["over"] or told["inches"] or "0").replace(",", "."))
    height = round((12 * int(told["feet"] or 0) + inches) * 25.4)
    if not low * 10 <= height <= high * 10:
        raise ImpossibleValue("height", words, f"from {low} to {high} cm, or 4 to 7 ft")
    return height
