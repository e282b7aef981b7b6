"""Whose mishap it was, whose seconds, which number is an age, and what ended a hold."""

import pytest

from rungwise.reply import Context, Reading, read


def said(text: str, language: str = "en") -> Reading:
    return read(text, Context(language=language), second=False)


def held(text: str, language: str = "en") -> list[float]:
    return [hold.seconds for hold in said(text, language).holds]


@pytest.mark.parametrize(
    ("text", "fall", "emergency"),
    [
        ("Bob next door collapsed, ambulance been", "unsure", False),
        ("Bob next door collapsed, my ambulance came", "unsure", True),
        ("Bob next door collapsed. Ambulance been", "unsure", True),
        ("Ambulance been, Bob next door collapsed", "unsure", True),
        ("It's Jean's son. Jo next door collapsed, ambulance been", "yes", True),
        ("with Bob next door fell, ambulance been", "yes", True),
        ("bob next door collapsed, ambulance been", "yes", True),
        ("went next door and fell, ambulance been", "yes", True),
        ("My neighbour fell down the stairs and the ambulance came", "no", False),
        ("my neighbour found me, fell, ambulance called", "unsure", True),
        ("my daughter called an ambulance", "no", True),
        ("she called an ambulance", "no", False),
        ("my daughter never called an ambulance", "no", False),
        ("my friend came, the vase fell, ambulance called", "no", True),
        ("my friend came, then fell, ambulance called", "unsure", True),
        # A carer may write so of the client.
        ("Frank collapsed, ambulance called", "unsure", True),
        ("Mum collapsed, ambulance called", "unsure", True),
        ("my husband fell, ambulance called", "no", True),
        ("she fell, ambulance called", "no", True),
        ("a vase fell, ambulance called", "no", True),
        # Theirs too.
        ("my husband fell and so did I", "yes", False),
        ("no falls and so did I", "no", False),
        ("my husband did 20 and so did I", "no", False),
        # Markets, and what happened at one.
        ("the stock market took a tumble", "no", False),
        ("prices took a tumble", "no", False),
        ("market took a tumble, I took a tumble", "yes", False),
        ("at the market took a tumble", "yes", False),
        ("by market took a tumble", "yes", False),
        ("talking about prices took a tumble", "yes", False),
        ("prices took a tumble after lunch", "no", False),
        ("took a tumble", "yes", False),
        ("took a tumble. market day", "yes", False),
        ("one night fell in the hall", "yes", False),
        ("night fell", "no", False),
        ("a tile fell off", "no", False),
    ],
)
def test_whose_fall_it_was(text: str, fall: str, emergency: bool) -> None:
    reading = said(text)
    assert (reading.fall, reading.emergency) == (fall, emergency)


@pytest.mark.parametrize(
    ("text", "fall", "emergency"),
    [
        ("mi vecina se cayó, vino la ambulancia", "no", False),
        ("mi marido se cayó, vino la ambulancia", "no", True),
        ("mamá se cayó, vino la ambulancia", "unsure", True),
        ("se cayó, vino la ambulancia", "unsure", True),
        ("mi marido se cayó y yo también", "yes", False),
        ("estaba en el suelo jugando con el nieto", "no", False),
        ("estaba en el suelo jugando y me caí", "yes", False),
    ],
)
def test_whose_fall_it_was_in_spanish(text: str, fall: str, emergency: bool) -> None:
    reading = said(text, "es")
    assert (reading.fall, reading.emergency) == (fall, emergency)


@pytest.mark.parametrize(
    ("text", "pain", "dizzy"),
    [
        ("My friend Joan gets vertigo. I don't.", "no", "no"),
        ("my knee gets sore", "yes", "no"),
        ("she got dizzy and so did I", "no", "yes"),
        ("the price of butter makes me dizzy", "no", "no"),
        ("the kitchen makes me dizzy", "no", "yes"),
        ("the signal is faint", "no", "no"),
        ("my voice is faint", "no", "yes"),
        ("painfully slow", "no", "no"),
        ("painfully sore", "yes", "no"),
        ("moving house is one big headache", "no", "no"),
        ("my head is one big headache", "yes", "no"),
    ],
)
def test_figures_of_speech_and_what_they_must_not_hide(text: str, pain: str, dizzy: str) -> None:
    reading = said(text)
    assert (reading.pain, reading.dizzy) == (pain, dizzy)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("Doing this at 84! 15", [15]),
        ("not bad at 84! 15", [15]),
        ("at 65, 15", [15]),
        ("at 64, 15", [64, 15]),
        ("broke my hip at 80. 20", [20]),
        ("my mum fell at 80. 20", [20]),
        ("fell at 70", [70]),
        ("my mum said hello, I fell at 70", [70]),
        ("wobbled at 12", [12]),
        ("wobbled at 70", [70]),
        ("stopped at 10", [10]),
        ("stopped at 80", [80]),
        ("stopped the car at 80. Oh, 20", [80, 20]),
        ("stopped for tea, at 80. 20", [20]),
        ("steady at 70", [70]),
        ("right at 72", [72]),
        ("at 70 secs", [70]),
        ("fell short of the 20, got 16", [16]),
        ("Just short of the 20", [20]),
        ("me 15 her 20", [15]),
        ("her 20 me 15", [15]),
        ("my husband 25, me 13", [13]),
        ("my husband 25", [25]),
        ("with my husband 25, me 13", [25, 13]),
        ("13. No wait 18, the 13 was yesterday", [18]),
        ("15 was yesterday, today 20", [20]),
        ("15 was yesterday", [15]),
        ("Can't seem to get past 11", [11]),
        ("couldn't quite hold past 9", [9]),
    ],
)
def test_which_numbers_are_the_clients_holds(text: str, seconds: list[float]) -> None:
    assert held(text) == seconds


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("mi marido 25 y yo 13", [13]),
        ("yo 13 y mi marido 25", [13]),
        ("haciendo esto a los 84! 15", [15]),
        ("solté a los 70", [70]),
        ("temblé a los 12", [12]),
        ("me caí a los 70", [70]),
    ],
)
def test_which_numbers_are_the_clients_holds_in_spanish(text: str, seconds: list[float]) -> None:
    assert held(text, "es") == seconds


@pytest.mark.parametrize(
    ("text", "language", "steadiness"),
    [
        ("toppled over doing the exercise, got to 7", "en", "wobbly"),
        ("fell during the hold, 7", "en", "wobbly"),
        ("fell after doing the exercise, 7", "en", None),
        ("fell not doing the exercise, 7", "en", None),
        ("didn't fall doing the exercise, 7", "en", None),
        ("fell yesterday doing the exercise, 7", "en", None),
        ("toppled over doing the exercise", "en", None),
        ("me caí haciendo el ejercicio, 12", "es", "wobbly"),
    ],
)
def test_a_fall_in_the_hold_was_wobbly(text: str, language: str, steadiness: str | None) -> None:
    assert said(text, language).steadiness == steadiness
