"""The client's words: plain letters, short, one rung one text, and enough to do it right."""

import tomllib
from dataclasses import replace
from importlib import resources
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ladder_cases import FULL_HOME, MEAN_MAN, MEAN_WOMAN, bodies, homes, narrowings

from rungwise.concepts.measures import halves_up as mark
from rungwise.ladder import Body, Equipment, Limits, Side, Surface, build_ladder
from rungwise.ladder.body import OPENABLE_TASKS
from rungwise.wording.answers import prompt_text
from rungwise.wording.distances import room_word
from rungwise.wording.feet import feet_told
from rungwise.wording.rung_words import (
    Telling,
    rung_cautions,
    rung_sentence,
    rung_short,
    rung_stand,
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
SORE_BODY = Body(246, 93, 177, big_toe_pain=True, no_full_weight=Side.LEFT)
SORE = build_ladder(SORE_BODY, FULL_HOME, Limits())
TELLINGS = [
    Telling(30, sets, first_day, tape, units)
    for sets in (1, 2, 3)
    for first_day in (False, True)
    for tape, units in ((False, "cm"), (True, "cm"), (True, "in"))
]


def test_the_table_is_whole():
    assert len(GSM_7) == len(set(GSM_7)) == 127


CASES = [(FULL, MEAN_WOMAN), (SORE, SORE_BODY)]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("ladder", "body"), CASES)
def test_client_texts_use_only_the_default_alphabet(ladder, body, language):
    for rung, telling in product(ladder.rungs, TELLINGS):
        assert set(rung_text(rung, body, telling, language)) <= set(GSM_7)


@settings(max_examples=60, deadline=None)
@given(bodies(), homes(), narrowings(), st.sampled_from(sorted(LANGUAGES)))
def test_no_two_rungs_have_the_same_sentence_for_the_trainer(body, home, narrowing, language):
    sentences = [
        rung_sentence(rung, language)
        for rung in build_ladder(body, home, Limits(), narrowing).rungs
    ]
    assert len(set(sentences)) == len(sentences)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        (
            "firm/parallel/o177/fingertips",
            "Feet side by side, as wide as your hips. Fingertips on the counter. Hold 20 seconds.",
        ),
        (
            # 4.4 cm between the feet: the next wider word is 3 fingers, 5 cm.
            "firm/parallel/o137/hover",
            "Feet side by side, about 3 fingers apart. Hands just above the counter. "
            "Hold 20 seconds.",
        ),
        (
            "firm/parallel/o93/hover",
            "Feet together, touching. Hands just above the counter. Hold 20 seconds.",
        ),
        (
            "firm/staggered/o157/a100/hover",
            "Left foot a step ahead, 4 fingers wide. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/staggered/o93/a60/hover",
            "Left foot a step ahead, no gap sideways. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/staggered/o93/a40/hover",
            "Left foot half a step ahead, no side gap. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/staggered/o93/a-20/hover",
            "Left heel level with right toes, no gap. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/semi_tandem/o73/hover",
            "Left heel beside right big toe, touching. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/semi_tandem/o20/hover",
            "Left heel ahead, 1 finger off one line. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/tandem/hover",
            "Left heel touches right toes, on one line. Hands just above the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "firm/single_leg/beside/one_hand",
            "Stand on left foot, lift right beside it. One hand on the counter. "
            "20 seconds, then swap feet.",
        ),
        (
            "mat4/back/tandem/fingertips",
            "Back foot on the mat, 4 layers. Left heel touches right toes, on one line. "
            "Fingertips on the counter. 20 seconds, then swap feet.",
        ),
        (
            "foam_round_crossways/parallel/o93/hover",
            "Half foam under both feet, round side up, lying across. Feet together, touching. "
            "Hands just above the counter. Hold 20 seconds.",
        ),
    ],
)
def test_a_rung_in_the_client_s_words(key, text):
    assert rung_text(FULL[key], MEAN_WOMAN) == text


