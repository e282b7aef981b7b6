"""The progress summary in plain words for the client, by language."""

import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from importlib import resources
from typing import Any

from rungwise.wording.texts import language_of

MOST_DATES = 5


def summary_words(language: str) -> Mapping[str, Any]:
    """The fixed words, with values still in braces where there are any."""
    return _load(language_of(language))


def date_words(day: date, language: str, *, year: bool = True) -> str:
    """A date as people say it: 2 March 2026."""
    words = summary_words(language)
    shape = words["date" if year else "short_date"]
    month = words["months"][day.month - 1]
    return str(shape.format(day=day.day, month=month, year=day.year))


def told_lines(
    falls: Sequence[date], pains: Sequence[date], dizzy: Sequence[date], language: str
) -> tuple[str, ...]:
    """What the client told of, with its dates, and what to do about it; or that there was none."""
    words = summary_words(language)
    told = [("told_fall", falls), ("told_pain", pains), ("told_dizzy", dizzy)]
    lines = [words[name].format(days=dates_words(days, language)) for name, days in told if days]
    return (*lines, words["talk"]) if lines else (words["told_none"],)


def dates_words(days: Sequence[date], language: str) -> str:
    """The last few dates in a row, joined as people do."""
    shown = [date_words(day, language, year=False) for day in days[-MOST_DATES:]]
    last = f" {summary_words(language)['and']} "
    return last.join([", ".join(shown[:-1]), shown[-1]] if shown[:-1] else shown)


@cache
def _load(language: str) -> Mapping[str, Any]:
    source = resources.files("rungwise.wording").joinpath(f"summary_{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))
