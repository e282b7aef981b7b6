"""How each test is done, to print and take to the visit."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

from rungwise.evidence.retest import kind_of


@dataclass(frozen=True, slots=True)
class Instruction:
    """One page: what the test is, what it needs, its steps, when to stop, what to write down."""

    title: str
    what: str
    needs: tuple[str, ...]
    steps: tuple[str, ...]
    stop: str
    record: str
    sources: tuple[str, ...]


def instruction(kind: str) -> Instruction:
    """The instruction of a test; ImpossibleValue if there is no such test."""
    title = kind_of(kind).title
    told = _told()[kind]
    return Instruction(
        title=title,
        what=told["what"],
        needs=tuple(told["needs"]),
        steps=tuple(told["steps"]),
        stop=told["stop"],
        record=told["record"],
        sources=tuple(told["sources"]),
    )


@cache
def _told() -> Mapping[str, dict[str, str]]:
    source = resources.files("rungwise.evidence").joinpath("instructions.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))
