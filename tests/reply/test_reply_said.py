"""What is heard beside the hold and harm: news, wishes, answers, what a phone added.

The texts were composed before the rules, the kept half not opened until the rules were done
(docs/reading-replies.md says what the first opening gave). Labels are common practice, no source.
"""

import pytest
from said_texts import Told, missed, texts

from rungwise.reply.lexicon import TALK_TABLES, lexicon, tables
from rungwise.reply.talk import talk
from rungwise.reply.units import parse

LANGUAGES = ("en", "es")
EVERY = [told for language in LANGUAGES for told in texts(language)]


@pytest.mark.parametrize("told", EVERY, ids=lambda told: f"{told.chapter}: {told.text[:40]}")
def test_it_is_heard(told: Told) -> None:
    assert missed(told) == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_list_of_what_is_said_is_met_by_a_text(language: str) -> None:
    met: set[str] = set()
    for told in texts(language):
        met |= set(talk(parse(told.text, lexicon(language))).places)
    listed = {
        f"{table}.{key}"
        for table, lists in tables(language).items()
        if table in TALK_TABLES
        for key in lists
        if table != "figure"
    }
    assert listed - met == set()