@pytest.mark.parametrize(
    ("key", "units", "language", "feet"),
    [
        # 17.7, 13.7 and 34.6 cm, each to the next half; 17.7 cm is 6.97 in and 34.6 cm 13.6 in.
        ("firm/parallel/o177/hover", "cm", "en", "Left heel on 0, right heel on 18."),
        ("firm/parallel/o177/hover", "in", "en", "Left heel on 0, right heel on 7."),
        ("firm/parallel/o137/hover", "cm", "es", "Talon izquierdo en 0, derecho en 14."),
        ("firm/staggered/o137/a100/hover", "cm", "en", "Left heel 0 and 35 ahead, right 14."),
        ("firm/staggered/o137/a100/hover", "in", "en", "Left heel 0 and 14 ahead, right 5.5."),
        ("firm/semi_tandem/o83/hover", "cm", "en", "Left heel 0 and 20 ahead, right 8.5."),
        ("firm/semi_tandem/o83/hover", "cm", "es", "Izquierdo 0 y 20 al frente, derecho 8,5."),
        # Where nothing has to be measured a tape changes nothing.
        ("firm/semi_tandem/o73/hover", "cm", "en", "Left heel beside right big toe, touching."),
        ("firm/tandem/hover", "cm", "en", "Left heel touches right toes, on one line."),
    ],
)
def test_with_a_tape_the_marks_are_said(key, units, language, feet):
    told = rung_text(FULL[key], MEAN_WOMAN, Telling(20, tape=True, units=units), language)
    assert told.startswith(feet)


def test_sets_and_the_first_day_are_told():
    rung = FULL["firm/tandem/hover"]
    twice = rung_text(rung, MEAN_WOMAN, Telling(20, sets=2, first_day=True))
    assert twice.endswith(
        "20 seconds, 2 times each foot. Look ahead, feet straight, hips level. "
        "To finish, hold on first."
    )
    both = rung_text(FULL["firm/parallel/o93/hover"], MEAN_WOMAN, Telling(20, sets=2))
    assert both.endswith("Hold 20 seconds, 2 times.")
    soft = rung_text(FULL["mat1/parallel/o177/hover"], MEAN_WOMAN, Telling(first_day=True))
    assert "It must not slide; mind its edge." in soft
    assert "To finish, hold on first." in soft


def test_one_leg_that_may_not_stand_is_named_as_not_to():
    text = rung_text(SORE["firm/single_leg/beside/hover"], SORE_BODY)
    assert text.startswith("Stand on right foot only, lift left beside it.")
    assert text.endswith("Hold 20 seconds.")
    assert "swap" not in text


def test_the_sore_toe_is_off_the_edge():
    text = rung_text(SORE["firm/toe_touch/on_foam/hover"], SORE_BODY)
    assert "Rest left on half foam, big toe off its edge" in text


@settings(max_examples=150, deadline=None)
@given(bodies(), homes(), narrowings(), st.booleans())
def test_a_text_never_asks_for_less_room_than_the_rung_has(body, home, narrowing, tape):
    for rung in build_ladder(body, home, Limits(), narrowing).rungs:
        told = feet_told(rung, body, tape=tape)
        assert told.across_mm >= rung.offset_mm, rung.key
        assert told.along_mm >= rung.step_mm, rung.key


