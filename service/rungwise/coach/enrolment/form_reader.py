"""A form's fields read one by one, with all that is wrong told at once."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from rungwise.carriers.phone import to_e164
from rungwise.coach.record.fields import name_or_refuse, number, one_of, sentence, truth_of
from rungwise.concepts.measures import MM_PER_UNIT, exact
from rungwise.errors import ImpossibleValue, ServiceError

T = TypeVar("T")
_INCHES = re.compile(
    r"(?=[\d])(?P<whole>\d{1,3}(?:[.,]\d+)?(?=\s|[^/\d]|$))?\s*"
    r"(?:(?P<over>\d)/(?P<under>[1-9]\d?))?\s*(?:in|inch|inches|[\"”″]|'')"
)


@dataclass(slots=True)
class Reader:
    """The fields, and what was found wrong with them."""

    given: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> str:
        return self.given.get(name, "")

    def take(self, name: str, read: Callable[[str], T], needed: str = "") -> T | None:
        """What `read` makes of the field; None and a problem if it can't, or if it is needed."""
        words = self[name]
        if not words:
            if needed:
                self.problems[name] = needed
            return None
        try:
            return read(words)
        except ServiceError as error:
            self.problems[name] = sentence(error)
            return None

    def flag(self, name: str) -> bool:
        return bool(self.take(name, truth_of))

    def choice(self, name: str, allowed: tuple[str, ...]) -> str:
        return self.take(name, lambda words: one_of(name, words, allowed)) or allowed[0]

    def mm(self, name: str, low_mm: int, high_mm: int) -> int | None:
        """A length given in cm, or in inches where that is said, as whole mm."""
        return self.take(name, lambda words: length_mm(words, low_mm, high_mm))


def length_mm(words: str, low_mm: int, high_mm: int) -> int:
    """A length in cm, or in inches: 24.5, 9 5/8 in, 9.5\"."""
    told = _INCHES.fullmatch(words.strip().lower())
    if told is None:
        plain = words.lower().removesuffix("cm").strip()
        return round(number(plain, low_mm / 10, high_mm / 10) * 10)
    inches = float((told["whole"] or "0").replace(",", "."))
    if told["over"]:
        inches += int(told["over"]) / int(told["under"])
    found = round(inches * MM_PER_UNIT["in"])
    if not low_mm <= found <= high_mm:
        allowed = f"from {exact(low_mm, 'in')} to {exact(high_mm, 'in')}"
        raise ImpossibleValue("length", words, allowed)
    return found


def read_kin(form: Reader, country: str) -> tuple[str, str]:
    """Who is next of kin, and their phone in E.164; both empty where nobody was named."""
    kin = form.take("kin", lambda words: name_or_refuse("kin", words))
    phone = form.take("kin_phone", lambda words: to_e164(words, country, "kin_phone"))
    if phone and not kin and "kin" not in form.problems:
        form.problems["kin"] = "Fill in whose phone it is."
    return kin or "", phone or ""
