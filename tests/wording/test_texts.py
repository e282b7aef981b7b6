"""Every text, in every language: complete, filled in, in GSM-7 and within its segments."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rungwise.wording
from rungwise.wording import (
    ALERT_KINDS,
    CATALOGUE,
    LANGUAGES,
    LONGEST,
    MissingValue,
    NoSuchText,
    alert_words,
    gsm7_safe,
    language_of,
    render,
    safety_text_problems,
    segments,
    template,
    text_problems,
    to_gsm7,
    weekday_name,
)
from rungwise.wording.page_of_texts import listing
from rungwise.wording.texts import places, table, word

# Invented, and as long as the texts must bear.
LONG: dict[str, object] = {
    "called": "Maximilian-Theodorus",
    "practice": "Northern Lakeside Balance Team",
    "trainer": "Clementine Underhill",
    "number": "911",
    "crisis": "800 911 2000",
    "task": "Half foam under the front foot, round side up, pointing ahead. Right foot a step "
    "ahead, 4 fingers wide. Hands just above the counter. 30 seconds, 3 times each foot, once.",
    "target_s": 30,
    "first": "izquierda",
    "second": "izquierda",
    "hint": "Mande derecha, izquierda, firme o con tambaleo.",
    "caution": "Dolor o mareo: pare.",
    "seconds": 120,
    "side": "izquierdo",
    "where": "you stand on..",
    "days": "7 days",
    "steady": 28,
    "steady_days": "12 more steady days ok",
    "day": "Wednesday",
    "date": "Wednesday, January 31",
    "from": "from 10:30 in day",
    "until": "till 10:30 in day",
    "hour": "las 15:30 de tard",
    "place": "rodilla izquierda.",
    "score": 10,
    "understood": "Right 20, left 14 seconds, wobbly on both sides..",
    "landmark": "heel beside the big toe.",
    "next": "12 more steady days and we go up a littlest.",
    "link": "https://example.org/p/0123456789",
    "carrier": "longername",
    "minutes": 1440,
    "count": 120,
    "code": 47,
    "phone": "+123456789012345, next of kin +123456789012345",
    "who": "Maximiliana Robinson",
}
# What a page to a trainer may say in capitals.
SHOUTED = {
    *("URGENT", "STILL", "OPEN", "WAITING"),
    *("URGENTE", "SIGUE", "ABIERTA", "SIN", "RESPUESTA"),
}
EVERY_TEXT = [(name, language) for language in LANGUAGES for name in CATALOGUE]


def values_of(name: str) -> dict[str, object]:
    return {value: LONG[value] for value in CATALOGUE[name].values if value != "kind"}


def renderings(name: str, language: str) -> list[str]:
    """The text with its longest values, once for each alert kind if it names one."""
    values = values_of(name)
    if "kind" not in CATALOGUE[name].values:
        return [render(name, language, None, **values)]
    kinds = [alert_words(kind, language) for kind in ALERT_KINDS]
    return [render(name, language, None, kind=kind, **values) for kind in kinds]


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_language_has_every_text_and_no_other(language: str) -> None:
    assert set(table(language)["texts"]) == set(CATALOGUE)
    assert set(table(language)["alerts"]) == {*ALERT_KINDS, "other"}
    for section in ("words", "places", "parts", "unsaid"):
        assert set(table(language)[section]) == set(table("en")[section])


def test_the_long_values_are_as_long_as_promised() -> None:
    for value, longest in LONGEST.items():
        if value == "kind":
            words = [alert_words(kind, tongue) for tongue in LANGUAGES for kind in ALERT_KINDS]
            assert max(map(len, words)) <= longest
        elif value not in ("hint", "caution"):
            assert len(str(LONG[value])) == longest
    for language in LANGUAGES:
        assert len(render("caution_short", language)) <= LONGEST["caution"]
        for hint in ("hint_sided", "hint_same"):
            told = {"first": word("left", language), "second": word("right", language)}
            assert len(render(hint, language, **told)) <= LONGEST["hint"]


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_a_text_uses_no_other_values_than_it_is_given(name: str, language: str) -> None:
    assert places(template(name, language)) <= set(CATALOGUE[name].values)


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_a_text_keeps_to_its_segments_with_long_names(name: str, language: str) -> None:
    for text in renderings(name, language):
        counted = segments(text)
        assert counted.encoding == "GSM-7", text
        assert counted.count <= CATALOGUE[name].segments, (counted.units, text)
        assert "{" not in text
    assert text_problems(name, template(name, language)) == []


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_a_text_reads_as_sentences(name: str, language: str) -> None:
    for text in renderings(name, language):
        assert text == text.strip()
        assert "  " not in text
        assert text[0].isupper() or text[0].isdigit() or text[0] in "¿{"
        assert (
            text[-1] in ".?:"
            or "link" in CATALOGUE[name].values
            or template(name, language).endswith("{practice}")
        )


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_a_missing_value_is_named(name: str, language: str) -> None:
    for value in CATALOGUE[name].values:
        values = {**values_of(name), "kind": "fall"}
        del values[value]
        with pytest.raises(MissingValue, match=value):
            render(name, language, None, **values)


def test_an_unknown_text_is_named() -> None:
    with pytest.raises(NoSuchText, match="'hullo'"):
        render("hullo", "en")


def test_more_values_than_needed_do_no_harm() -> None:
    assert render("skipped_a", "en", minutes=20) == render("skipped_a", "en")


def test_a_value_is_never_read_as_a_template() -> None:
    text = render("stop_done", "en", practice="{number} {called!r} %s {}", number="911")
    assert "{number} {called!r} %s {}" in text


def test_a_practice_can_word_a_text_itself() -> None:
    own = {"skipped_a": "Fine – noted."}
    assert render("skipped_a", "en", own) == "Fine - noted."
    assert render("thanks", "en", own) == render("thanks", "en")


@pytest.mark.parametrize(
    ("asked", "used"),
    [("en", "en"), ("es", "es"), ("es-MX", "es"), ("ES_us", "es"), ("fr", "en"), ("", "en")],
)
def test_a_language_we_lack_uses_english(asked: str, used: str) -> None:
    assert language_of(asked) == used
    assert render("skipped_a", asked) == render("skipped_a", used)


def test_a_page_names_the_kind_in_words() -> None:
    values = {"code": 47, "phone": "+12025550103", "link": "https://example.org/i/abc"}
    text = render("page", "en", called="Ada", kind=alert_words("fall", "en"), **values)
    assert text == (
        "URGENT 47: Ada reports a fall. Call +12025550103. https://example.org/i/abc "
        "Reply 1 I have it, 2 phoned, all well so far, 3 can't."
    )
    assert alert_words("no such kind", "en") == "needs you to look"


def test_weekdays_are_named_from_monday() -> None:
    assert [weekday_name(0, "en"), weekday_name(6, "en")] == ["Monday", "Sunday"]
    assert [weekday_name(0, "es"), weekday_name(2, "es")] == ["lunes", "miércoles"]


# A text may say that the trainer is being told, or keeps it; not that anyone looks or comes soon.
PROMISES = re.compile(
    r"trainer will|will (?:call|ring|phone|answer|reply|see|read)|(?<!how )soon\b|shortly|"
    r"straight away|"
    r"right away|immediately|entrenador (?:le )?(?:verá|leerá|llamará|responderá)|pronto|enseguida",
    re.IGNORECASE,
)


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_no_text_promises_that_anyone_reads_at_once(name: str, language: str) -> None:
    assert not PROMISES.search(template(name, language))


@pytest.mark.parametrize(("name", "language"), EVERY_TEXT)
def test_every_text_to_a_client_keeps_the_same_rules_of_tone(name: str, language: str) -> None:
    text = template(name, language)
    assert "!" not in text
    shouted = set(re.findall(r"\b[A-ZÁÉÍÓÚÑ]{3,}\b", text))
    words_to_reply = {"STOP", "START", "HELP", "AYUDA", "YES", "NOT", "TODAY", "HOY", "PAUSE"}
    words_to_reply |= {"PAUSA", "BACK", "VUELVO"}
    assert shouted <= words_to_reply | SHOUTED
    if CATALOGUE[name].safety:
        assert safety_text_problems(name, text, language) == []


@given(st.sampled_from(EVERY_TEXT), st.text(max_size=40))
def test_any_value_gives_a_text(which: tuple[str, str], value: str) -> None:
    name, language = which
    text = render(name, language, None, **dict.fromkeys(CATALOGUE[name].values, value))
    assert segments(text).encoding == "GSM-7" or not gsm7_safe(to_gsm7(value))


def test_the_page_of_texts_is_up_to_date() -> None:
    page = Path(__file__).parents[2] / "docs" / "texts.md"
    assert page.read_text(encoding="utf-8") == listing(), (
        "Write it anew: python -m rungwise.wording.page_of_texts > docs/texts.md"
    )


def test_the_page_of_texts_names_every_text() -> None:
    page = listing()
    assert all(f"### `{name}`" in page for name in CATALOGUE)


def test_the_folder_lists_what_it_offers() -> None:
    offered = {name for name in vars(rungwise.wording) if not name.startswith("_")}
    modules = {
        "answers",
        "catalogue",
        "dates",
        "distances",
        "feet",
        "page_of_texts",
        "price",
        "results",
        "rung_words",
    }
    modules |= {"safety", "segments", "summary_words", "texts"}
    assert set(rungwise.wording.__all__) | modules >= offered
    assert all(hasattr(rungwise.wording, name) for name in rungwise.wording.__all__)
    assert sorted(rungwise.wording.__all__, key=lambda n: (n.upper() != n, n[0].islower(), n)) == (
        rungwise.wording.__all__
    )
