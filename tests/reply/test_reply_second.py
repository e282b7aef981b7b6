"""The second reader: it may only doubt, and the same corpora give the same weights."""

from dataclasses import replace
from typing import get_args
from zlib import crc32

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from score import CORPUS, load
from sklearn.linear_model import LogisticRegression
from train_second import FOLLOW, Text, matrix, packed, rarity, texts, train

from rungwise.reply import Context, Reading, read
from rungwise.reply.lexicon import lexicon
from rungwise.reply.lines import context_from
from rungwise.reply.plain import plain
from rungwise.reply.reading import Asked
from rungwise.reply.second import doubted
from rungwise.reply.second import weights as kept
from rungwise.reply.second.doubt import ABOUT_SAFETY
from rungwise.reply.second.ngrams import SLOTS, folded, places, slots, stretches
from rungwise.reply.second.weights import FAMILIES, Weights
from rungwise.reply.units import parse

HARM = FAMILIES.index("harm")
# Doubts whatever it is shown, a pain before anything else.
ALWAYS = Weights(
    np.zeros((SLOTS, len(FAMILIES)), np.int8), np.ones(5), np.array([1.0, 9, 1, 1, 9]), 0.5
)
SIGNS = ("fall", "pain", "dizzy")
FREE = {*SIGNS, "kind", "because", "doubted_by", "emergency_doubt", "confidence"}


def always(text: str, context: Context = Context()) -> Reading:  # noqa: B008  # a frozen value
    lists = read(text, context, second=False)
    return doubted(lists, parse(text, lexicon(context.language)), context.asked, ALWAYS)


def told(reading: Reading) -> list[str]:
    signs = [name for name in SIGNS if getattr(reading, name) != "no"]
    return signs + ["emergency"] * reading.emergency


def test_the_same_corpora_give_the_weights_in_the_package() -> None:
    """Trained anew; when this fails, the corpora changed: python tests/reply/train_second.py"""
    trained, packaged = train(), kept.load()
    assert np.array_equal(trained.table, packaged.table)
    assert np.allclose(trained.scales, packaged.scales, rtol=1e-9)
    assert np.allclose(trained.biases, packaged.biases, rtol=1e-9)
    assert trained.threshold == packaged.threshold


def test_chances_are_those_of_a_logistic_regression() -> None:
    """Against scikit-learn's own predict_proba: whole steps of a weight move no chance by 0.01."""
    some = texts("tune_en_6.jsonl") + texts("tune_es_6.jsonl")
    said, harm = matrix(some), np.array([text.families[HARM] for text in some])
    rare = rarity(said)
    scaled = said.multiply(rare).tocsr()
    model = LogisticRegression(C=FOLLOW, solver="liblinear", random_state=0).fit(scaled, harm)
    column = np.zeros((SLOTS, len(FAMILIES)))
    column[:, HARM] = model.coef_[0] * rare
    weights = packed(column, np.array([0, 0, 0, 0, model.intercept_[0]]), 0.5)
    ours = [weights.chances(text.said)[HARM] for text in some]
    assert np.abs(model.predict_proba(scaled)[:, 1] - ours).max() < 0.01


def test_slots_are_standard_checksums() -> None:
    """CRC-32's published check value, of the nine digits, is CBF43926."""
    assert crc32(b"123456789") == 0xCBF43926
    assert crc32(b"fell") & (SLOTS - 1) in slots(folded(plain("I fell")))


@pytest.fixture(scope="module")
def corpus() -> list[tuple[str, Context]]:
    lines = [line for path in sorted(CORPUS.glob("*.jsonl")) for line in load(path)]
    return [(line["text"], context_from(line.get("context") or {})) for line in lines]


def test_it_only_ever_adds_one_doubt(corpus: list[tuple[str, Context]]) -> None:
    added = 0
    for text, context in corpus:
        lists, both = read(text, context, second=False), read(text, context)
        if both == lists:
            continue
        added += 1
        only_doubted(text, lists, both)
        assert context.asked not in ABOUT_SAFETY
    assert added >= 5


def only_doubted(text: str, lists: Reading, both: Reading) -> None:
    """Nothing differs but one sign that was no and is unsure, and what says so."""
    assert told(lists) == []
    assert lists.doubted_by is None
    assert not lists.emergency_doubt
    assert (len(told(both)), both.doubted_by) == (1, "statistics")
    (sign,) = told(both)
    assert getattr(both, sign) == "unsure"
    assert both.emergency is False
    assert 1 <= len(both.because[sign]) <= 3
    assert all(text[span.start : span.end].strip() for span in both.because[sign])
    assert {**both.because, sign: ()} == {**lists.because, sign: ()}
    assert both.confidence < lists.confidence
    assert both.kind == lists.kind or (
        both.kind == "safety_only" and lists.kind in ("question", "other")
    )
    same = {name: getattr(lists, name) for name in FREE}
    assert replace(both, **same) == lists


