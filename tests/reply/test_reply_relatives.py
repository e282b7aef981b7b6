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


@pytest.mark.parametrize(
    ("said", "sign"),
    [
        ("This is Karen, Joan's daughter. Mum fell in the kitchen this morning", "fall"),
        ("It is Tom, Ada's son. She is very dizzy", "dizzy"),
        ("Peter here, Dad's had a dizzy turn", "dizzy"),
        ("Soy Marta, la hija de Rosa. Mamá se cayó esta mañana", "fall"),
    ],
)
def test_who_says_whose_child_they_are_tells_of_the_client(said: str, sign: str) -> None:
    language = "es" if said.startswith("Soy") else "en"
    assert getattr(read(said, Context(language=language)), sign) == "yes"


@pytest.mark.parametrize("said", ["Ada here, 20 steady", "Ada here, my brother fell"])
def test_a_client_who_gives_a_name_speaks_for_nobody_else(said: str) -> None:
    assert read(said).fall != "yes"
