"""What a safety text must never lose, and the emergency numbers."""

import re

import pytest

from rungwise.wording import (
    CATALOGUE,
    LANGUAGES,
    REQUIRED_PARTS,
    emergency_number,
    known_country,
    render,
    safety_text_problems,
    template,
    to_gsm7,
)
from rungwise.wording.safety import FALLBACK_NUMBER, emergency_countries, required_parts
from rungwise.wording.texts import table

SAFETY = [name for name, spec in CATALOGUE.items() if spec.safety]
EVERY_PART = [
    (name, language, part)
    for language in LANGUAGES
    for name, parts in REQUIRED_PARTS.items()
    for part in parts
]
FALL = "Stop and sit. If hurt, chest pain or you can't get up, call {number}. We told your trainer."


def test_every_safety_text_has_required_parts() -> None:
    assert set(REQUIRED_PARTS) == set(SAFETY)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", SAFETY)
def test_our_own_safety_texts_have_no_problem(name: str, language: str) -> None:
    assert safety_text_problems(name, template(name, language), language) == []


@pytest.mark.parametrize(("name", "language", "part"), EVERY_PART)
def test_taking_a_part_away_is_refused(name: str, language: str, part: str) -> None:
    pattern = re.compile(table(language)["parts"][part], re.IGNORECASE)
    if pattern.pattern.startswith("(?-i:"):
        pattern = re.compile(table(language)["parts"][part])
    by_not = table(language)["parts"].get(f"{part}_by_not", "(?!)")
    without = pattern.sub("xx", re.sub(by_not, "xx", template(name, language), flags=re.I))
    assert without != template(name, language)
    wanted = required_parts(name)[REQUIRED_PARTS[name].index(part)]
    assert f"It must {wanted}." in safety_text_problems(name, without, language)


@pytest.mark.parametrize("name", [n for n in SAFETY if n.startswith(("safety_", "ask_", "hurt"))])
@pytest.mark.parametrize("language", LANGUAGES)
def test_what_goes_to_someone_who_may_be_hurt_names_the_number(name: str, language: str) -> None:
    values = {**dict.fromkeys(CATALOGUE[name].values, "x"), "number": "000"}
    assert "000" in render(name, language, None, **values)


def test_a_plain_wording_of_ones_own_is_taken() -> None:
    assert safety_text_problems("safety_fall", FALL) == []


@pytest.mark.parametrize(
    ("change", "to", "problem"),
    [
        ("Stop and sit", "Don't stop and sit", "tell the client to stop"),
        ("Stop and sit", "Stop, but do not sit", "tell the client to sit"),
        ("Stop and sit", "Stop and sit. Carry on when you feel better", '"Carry on"'),
        ("Stop and sit", "Well done. Stop and sit", '"Well done"'),
        ("Stop and sit", "Don't worry, stop and sit", '"Don'),
        ("Stop and sit", "Stop worrying and sit", '"Stop worrying"'),
        ("Stop and sit", "Stop, sit, and try again later", '"try again"'),
        ("call {number}", "call 911", "call {number}"),
        ("call {number}", "do not call {number}", "call {number}"),
        ("call {number}", "call {phone}", "{phone} is not known here"),
        ("call {number}", "call {number} {", "Braces stand only around names"),
        ("We told your trainer", "Your trainer will call you", '"Your trainer will"'),
        ("We told your trainer", "We have not told your trainer", "the trainer is being told"),
        ("We told your trainer", "We told your trainer. " + "Rest. " * 40, "SMS segments"),
        ("can't get up", "dizzy", "not being able to get up"),
        (FALL, " ", "must not be empty"),
    ],
)
def test_a_wording_that_could_harm_is_refused(change: str, to: str, problem: str) -> None:
    assert change in FALL
    problems = safety_text_problems("safety_fall", FALL.replace(change, to))
    assert any(problem in said for said in problems), problems


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("Siga adelante.", "Siga adelante"),
        ("Bien hecho.", "Bien hecho"),
        ("Su entrenador le llamará.", "Su entrenador le llamara"),
        ("No deje el ejercicio.", "tell the client to stop"),
    ],
)
def test_a_spanish_wording_is_held_to_the_same(text: str, problem: str) -> None:
    problems = safety_text_problems("safety_fall", text, "es")
    assert any(problem in said for said in problems), problems


@pytest.mark.parametrize("text", ["Do not carry on. " + FALL, "Never try again alone. " + FALL])
def test_telling_the_client_not_to_go_on_may_stand(text: str) -> None:
    assert safety_text_problems("safety_fall", text) == []


def test_a_wording_too_long_only_with_curly_quotes_replaced_is_taken() -> None:
    assert safety_text_problems("safety_fall", FALL.replace("'", "’")) == []
    assert to_gsm7("’") == "'"


def test_a_prompt_must_keep_the_task_and_the_caution() -> None:
    assert "It must keep {caution}." in safety_text_problems("prompt", "{task} {hint}")
    assert "It must keep {task}." in safety_text_problems("prompt", "Practise. {hint} {caution}")


@pytest.mark.parametrize(
    ("country", "number"),
    [("US", "911"), ("ca", "911"), ("GB", "999"), ("IE", "112"), ("AU", "000"), ("NZ", "111"),
     ("MX", "911"), ("ES", "112"), (" de ", "112")],
)  # fmt: skip
def test_a_country_has_its_number(country: str, number: str) -> None:
    assert emergency_number(country) == number
    assert known_country(country)


def test_a_practice_can_set_its_own_number() -> None:
    assert emergency_number("US", " 112 ") == "112"
    assert emergency_number("US", "  ") == "911"


@pytest.mark.parametrize("country", ["XX", "", None])
def test_a_country_we_do_not_know_still_gets_a_number(country: str | None) -> None:
    assert emergency_number(country) == FALLBACK_NUMBER
    assert country is None or not known_country(country)


def test_numbers_are_three_digits_by_country_code() -> None:
    countries = emergency_countries()
    assert all(re.fullmatch(r"[A-Z]{2}", country) for country in countries)
    assert all(re.fullmatch(r"\d{3}", number) for number in countries.values())
    eu = "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK"
    assert all(countries[country] == "112" for country in eu.split())
