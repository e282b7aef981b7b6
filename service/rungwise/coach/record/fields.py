"""Fields that people fill in, read from plain words; what is wrong is said in a sentence."""

from collections.abc import Mapping
from datetime import date, time

from rungwise.errors import ImpossibleValue, ServiceError

LONGEST_NAME = 80
LONGEST_ADDRESS = 200


def name_or_refuse(field_name: str, value: str) -> str:
    name = " ".join(value.split())
    if not name or len(name) > LONGEST_NAME:
        raise ImpossibleValue(field_name, value, f"1 to {LONGEST_NAME} characters")
    return name


def address(words: str) -> str:
    """Where somebody lives, on one line."""
    line = " ".join(words.split())
    if len(line) > LONGEST_ADDRESS:
        raise ImpossibleValue("address", "…", f"at most {LONGEST_ADDRESS} characters")
    return line


class Unfinished(ServiceError):
    """Some fields can't be used as they are; each says what to put right."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__(self.__doc__)
        self.problems = dict(problems)


def sentence(error: ServiceError) -> str:
    """What to put right, said beside the field itself."""
    if isinstance(error, ImpossibleValue):
        held = "" if error.value in (None, "", "…") else f"It holds {error.value!r}. "
        return f"{held}It must be {error.allowed}."
    return str(error)


def number(words: str, low: float, high: float) -> float:
    """A number with a point or a comma, from `low` to `high`."""
    allowed = f"a number from {low:g} to {high:g}"
    try:
        value = float(words.replace(",", "."))
    except ValueError:
        raise ImpossibleValue("number", words, allowed) from None
    if not low <= value <= high:
        raise ImpossibleValue("number", words, allowed)
    return value


def one_of(name: str, words: str, allowed: tuple[str, ...]) -> str:
    value = words.lower()
    if value not in allowed:
        raise ImpossibleValue(name, words, " or ".join(allowed))
    return value


def truth_of(words: str) -> bool:
    return one_of("tick", words, ("yes", "no")) == "yes"


def several(name: str, words: str, allowed: tuple[str, ...]) -> tuple[str, ...]:
    """Names parted by spaces or commas, in the order of `allowed`; `all`, and "-" for none."""
    if words == "-":
        return ()
    words = words.lower().replace(",", " ")
    named = {one[:3] if name == "weekdays" else one for one in words.split()}
    if named == {"all"}:
        return allowed
    strange = sorted(named - set(allowed))
    if strange:
        raise ImpossibleValue(name, strange[0], f"among {', '.join(allowed)}, or all")
    return tuple(one for one in allowed if one in named)


def hour(words: str) -> time:
    """A time of day such as 09:00."""
    try:
        return time.fromisoformat(words.zfill(5)).replace(second=0, microsecond=0, tzinfo=None)
    except ValueError:
        raise ImpossibleValue("hour", words, "a time of day such as 09:00") from None


def day_of(words: str, field: str = "day") -> date:
    """A day as a form and a program give it."""
    try:
        return date.fromisoformat(words)
    except ValueError:
        raise ImpossibleValue(field, words, "a date such as 2026-05-04") from None