@settings(max_examples=150, deadline=None)
@given(bodies(), narrowings())
def test_a_word_is_too_wide_by_no_more_than_the_page_says(body, narrowing):
    # docs/ladder.md: at most 2 cm up to a fist, 9 cm beyond; along, half a step or the big toe.
    body = replace(body, feet_overlap=True)
    for rung in build_ladder(body, Equipment(), Limits(), narrowing).rungs:
        told = feet_told(rung, body)
        across = told.across_mm - rung.offset_mm
        between = rung.gap_mm or 0
        near = between <= 90 and told.name not in ("parallel_hips", "staggered_hips")
        assert across <= (20 if near else 100), (rung.key, told)
        along = told.along_mm - rung.step_mm
        assert along <= max((body.ahead_mm + 1) // 2, body.foot_length_mm // 5 + 1), rung.key


@pytest.mark.parametrize(
    ("gap_mm", "hips_mm", "word"),
    [
        # Widths of fingers and a fist: common practice, no source.
        (1, None, "finger"), (20, None, "finger"), (21, None, "fingers_2"),
        (36, 84, "fingers_3"), (51, 84, "fingers_4"), (71, 84, "hips"), (84, 84, "hips"),
        (85, 95, "hips"), (85, 150, "fist"), (91, 150, "hips"), (91, 200, "fists_2"),
    ],
)  # fmt: skip
def test_the_next_wider_word_is_taken(gap_mm, hips_mm, word):
    assert room_word(gap_mm, hips_mm)[0] == word


@given(st.integers(0, 600), st.sampled_from(["cm", "in"]))
def test_a_mark_is_the_next_half(length_mm, units):
    per_unit = {"cm": 10, "in": 25.4}[units]  # an inch is 25.4 mm by definition
    marked = mark(length_mm, units)
    assert marked * 2 == int(marked * 2)
    assert 0 <= marked * per_unit - length_mm + 1e-6 < per_unit / 2 + 1e-6


EVERY_BODY = [
    MEAN_MAN,
    MEAN_WOMAN,
    replace(MEAN_WOMAN, weaker=Side.RIGHT),
    replace(MEAN_WOMAN, no_full_weight=Side.LEFT),
    replace(MEAN_WOMAN, no_full_weight=Side.RIGHT),
    replace(MEAN_WOMAN, feet_overlap=False),
    SORE_BODY,
    Body(340, 150, 280, weaker=Side.LEFT, ahead_mm=200),
    Body(170, 60, 280),
]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("body", EVERY_BODY)
def test_on_the_floor_every_following_day_is_one_text_and_nothing_takes_three(body, language):
    ladder = build_ladder(body, FULL_HOME, Limits(opened_tasks=OPENABLE_TASKS))
    for rung, telling in product(ladder.rungs, TELLINGS):
        task = rung_text(rung, body, telling, language)
        counted = segments(prompt_text(task, language, sides=rung.sides))
        plain = rung.surface is Surface.FIRM and not rung.on_foam and not rung.task
        most = 1 if plain and not telling.first_day else 2
        assert counted.encoding == "GSM-7"
        assert counted.count <= most, (counted.units, task)


@pytest.mark.parametrize("language", LANGUAGES)
def test_steps_are_the_text_in_pieces(language):
    for rung in FULL.rungs[::9]:
        steps = rung_steps(rung, MEAN_WOMAN, language=language)
        assert " ".join(steps) == rung_text(rung, MEAN_WOMAN, language=language)
        assert steps[:2] == rung_stand(rung, MEAN_WOMAN, language=language)[:2]
        assert all(step.endswith(".") and step[0] == step[0].upper() for step in steps)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_sentence_is_whole(language):
    for ladder, body in CASES:
        for rung in ladder.rungs:
            text = rung_text(rung, body, language=language)
            for one in (text, rung_sentence(rung, language)):
                assert "{" not in one
                assert one.endswith(".")
                assert ", ," not in one
                assert "  " not in one
            assert not rung_short(rung, language).endswith(".")


@pytest.mark.parametrize(
    ("key", "ends"),
    [
        ("firm/parallel/o93/hover/shift", "Shift your weight slowly from foot to foot."),
        ("firm/tandem/hover/head", "then swap feet. Turn your head slowly from side to side."),
        ("firm/tandem/hover/count", "then swap feet. Count back from 60 out loud."),
        ("firm/tandem/hover/arms", "Arms folded, counter in reach. 20 seconds, then swap feet."),
    ],
)  # fmt: skip
def test_what_is_done_beside_standing_is_told(key, ends):
    opened = build_ladder(MEAN_WOMAN, Equipment(), Limits(opened_tasks=OPENABLE_TASKS))
    assert rung_text(opened[key], MEAN_WOMAN).endswith(ends)


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
