"""A relative answers a question about harm from the client's own phone.

Common practice, no source: who cannot move, get up or speak after a fall needs help now, whoever
says so.
"""

import pytest

from rungwise.reply import read
from rungwise.reply.reading import Context


@pytest.mark.parametrize(
    ("said", "language"),
    [
        ("he can't move", "en"),
        ("no he can't get up", "en"),
        ("she cannot get up", "en"),
        ("no se puede mover", "es"),
        ("no puede levantarse", "es"),
    ],
)
def test_who_cannot_move_is_an_emergency_whoever_says_so(said: str, language: str) -> None:
    reading = read(said, Context(asked="fall_yes_no", language=language))
    assert reading.emergency
    assert reading.answer != "no"


@pytest.mark.parametrize("said", ["20 steady, he can't stand as long as I do", "no, all fine"])
def test_other_answers_stay_as_they_are(said: str) -> None:
    assert not read(said, Context(asked="result")).emergency
