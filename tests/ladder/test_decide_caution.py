"""Settings outside the safe bounds are refused by name, value and range."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.errors import ImpossibleValue
from rungwise.ladder.caution import PRESETS, SAFE_BOUNDS, WHOLE_DAYS, Caution, stricter
from rungwise.ladder.progression import Plan


@pytest.mark.parametrize("field", SAFE_BOUNDS)
@pytest.mark.parametrize("end", [0, 1])
def test_just_outside_each_bound_is_refused(field: str, end: int) -> None:
    bound = SAFE_BOUNDS[field][end]
    step = 1 if field in WHOLE_DAYS else 0.01
    outside = bound + (step if end else -step)
    with pytest.raises(ImpossibleValue) as refused:
        Caution(**{field: outside})  # type: ignore[arg-type]
    low, high = SAFE_BOUNDS[field]
    assert field in str(refused.value)
    assert f"from {low:g} to {high:g}" in str(refused.value)


@pytest.mark.parametrize("value", [True, "2", 2.5, None, float("nan")])
def test_what_is_no_whole_number_is_refused(value: object) -> None:
    with pytest.raises(ImpossibleValue, match=r"steady_days_step is .*whole number"):
        Caution(steady_days_step=value)  # type: ignore[arg-type]


def test_a_chance_that_is_no_number_is_refused() -> None:
    with pytest.raises(ImpossibleValue, match="least_chance"):
        Caution(least_chance=float("nan"))


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        ({"steady_days_step": 4, "steady_days_landmark": 3}, "steady_days_landmark"),
        ({"back_days": 3, "back_window_days": 2}, "back_days"),
        ({"away_back_days": 9, "away_rest_days": 9}, "away_rest_days"),
    ],
)
def test_settings_that_contradict_each_other_are_refused(settings: dict, field: str) -> None:
    with pytest.raises(ImpossibleValue) as refused:
        Caution(**settings)
    assert refused.value.field == field


@pytest.mark.parametrize("target_s", [9, 31, 20.0, True, None])
def test_a_hold_target_outside_10_to_30_seconds_is_refused(target_s: object) -> None:
    with pytest.raises(ImpossibleValue, match=r"target_s .*from 10 to 30"):
        Plan(target_s=target_s)  # type: ignore[arg-type]


@st.composite
def cautions(draw: st.DrawFn) -> Caution:
    def whole(field: str, low: float = 0) -> int:
        bottom, top = SAFE_BOUNDS[field]
        return draw(st.integers(int(max(low, bottom)), int(top)))

    step, back = whole("steady_days_step"), whole("back_days")
    away = draw(st.integers(3, 14))
    chance = st.floats(*SAFE_BOUNDS["least_chance"])
    return Caution(
        name="own",
        steady_days_step=step,
        steady_days_landmark=whole("steady_days_landmark", step),
        back_days=back,
        back_window_days=whole("back_window_days", back),
        back_steps=whole("back_steps"),
        far_short_share=draw(st.floats(*SAFE_BOUNDS["far_short_share"])),
        stuck_backs=whole("stuck_backs"),
        stuck_window_days=whole("stuck_window_days"),
        away_back_days=away,
        away_rest_days=whole("away_rest_days", away + 1),
        least_chance=draw(st.none() | chance),
    )


@given(cautions(), st.sampled_from(list(PRESETS.values())))
def test_the_stricter_of_two_is_allowed_and_no_less_cautious(own: Caution, preset: Caution) -> None:
    both = stricter(own, preset, "both")
    for field in ("steady_days_step", "steady_days_landmark", "back_window_days", "back_steps"):
        assert getattr(both, field) >= max(getattr(own, field), getattr(preset, field))
    for field in ("back_days", "stuck_backs", "away_back_days", "away_rest_days"):
        assert getattr(both, field) <= min(getattr(own, field), getattr(preset, field))
