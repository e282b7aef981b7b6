"""A language is offered whole: everything it says, and everything it understands."""

import tomllib
from importlib import resources
from typing import Any

import pytest

from rungwise.coach.daily.welcome import CONSENT_WORDING
from rungwise.reply.lexicon import LANGUAGES as READ
from rungwise.reply.lexicon import tables
from rungwise.wording.page_of_texts import listing
from rungwise.wording.texts import LANGUAGES

FILES = ("texts", "rungs", "summary")
# What a reader without it would take for silence, or would not stop at.
NEEDED_LISTS = {
    "fall": {"verb", "noun", "phrase", "doubt", "near", "stance"},
    "pain": {"verb", "noun", "phrase", "doubt"},
    "dizzy": {"verb", "noun", "phrase", "doubt"},
    "emergency": {"chest", "faint", "up", "floor", "broken", "sign"},
}


def table_of(name: str, language: str) -> dict[str, Any]:
    source = resources.files("rungwise.wording").joinpath(f"{name}_{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def keys_of(table: dict[str, Any]) -> set[str]:
    """Every key, with the table it stands in."""
    parts = {name: part for name, part in table.items() if isinstance(part, dict)}
    inner = {f"{name}.{key}" for name, part in parts.items() for key in part}
    return set(table) | inner


def test_what_is_written_can_be_answered() -> None:
    assert set(LANGUAGES) == set(READ)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("file", FILES)
def test_a_language_says_as_much_as_english(file: str, language: str) -> None:
    assert keys_of(table_of(file, language)) == keys_of(table_of(file, "en"))


@pytest.mark.parametrize("file", FILES)
def test_no_file_is_there_for_a_language_that_nobody_is_offered(file: str) -> None:
    places = resources.files("rungwise.wording").iterdir()
    there = {place.name for place in places if place.name.startswith(f"{file}_")}
    code = {f"{file}_words.py", f"{file}_page.py"}
    assert there - code == {f"{file}_{language}.toml" for language in LANGUAGES}


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_client_agrees_in_their_language(language: str) -> None:
    words = CONSENT_WORDING[language]
    assert "{practice}" in words
    assert "STOP" in words
    assert len(set(CONSENT_WORDING.values())) == len(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_page_of_texts_shows_it(language: str) -> None:
    assert f"- {LANGUAGES[language]} (" in listing()


@pytest.mark.parametrize("language", LANGUAGES)
def test_harm_is_understood_in_it(language: str) -> None:
    known = tables(language)
    for table, lists in NEEDED_LISTS.items():
        assert lists <= set(known[table]), table
        assert all(known[table][name] for name in lists)
