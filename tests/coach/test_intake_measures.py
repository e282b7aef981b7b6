"""Heights in feet and inches, shoe sizes for feet, and stands that were not tried."""

import pytest
from screened import harmless

from rungwise.coach.enrolment.heights import height_mm
from rungwise.coach.enrolment.intake_form import read_intake
from rungwise.coach.record.fields import Unfinished
from rungwise.errors import ImpossibleValue
from rungwise.evidence.four_stage import four_stage
from rungwise.ladder.shoe_sizes import SHOE_SYSTEMS, foot_length_mm
from rungwise.store.tables import Practice

PRACTICE = Practice(name="Harbour", phone="+12025550100", country="US", created_at=None)
GIVEN = {
    **harmless(),
    "name": "Dee Example",
    "phone": "+12025550209",
    "time_zone": "America/New_York",
    "sex": "female",
}


def read(**given: str):
    return read_intake({**GIVEN, **given}, PRACTICE)


# 25.4 mm to the inch: the international yard and pound agreement of 1959.
@pytest.mark.parametrize(
    ("words", "mm"),
    [
        *(("163", 1630), ("163 cm", 1630), ("162,5", 1625), ("5'4\"", 1626), ("5 ft 4 in", 1626)),
        *(("5ft4", 1626), ("5 foot 4", 1626), ("5’4”", 1626), ("5'", 1524), ("64 in", 1626)),
        *(('64"', 1626), ("5 ft 4.5", 1638), ("6 ft", 1829), ("5 feet 11 inches", 1803)),
    ],
)
def test_a_height_in_cm_or_in_feet_and_inches(words: str, mm: int) -> None:
    assert height_mm(words) == mm
    assert read(height_cm=words).new.profile.body == read(height_cm=f"{mm / 10}").new.profile.body


@pytest.mark.parametrize("words", ["64", "9 ft", "3 ft", "5 4", "tall", "5 ft four", "'", "1.63"])
def test_what_is_no_height_is_said(words: str) -> None:
    with pytest.raises(ImpossibleValue):
        height_mm(words)
    with pytest.raises(Unfinished) as wrong:
        read(height_cm=words)
    assert "height_cm" in wrong.value.problems


# A size's last, by the unit of its system (2/3 cm; 1/3 inch), less the allowance; from memory that
# EU 38, UK 5 and US women's 7.5 are about one size, and UK 9 and US men's 10.
@pytest.mark.parametrize(
    ("size", "system", "mm"),
    [
        *((38, "eu", 238), (43, "eu", 272), (5, "uk", 239), (7.5, "us_women", 239)),
        *((9, "uk", 273), (10, "us_men", 273), (240, "mondo", 240)),
    ],
)
def test_a_shoe_size_gives_the_foot(size: float, system: str, mm: int) -> None:
    assert foot_length_mm(size, system) == mm
    body = read(shoe_size=f"{size:g}", shoe_system=system, height_cm="163").new.profile.body
    assert body.foot_length_mm == mm
    assert body.estimated
    # As broad for its length as the sex's usual foot (ANSUR II, from memory: 93 to 246 mm).
    assert body.foot_breadth_mm == round(mm * 93 / 246)


def test_a_larger_size_is_a_longer_foot_in_every_system() -> None:
    for name, system in SHOE_SYSTEMS.items():
        low, high = system.sizes
        sizes = [low + step * (high - low) / 20 for step in range(21)]
        feet = [foot_length_mm(size, name) for size in sizes]
        assert feet == sorted(feet)
        assert 190 <= feet[0] < feet[-1] <= 345, name


