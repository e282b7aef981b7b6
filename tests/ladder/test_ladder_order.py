"""Our landmarks against published standing tests, and our measures against published feet."""

import math

import pytest
from ladder_cases import FULL_HOME, MEAN_WOMAN

from rungwise.ladder import Limits, Stance, build_ladder
from rungwise.ladder.anthropometry import percentile_mm

LADDER = build_ladder(MEAN_WOMAN, FULL_HOME, Limits())
FIRM = [rung for rung in LADDER.rungs if rung.round == "firm"]

# The Four-Stage Balance Test, CDC STEADI, 2017: side by side, semi-tandem, tandem, one foot.
FOUR_STAGES = ("feet_together", "semi_tandem", "tandem", "single_leg")
# Balance part of the SPPB, Guralnik et al. 1994: side by side, semi-tandem (side of the heel
# against the big toe), tandem.
SPPB = ("feet_together", "semi_tandem", "tandem")


@pytest.mark.parametrize("test", [FOUR_STAGES, SPPB])
def test_landmarks_come_in_the_order_of_the_published_test(test):
    names = [rung.landmark for rung in FIRM if rung.landmark in test]
    assert names == list(test)
    demands = [rung.demand for rung in FIRM if rung.landmark in test]
    assert demands == sorted(demands)


@pytest.mark.parametrize("round_", ["mat1", "mat2", "mat4", "mat8"])
def test_and_so_they_do_again_on_every_mat(round_):
    names = [
        rung.landmark
        for rung in LADDER.rungs
        if rung.round == round_ and rung.landmark in FOUR_STAGES
    ]
    assert names == list(FOUR_STAGES)


def test_semi_tandem_is_the_sppb_s_heel_beside_the_big_toe():
    # Beside, not behind: the feet overlap lengthwise by about the big toe, which is a fifth of the
    # foot from the web to the tip (from memory).
    semi = next(rung for rung in FIRM if rung.landmark == "semi_tandem")
    length_mm, breadth_mm = MEAN_WOMAN.foot_length_mm, MEAN_WOMAN.foot_breadth_mm
    assert 0.15 * length_mm <= length_mm - semi.step_mm <= 0.25 * length_mm
    assert 0.6 * breadth_mm <= semi.offset_mm <= breadth_mm


def test_tandem_puts_heel_to_toe_on_one_line():
    tandem = next(rung for rung in FIRM if rung.landmark == "tandem")
    assert (tandem.offset_mm, tandem.step_mm) == (0, MEAN_WOMAN.foot_length_mm)
    assert tandem.stance is Stance.TANDEM


@pytest.mark.parametrize(
    ("measure", "sex", "low", "middle", "high"),
    [
        ("foot_length", "male", 250, 271, 292),
        ("foot_length", "female", 226, 246, 266),
        ("foot_breadth", "male", 94, 102, 110),
        ("foot_breadth", "female", 85, 93, 101),
    ],
)
def test_percentiles_5_50_95_of_ansur_ii(measure, sex, low, middle, high):
    # Gordon et al. 2014, NATICK/TR-15/007, means and spreads from memory.
    found = [round(percentile_mm(measure, sex, percent)) for percent in (5, 50, 95)]
    assert found == [low, middle, high]


def test_percentiles_are_those_of_the_normal_curve():
    # 1.6449 standard deviations below the mean: 271 - 13 x 1.6449 = 249.6.
    assert percentile_mm("foot_length", "male", 5) == pytest.approx(249.6, abs=0.05)
    assert percentile_mm("foot_length", "male", 95) == pytest.approx(292.4, abs=0.05)
    one_sd = 100 * 0.5 * (1 + math.erf(1 / math.sqrt(2)))
    assert percentile_mm("foot_breadth", "female", one_sd) == pytest.approx(98)
