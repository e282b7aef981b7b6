"""A number that may have been another is asked about where it matters, and never guessed."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from rungwise.coach.conversation.effects import Ask, Decide, Say
from rungwise.coach.conversation.evolve import evolve
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.conversation.rehearsal import Conversation, invented
from rungwise.reply import read

START = datetime.fromisoformat("2026-01-05T16:00:00+00:00")


def lived(*texts: str, unsure_last: bool = True):
    """The dossier before the last text, and what the last one leads to, a day each."""
    dossier, now = invented(Conversation(turns=())), START
    for place, text in enumerate(texts):
        context = context_of(dossier, now)
        reading = read(text, context)
        last = place == len(texts) - 1
        reading = replace(reading, unsure_number=last and unsure_last)
        effects = on_text(dossier, reading, context, now)
        if last:
            return dossier, effects
        dossier = evolve(dossier, effects)
        now += timedelta(days=1)
    raise AssertionError


def asked(effects) -> bool:
    return Ask("number", effects.at.date()) in effects.steps


def words(effects) -> str:
    return " ".join(step.body for step in effects.steps if isinstance(step, Say))


@pytest.mark.parametrize(
    ("texts", "seconds"),
    [
        (("20 steady", "20 steady", "20 steady", "20 steady", "12 wobbly", "13 wobbly"), "13"),
        (("20 steady", "20 steady"), "20"),  # it would go on
        (("20 steady", "20 steady", "20 steady", "8 wobbly"), "8"),  # far from the last ten
        (("8 wobbly",), "8"),
    ],
)
def test_it_is_asked_with_the_number_in_the_question(texts, seconds: str) -> None:
    _, sure = lived(*texts, unsure_last=False)
    _, unsure = lived(*texts)
    assert not asked(sure)
    assert asked(unsure)
    assert seconds in words(unsure)
    moves = [step.move.kind for step in unsure.steps if isinstance(step, Decide)]
    assert moves == ["stay"]


def test_a_number_that_changes_nothing_is_not_asked_about() -> None:
    _, effects = lived("20 steady")
    assert not asked(effects)


def test_the_answer_counts_and_no_takes_the_number_back() -> None:
    for says, held in (("yes", 8.0), ("no", None), ("18", 18.0)):
        dossier, effects = lived("20 steady", "20 steady", "20 steady", "8 wobbly")
        dossier, now = evolve(dossier, effects), effects.at + timedelta(minutes=2)
        context = context_of(dossier, now)
        assert context.asked == "number"
        dossier = evolve(dossier, on_text(dossier, read(says, context), context, now))
        report = dossier.reports[dossier.today(now)]
        assert not report.unconfirmed
        assert [hold.seconds for hold in report.holds] == ([] if held is None else [held])
