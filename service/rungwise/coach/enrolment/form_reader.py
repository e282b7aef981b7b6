"""A form's fields read one by one, with all that is wrong told at once."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from rungwise.coach.record.fields import number, one_of, sentence, truth_of
from rungwise.errors import ServiceError

T = TypeVar("T")


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
        """A length given in cm, as whole mm."""
        return self.take(name, lambda words: round(number(words, low_mm / 10, high_mm / 10) * 10))
