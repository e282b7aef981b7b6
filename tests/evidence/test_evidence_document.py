"""docs/evidence.md says what the code does: rules, cut-offs, settings, kinds of test."""

from pathlib import Path

import pytest

from rungwise.coach.daily.weekly import AT as WEEKLY_AT
from rungwise.coach.record.rhythm import USUAL_WEEKS
from rungwise.coach.reports.outcomes import REVERSED_WITHIN_DAYS
from rungwise.coach.reviews.retests import EVERY_WEEKS
from rungwise.evidence import KINDS, VISIT_RULES
from rungwise.evidence.change import FIVE_STANDS_DETECTABLE_S, ONE_LEG_DETECTABLE
from rungwise.settings import Settings

PAGE = (Path(__file__).parents[2] / "docs/evidence.md").read_text(encoding="utf-8")
FLOWING = " ".join(PAGE.split())


def test_every_rule_is_there_in_its_order_and_words() -> None:
    numbered = [f"{place}. {says}" for place, says in enumerate(VISIT_RULES.values(), start=1)]
    assert "\n".join(numbered) in PAGE


def test_every_test_is_in_the_table() -> None:
    assert len(KINDS) == 7
    for kind in KINDS.values():
        title = kind.title if kind.name in ("sppb", "tug") else kind.title.lower()
        assert f"| {title} |" in PAGE, title


def test_every_mail_setting_is_named() -> None:
    for name in Settings.model_fields:
        if name.startswith("smtp_"):
            assert f"`RUNGWISE_{name.upper()}`" in PAGE


@pytest.mark.parametrize(
    "words",
    [
        f"every {EVERY_WEEKS[0]} to {EVERY_WEEKS[1]} weeks ({USUAL_WEEKS} unless you set it",
        f"one-leg stance, {ONE_LEG_DETECTABLE:.1%} of the mean",
        f"five stands, {FIVE_STANDS_DETECTABLE_S} s",
        f"within {REVERSED_WITHIN_DAYS} days, back to where",
        f"Sunday at {WEEKLY_AT:%H:%M} their time",
        "Nothing on these pages is a diagnosis.",
    ],
)
def test_figures_on_the_page_are_the_codes(words: str) -> None:
    assert words in FLOWING