@given(
    st.text(st.characters(), min_size=1, max_size=200),
    st.sampled_from(get_args(Asked)),
    st.sampled_from(["en", "es"]),
)
def test_any_text_is_doubted_once_or_left_alone(text: str, asked: Asked, language: str) -> None:
    context = Context(asked=asked, language=language)
    lists, both = read(text, context, second=False), always(text, context)
    if both != lists:
        assert both.pain == "unsure"
        assert asked not in ABOUT_SAFETY
        assert replace(both, **{name: getattr(lists, name) for name in FREE}) == lists


@pytest.mark.parametrize(
    "text",
    [
        *("20", "20 steady", "L20 R15 wobbly", "did it, fine", "15, 18 and 20", "👍", "Done.", ""),
        *("left 20 steady, right 12 and grabbed the counter", "20/20", "same as yesterday"),
        *("half a minute, firm", "veinte segundos firme", "izquierda 20, derecha 15 tambaleo"),
    ],
)
def test_a_plain_result_is_not_looked_at(text: str) -> None:
    assert always(text) == read(text, second=False)


@pytest.mark.parametrize("asked", sorted(ABOUT_SAFETY))
def test_an_answer_about_safety_is_left_to_the_lists(asked: Asked) -> None:
    context = Context(asked=asked)
    assert always("the kettle is on the hob", context) == read(
        "the kettle is on the hob", context, second=False
    )


@pytest.mark.parametrize("text", ["HELP", "START", "I fell", "my knee hurts", "nearly fell"])
def test_what_the_lists_know_stays_theirs(text: str) -> None:
    assert always(text) == read(text, second=False)


def test_lists_that_doubt_say_so() -> None:
    assert read("nearly fell on the stairs").doubted_by == "lists"
    assert read("I fell on the stairs").doubted_by is None
    assert read("20 steady").doubted_by is None


@pytest.mark.parametrize(
    ("text", "sign", "because"),
    [
        ("Mum here's daughter Sue. She was on the floor when I got here", "fall", "floor"),
        ("the whole room is on a merry go round", "dizzy", "room"),
    ],
)
def test_a_report_that_no_list_knows_is_asked_about(text: str, sign: str, because: str) -> None:
    assert told(read(text, second=False)) == []
    reading = read(text)
    assert getattr(reading, sign) == "unsure"
    assert because in [text[span.start : span.end] for span in reading.because[sign]]
    assert reading.kind == "safety_only"


def test_an_emergency_is_doubted_beside_a_sign() -> None:
    grave = replace(ALWAYS, biases=np.array([1.0, 2, 1, 9, 9]))
    lists = read("the kettle is on the hob", second=False)
    both = doubted(lists, parse("the kettle is on the hob", lexicon("en")), "result", grave)
    assert (both.emergency_doubt, both.emergency, both.pain) == (True, False, "unsure")


# Chances of harm on texts that the weights never saw, measured when they were last made. A new
# version may better these figures, never worsen them.
BRIER_AT_MOST = 0.02
HEARD_AT_LEAST = 1.0
HARMLESS_DOUBTED_AT_MOST = 0.01


def test_figures_on_texts_kept_apart_do_not_fall() -> None:
    apart: list[Text] = texts("check*.jsonl")
    harm = np.array([text.families[HARM] for text in apart])
    weights = kept.load()
    chances = np.array([weights.chances(text.said)[HARM] for text in apart])
    doubts = [
        read(text.line["text"], context_from(text.line.get("context") or {})).doubted_by
        for text in apart
    ]
    asked = np.array([doubt == "statistics" for doubt in doubts])
    figures = {
        "Brier score": np.mean((chances - harm) ** 2) <= BRIER_AT_MOST,
        "harm heard": (chances[harm] >= weights.threshold).mean() >= HEARD_AT_LEAST,
        "harmless doubted": asked[~harm].mean() <= HARMLESS_DOUBTED_AT_MOST,
    }
    said = f"{np.mean((chances - harm) ** 2):.4f}, {asked[~harm].mean():.4f}"
    assert [name for name, good in figures.items() if not good] == [], said


def test_the_weights_are_small() -> None:
    packaged = kept.load()
    assert kept.FILE.stat().st_size < 3_000_000
    assert packaged.table.nbytes + packaged.scales.nbytes + packaged.biases.nbytes < 10_000_000


@given(st.text(st.characters(), max_size=120))
def test_stretches_are_the_slots_with_their_places(text: str) -> None:
    source = plain(text)
    said = folded(source)
    assert {slot for slot, _, _ in stretches(said)} == slots(said)
    where = places(source)
    for _, start, end in stretches(said):
        inner = [place for place in range(start, end) if said[place] != ord(" ")]
        assert all(0 <= where[place] < len(source.text) for place in inner)
