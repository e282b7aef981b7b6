"""Every text by name: which values it needs, when it is sent, and how long it may be.

catalogue.toml holds the rows; which values a text takes is read off its templates.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

PLACE = re.compile(r"\{([a-z_]+)\}")
LANGUAGE_FILES = ("en", "es")


@dataclass(frozen=True, slots=True)
class TextSpec:
    """What a template must be given, and what it must keep to.

    `values` are the names in braces that a caller gives; a template may leave some unused.
    `segments` is the most it may take with values of the lengths in LONGEST. `safety` marks a text
    that safety_text_problems checks before a trainer's own wording of it is taken; `advice` one
    that a clinician should read too.
    """

    when: str
    values: tuple[str, ...] = ()
    segments: int = 1
    safety: bool = False
    advice: bool = False


# The longest value, in characters, with which a text must still keep to its segments.
LONGEST: Mapping[str, int] = {
    "practice": 30,
    "called": 20,
    "trainer": 20,
    "number": 3,
    "crisis": 12,
    "task": 170,
    "hint": 48,
    "caution": 21,
    "target_s": 2,
    "first": 9,
    "second": 9,
    "seconds": 3,
    "side": 9,
    "where": 14,
    "kind": 28,
    "days": 6,
    "steady": 2,
    "steady_days": 22,
    "day": 9,
    "date": 21,
    "from": 17,
    "until": 17,
    "hour": 17,
    "place": 18,
    "score": 2,
    "understood": 49,
    "landmark": 24,
    "next": 44,
    "link": 32,
    "carrier": 10,
    "minutes": 4,
    "count": 3,
    "code": 2,
    # With that of the next of kin.
    "phone": 46,
    "who": 20,
}


@cache
def language_table(language: str) -> dict[str, Any]:
    """Everything in a language's file, by section. KeyError-like when there is no such file."""
    source = resources.files("rungwise.wording").joinpath(f"texts_{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def _groups() -> dict[str, dict[str, TextSpec]]:
    source = resources.files("rungwise.wording").joinpath("catalogue.toml")
    stored = tomllib.loads(source.read_text(encoding="utf-8"))
    return {
        title: {name: TextSpec(values=_values(name), **row) for name, row in rows.items()}
        for title, rows in stored.items()
    }


def _values(name: str) -> tuple[str, ...]:
    """The names in braces in any language's template, in the order of the first that has them."""
    found = [
        place
        for language in LANGUAGE_FILES
        for place in PLACE.findall(language_table(language)["texts"][name])
    ]
    return tuple(dict.fromkeys(found))


# Texts by name, in the groups in which docs and settings show them.
GROUPS: Mapping[str, Mapping[str, TextSpec]] = _groups()

CATALOGUE: Mapping[str, TextSpec] = {
    name: spec for group in GROUPS.values() for name, spec in group.items()
}
