"""The texts the service sends, by language: templates in texts_*.toml, filled in here."""

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from rungwise.concepts.alert_kinds import ALERT_KINDS
from rungwise.errors import ServiceError
from rungwise.wording.catalogue import CATALOGUE, PLACE, language_table
from rungwise.wording.segments import to_gsm7

LANGUAGES: Mapping[str, str] = {"en": "English", "es": "Español"}
_FALLBACK = "en"


class NoSuchText(ServiceError):
    """There is no text of that name; docs/texts.md lists them all."""

    def __init__(self, name: str) -> None:
        super().__init__(f"There is no text named {name!r}; docs/texts.md lists them all.")


class MissingValue(ServiceError):
    """A text was asked for without one of the values it needs."""

    def __init__(self, name: str, missing: str) -> None:
        super().__init__(f"The text {name!r} needs a value for {missing!r}; give it one.")


@lru_cache(maxsize=256)
def language_of(language: str) -> str:
    """The language whose texts are used: `es-MX` uses `es`; one we lack uses English."""
    base = re.split(r"[-_]", language.strip().lower(), maxsplit=1)[0]
    return base if base in LANGUAGES else _FALLBACK


def template(name: str, language: str, wording: Mapping[str, str] | None = None) -> str:
    """The text as written, with its values still in braces. `wording` holds a practice's own."""
    if name not in CATALOGUE:
        raise NoSuchText(name)
    if wording and name in wording:
        return wording[name]
    return str(table(language)["texts"][name])


def render(
    name: str, language: str, wording: Mapping[str, str] | None = None, **values: object
) -> str:
    """The text ready to send, in GSM-7 wherever its letters allow it.

    `values` must hold every value that CATALOGUE names for the text, and may hold more; `kind`
    is what `alert_words` gives. `wording` is the practice's own templates by name, already in the
    client's language.
    """
    text = template(name, language, wording)
    for value in CATALOGUE[name].values:
        if value not in values:
            raise MissingValue(name, value)
    return to_gsm7(fill(name, text, values))


def fill(name: str, text: str, values: Mapping[str, object]) -> str:
    """Put `values` in the places of `text`. A value is never itself read as a template."""

    def value_of(place: re.Match[str]) -> str:
        if place[1] not in values:
            raise MissingValue(name, place[1])
        return str(values[place[1]])

    return PLACE.sub(value_of, text)


def places(text: str) -> frozenset[str]:
    """The names in braces in a template."""
    return frozenset(PLACE.findall(text))


def alert_words(kind: str, language: str) -> str:
    """What follows the client's name in a page about an alert of this kind ("reports a fall")."""
    words = table(language)["alerts"]
    return str(words[kind if kind in ALERT_KINDS else "other"])


def word(name: str, language: str) -> str:
    """One of the small words that answers are made of, such as `left` or `steady`."""
    return str(table(language)["words"][name])


def place_words(place: str | None, language: str) -> str:
    """A part of the body in the client's language, by its name in a reading; empty if unknown."""
    return str(table(language)["places"].get(place or "", ""))


def days_words(count: int, language: str) -> str:
    """So many days, in words: 1 day, 4 days."""
    return word("one_day", language) if count == 1 else word("days", language).format(count=count)


def weekday_name(weekday: int, language: str) -> str:
    """The name of a weekday, Monday 0."""
    return str(table(language)["words"]["weekdays"][weekday])


def table(language: str) -> dict[str, Any]:
    """Everything in the language's file, by section."""
    return language_table(language_of(language))
