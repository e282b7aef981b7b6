"""The client's words: plain letters, short, one rung one text, and enough to do it right."""

import re
import tomllib
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_MAN, MEAN_WOMAN, bodies, homes, narrowings

from rungwise.ladder import Body, Equipment, Limits, Side, Stance, build_ladder
from rungwise.wording.answers import prompt_text
from rungwise.wording.rung_words import (
    rung_cautions,
    rung_sentence,
    rung_short,
    rung_steps,
    rung_text,
)
from rungwise.wording.segments import segments
from rungwise.wording.texts import LANGUAGES

# 3GPP TS 23.038, section 6.2.1, in the order of its codes; 0x1B is the escape and left out.
GSM_7 = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
FULL = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
SORE = build_ladder(
    Body(246, 93, 177, big_toe_pain=True, no_full_weight=Side.LEFT), FULL_HOME, Limits()
)


def test_the_table_is_whole():
    assert len(GSM_7) == len(set(GSM_7)) == 127


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("ladder", [FULL, SORE])
def test_client_texts_use_only_the_default_alphabet(ladder, language):
    for rung in ladder.rungs:
        assert set(rung_text(rung, 20, language)) <= set(GSM_7)


@settings(max_examples=60, deadline=None)
@given(bodies(), homes(), narrowings(), st.sampled_from(sorted(LANGUAGES)))
def test_no_two_rungs_have_the_same_text_or_sentence(body, home, narrowing, language):
    rungs = build_ladder(body, home, Limits(), narrowing).rungs
    for texts in (
        [rung_text(rung, 20, language) for rung in rungs],
        [rung_sentence(rung, language) for rung in rungs],
    ):
        assert len(set(texts)) == len(texts)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        (
            "firm/parallel/o177/fingertips",
            "Feet side by side, 8.5 cm apart. Fingertips on counter. Hold 20 sec.",
        ),
        (
            "firm/parallel/o93/hover",
            "Feet side by side, touching. Hands just above counter. Hold 20 sec.",
        ),
        (
            "firm/staggered/o157/a100/hover",
            "Left foot a step ahead, feet 6.5 cm apart. Hands just above counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "firm/staggered/o93/a40/hover",
            "Left heel 4 cm past right toes, inner edges in line. Hands just above counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "firm/semi_tandem/o73/hover",
            "Left heel beside right big toe, touching. Hands just above counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "firm/semi_tandem/o20/hover",
            "Left heel in front of right toes, 2 cm off one line. Hands just above counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "firm/tandem/hover",
            "Left heel touching right toes, feet in one line. Hands just above counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "firm/single_leg/beside/one_hand",
            "Stand on left foot, right foot lifted beside it. One hand on counter. "
            "Hold 20 sec, swap feet.",
        ),
        (
            "mat4/back/tandem/fingertips",
            "Back foot on mat, 4 layers. Left heel touching right toes, feet in one line. "
            "Fingertips on counter. Hold 20 sec, swap feet.",
        ),
        (
            "foam_round_crossways/parallel/o93/hover",
            "Half foam under both feet, round side up, crossways. Feet side by side, touching. "
            "Hands just above counter. Hold 20 sec.",
        ),
    ],
)
def test_a_rung_in_the_client_s_words(key, text):
    assert rung_text(FULL[key], 20) == text


def test_one_leg_that_may_not_stand_is_named_as_not_to():
    text = rung_text(SORE["firm/single_leg/beside/hover"], 20)
    assert text.startswith("Stand on right foot, left foot lifted")
    assert text.endswith("Hold 20 sec. Not on left foot.")
    assert "swap" not in text


def test_the_sore_toe_is_off_the_edge():
    text = rung_text(SORE["firm/toe_touch/on_foam/hover"], 20)
    assert "left foot resting on half foam, big toe off its edge" in text


def test_a_measure_is_never_closer_than_the_rung():
    for rung in build_ladder(MEAN_MAN, FULL_HOME, Limits()).rungs:
        if rung.stance is not Stance.PARALLEL:
            continue
        told = re.search(r"([\d.]+) cm apart", rung_text(rung, 20))
        if told is None:
            assert rung.gap_mm == 0
        else:
            assert rung.gap_mm <= 10 * float(told[1]) < rung.gap_mm + 5


def test_on_the_floor_a_whole_prompt_fits_in_one_text():
    for body in (MEAN_MAN, MEAN_WOMAN):
        for rung in build_ladder(body, Equipment(), Limits()).rungs:
            prompt = prompt_text(rung_text(rung, 20), "en", target_s=20, sided=rung.sided)
            assert segments(prompt).count == 1, prompt


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_prompt_takes_more_than_two_texts(language):
    for ladder in (FULL, SORE):
        for rung in ladder.rungs:
            prompt = prompt_text(rung_text(rung, 30, language), language, target_s=30, sided=True)
            assert segments(prompt).count <= 2, prompt


@pytest.mark.parametrize("language", LANGUAGES)
def test_steps_are_the_text_in_pieces(language):
    for rung in FULL.rungs[::9]:
        steps = rung_steps(rung, 20, language)
        assert " ".join(steps) == rung_text(rung, 20, language)
        assert all(step.endswith(".") and step[0] == step[0].upper() for step in steps)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_is_whole(language):
    for ladder in (FULL, SORE):
        for rung in ladder.rungs:
            for text in (rung_text(rung, 20, language), rung_sentence(rung, language)):
                assert "{" not in text
                assert text.endswith(".")
                assert ", ," not in text
                assert "  " not in text
            assert not rung_short(rung, language).endswith(".")


def test_the_trainer_reads_exact_measures():
    assert rung_sentence(FULL["firm/staggered/o137/a100/hover"]) == (
        "Staggered by a comfortable step (heel 10 cm ahead of the other toes), 13.7 cm between "
        "centre lines (4.4 cm between inner edges), on firm ground, hands hovering just above the "
        "counter, each foot in front, left first."
    )


def test_cautions_come_with_every_rung_and_one_more_on_soft_ground():
    firm, soft = FULL["firm/tandem/hover"], FULL["mat1/tandem/hover"]
    assert len(rung_cautions(soft)) == len(rung_cautions(firm)) + 1
    assert any("dizzy" in caution for caution in rung_cautions(firm))
    assert len(rung_cautions(firm, "es")) == len(rung_cautions(firm))


def _table(language):
    source = resources.files("rungwise.wording").joinpath(f"rungs_{language}.toml")
    return tomllib.loads(source.read_text(encoding="utf-8"))


def test_every_language_has_the_same_words():
    english, spanish = _table("en"), _table("es")
    assert {name: set(part) for name, part in english.items()} == {
        name: set(part) for name, part in spanish.items()
    }


def test_nothing_is_ever_done_with_closed_eyes():
    for language in LANGUAGES:
        table = _table(language)
        for part in ("client", "trainer", "short"):
            text = " ".join(table[part].values()).lower()
            assert "closed" not in text
            assert "cerrad" not in text
