"""docs/asvs.md answers every requirement of the standard at level 2, by what is there."""

import re
from pathlib import Path

import pytest
from write_asvs import PAGE as WRITTEN
from write_asvs import STATES, answers, page

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/security.md").read_text(encoding="utf-8")
# OWASP ASVS 4.0.3: the requirements of levels 1 and 2, by section. Those that it deleted and those
# of level 3 alone are left out.
LEVEL_2 = {
    **{"1.1": range(1, 8), "1.2": range(1, 5), "1.4": (1, 4, 5), "1.5": range(1, 5)},
    **{"1.6": range(1, 5), "1.7": (1, 2), "1.8": (1, 2), "1.9": (1, 2), "1.10": (1,)},
    **{"1.11": (1, 2), "1.12": (2,), "1.14": range(1, 7)},
    **{"2.1": range(1, 13), "2.2": (1, 2, 3), "2.3": (1, 2, 3), "2.4": range(1, 7)},
    **{"2.5": range(1, 8), "2.6": (1, 2, 3), "2.7": range(1, 7), "2.8": range(1, 8)},
    **{"2.9": (1, 2, 3), "2.10": range(1, 5)},
    **{"3.1": (1,), "3.2": range(1, 5), "3.3": range(1, 5), "3.4": range(1, 6)},
    **{"3.5": (1, 2, 3), "3.7": (1,)},
    **{"4.1": (1, 2, 3, 5), "4.2": (1, 2), "4.3": (1, 2, 3)},
    **{"5.1": range(1, 6), "5.2": range(1, 9), "5.3": range(1, 11), "5.4": (1, 2, 3)},
    **{"5.5": range(1, 5)},
    **{"6.1": (1, 2, 3), "6.2": range(1, 7), "6.3": (1, 2), "6.4": (1, 2)},
    **{"7.1": range(1, 5), "7.2": (1, 2), "7.3": (1, 3, 4), "7.4": (1, 2, 3)},
    **{"8.1": range(1, 5), "8.2": (1, 2, 3), "8.3": range(1, 9)},
    **{"9.1": (1, 2, 3), "9.2": range(1, 5)},
    **{"10.2": (1, 2), "10.3": (1, 2, 3)},
    **{"11.1": range(1, 9)},
    **{"12.1": (1, 2, 3), "12.2": (1,), "12.3": range(1, 7), "12.4": (1, 2), "12.5": (1, 2)},
    **{"12.6": (1,)},
    **{"13.1": (1, 3, 4, 5), "13.2": (1, 2, 3, 5, 6), "13.3": (1, 2), "13.4": (1, 2)},
    **{"14.1": range(1, 5), "14.2": range(1, 7), "14.3": (2, 3), "14.4": range(1, 8)},
    **{"14.5": range(1, 5)},
}
ROWS = [[number, *row] for rows in answers().values() for number, row in rows.items()]
TESTS = {
    name
    for file in (ROOT / "tests").rglob("test_*.py")
    for name in re.findall(r"^(?:async )?def (test_\w+)", file.read_text(encoding="utf-8"), re.M)
}


def test_every_requirement_of_level_2_is_answered_once_and_in_order() -> None:
    wanted = [f"{section}.{number}" for section, numbers in LEVEL_2.items() for number in numbers]
    assert [row[0] for row in ROWS] == wanted


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_an_answer_names_what_is_there_or_why_it_is_not(row: list[str]) -> None:
    assert len(row) == 4, row
    _, asks, state, where = row
    assert state in STATES
    assert asks
    assert where
    for name in re.findall(r"`(test_\w+)`", where):
        assert name in TESTS, name
    for name in re.findall(r"`((?:service|tests|deploy|docs)/[\w./@-]*)`", where):
        assert (ROOT / name).exists(), name
    if state in ("no", "partly"):
        assert len(where.split()) >= 4, "say why"


def test_the_page_is_as_the_answers_are() -> None:
    assert WRITTEN.read_text(encoding="utf-8") == page(), "python tests/security/write_asvs.py"


def test_most_of_it_is_met_and_nothing_is_passed_over_in_silence() -> None:
    states = [row[2] for row in ROWS]
    assert states.count("met") > len(states) / 2
    assert states.count("no") <= 6


def test_it_says_how_to_report_a_hole() -> None:
    assert "## To report a vulnerability" in PAGE
    for word in ("TODO", "TBD", "example.com", "@example", "<"):
        assert word not in PAGE, word