def test_measures_come_before_a_shoe_size_and_a_size_needs_its_system() -> None:
    measured = {"foot_length_cm": "24", "foot_breadth_cm": "9", "hip_width_cm": "17.5"}
    body = read(shoe_size="43", shoe_system="eu", **measured).new.profile.body
    assert (body.foot_length_mm, body.estimated) == (240, False)
    for given, field in (
        ({"shoe_size": "38"}, "shoe_system"),
        ({"shoe_size": "38", "shoe_system": "us_men"}, "shoe_size"),
        ({"shoe_size": "38", "shoe_system": "jp"}, "shoe_system"),
        ({"shoe_size": "big", "shoe_system": "eu"}, "shoe_size"),
    ):
        with pytest.raises(Unfinished) as wrong:
            read(**given)
        assert field in wrong.value.problems


NOT = "not tried"


@pytest.mark.parametrize(
    ("stands", "held_s", "why"),
    [
        (("10", "10", NOT), (10, 10, None), "Semi-tandem was held for 10 s and tandem was not"),
        (("10", NOT, "10", "4"), (10, None, 10, 4), "Side by side was held for 10 s and semi-"),
        ((NOT, "10", "10", "4"), (None, 10, 10, 4), "Feet together was not tried"),
        (("10", "10", "10", NOT), (10, 10, 10, None), "Tandem was held for 10 s and one foot was"),
        (("10", "6", NOT, NOT), (10, 6), "Side by side was held for 10 s and semi-tandem was not"),
    ],
)
def test_a_stand_that_was_not_tried_ends_what_counts(stands, held_s, why) -> None:
    given = {f"stage_{place}": told for place, told in enumerate(stands, start=1)}
    draft = read(**given)
    assert draft.shown.held_s[: len(held_s)] == held_s
    assert draft.suggestion.because.startswith(why)
    assert draft.outcome == "start"
    counted = [held for held in held_s if held is not None and held >= 10]
    assert draft.shown.stages_held <= len(counted)


def test_nothing_tried_is_no_baseline_and_not_held_still_asks_first() -> None:
    assert read(**{f"stage_{place}": NOT for place in range(1, 5)}).shown is None
    assert read(stage_1="4").outcome == "ask_first"
    assert read(stage_1=NOT, stage_2="10", stage_3=NOT).outcome == "start"
    with pytest.raises(Unfinished):
        read(stage_1="10", stage_3="10")  # neither seconds nor "not tried" for the second
    with pytest.raises(Unfinished):
        read(stage_1="4", stage_2="10")
    with pytest.raises(Unfinished):
        read(stage_1="10 not tried")


def test_what_was_not_tried_is_said_as_that() -> None:
    found = four_stage([10, 10, None]).findings(75, None)
    assert any("Tandem was not tried" in one.says for one in found)
    assert four_stage([None, 10, None]).stopped_at is None
    assert not four_stage([None]).findings(75, None)[0].says.startswith("Feet together was not")


# An inch is 25.4 mm exactly, by the international yard and pound agreement of 1959.
@pytest.mark.parametrize(
    ("words", "mm"),
    [
        ("24.5", 245),
        ("24,5 cm", 245),
        ("9 5/8 in", 244),
        ('9 5/8"', 244),
        ("9.5in", 241),
        ("9,5 inches", 241),
        ("10 in", 254),
        ("10″", 254),
    ],
)
def test_a_length_is_taken_in_centimetres_or_in_inches(words: str, mm: int) -> None:
    measured = {"foot_length_cm": words, "foot_breadth_cm": "3 1/2 in", "hip_width_cm": "17.5"}
    body = read(**measured).new.profile.body
    assert (body.foot_length_mm, body.foot_breadth_mm) == (mm, 89)


@pytest.mark.parametrize("words", ["1 in", "9 5/0 in", "in", "5/8 in", "9 5/8", "99 in", "9 5 in"])
def test_a_length_that_is_none_or_no_foot_is_refused(words: str) -> None:
    given = {"foot_length_cm": words, "foot_breadth_cm": "9", "hip_width_cm": "17.5"}
    with pytest.raises(Unfinished) as refused:
        read(**given)
    assert "foot_length_cm" in refused.value.problems
