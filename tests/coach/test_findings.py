"""Outcomes in sentences: what is said of which figures, and what is never claimed."""

from dataclasses import replace
from datetime import date

import pytest

from rungwise.coach.reports import findings
from rungwise.coach.reports.outcomes import Reversals, WeekPractice
from rungwise.evidence.dose import Dose
from rungwise.evidence.falls import FallsFound
from rungwise.evidence.survival import curve

MONDAY = date(2026, 3, 2)


def falls_found(falls: int, fallers: int, again: int = 0, days: int = 308) -> FallsFound:
    return FallsFound(
        people=11,
        falls=falls,
        fallers=fallers,
        repeat_fallers=again,
        injurious=0,
        while_practising=0,
        place_unknown=0,
        injury_unknown=0,
        elsewhere=0,
        days_answered=days,
        days_missing=0,
        per_person_year=None,
        spread=None,
        first_fall=curve([], []),
    )


NO_MOVES = Reversals(0, 0, 0, 0, 0)


def week(clients: int, practised: int, enough: int) -> WeekPractice:
    return WeekPractice(MONDAY, clients, 7 * clients, practised, enough)


@pytest.mark.parametrize(
    ("weeks", "says", "beside"),
    [
        ([], "Nobody was asked to practise in these weeks.", ""),
        ([week(0, 0, 0)], "Nobody was asked to practise in these weeks.", ""),
        ([week(10, 50, 9)], "Clients practise on five days of seven.",
         "Three days are advised: in that week 9 of 10 reached them."),
        ([week(10, 50, 9), week(0, 0, 0), week(11, 66, 11)],
         "Clients practise on five to six days of seven.",
         "Three days are advised: in each of the 2 weeks at least 9 of 10 reached them."),
        ([week(3, 3, 0)], "Clients practise on one day of seven.",
         "Three days are advised: in that week 0 of 3 reached them."),
    ],
)  # fmt: skip
def test_practice(weeks: list[WeekPractice], says: str, beside: str) -> None:
    assert findings.practice(weeks) == findings.Finding(says, beside)


@pytest.mark.parametrize(
    ("told", "clients", "again", "says"),
    [
        (0, 0, 0, "No fall was told in these weeks."),
        (1, 1, 0, "One fall was told in these weeks, by one client."),
        (2, 1, 1, "Two falls were told in these weeks, by one client, one of them more than once."),
        (13, 11, 2,
         "13 falls were told in these weeks, by 11 clients, two of them more than once."),
    ],
)  # fmt: skip
def test_falls(told: int, clients: int, again: int, says: str) -> None:
    assert findings.falls(falls_found(told, clients, again)).says == says


def test_falls_told_of_days_that_nobody_answered_for_are_never_left_out() -> None:
    none_answered = findings.falls(replace(falls_found(0, 0, days=0), elsewhere=1))
    assert none_answered.beside == "One fall was told of days that nobody answered for."
    elsewhere = findings.falls(replace(falls_found(0, 0), elsewhere=2))
    assert elsewhere.says == "No fall was told of the days answered for."
    assert elsewhere.beside.endswith("Two falls were told of days that nobody answered for.")
    more = findings.falls(replace(falls_found(1, 1), elsewhere=1))
    assert more.beside.endswith("One more fall was told of days that nobody answered for.")


def test_no_fall_told_is_never_said_to_be_no_fall() -> None:
    assert "does not mean that nobody fell" in findings.falls(falls_found(0, 0)).beside
    assert "say little" in findings.falls(falls_found(1, 1)).beside
    assert "say little" not in findings.falls(falls_found(9, 7, 1)).beside
    nobody = findings.falls(falls_found(0, 0, days=0)).says
    assert nobody == "Nobody has answered yet whether they fell, so there is no rate."


@pytest.mark.parametrize(
    ("passed", "under_way", "says"),
    [
        (0, 0, "Nobody has begun below a landmark yet."),
        (0, 12, "None of 12 has passed a landmark since they began."),
        (1, 9, "One of nine has passed a landmark since they began."),
        (7, 12, "Seven of 12 have passed a landmark since they began."),
    ],
)
def test_landmarks(passed: int, under_way: int, says: str) -> None:
    assert findings.landmarks(passed, under_way).says == says


def test_reversals() -> None:
    none = findings.reversals(NO_MOVES, lead=False)
    assert none.says == "The rule has moved nobody yet."
    found = Reversals(71, 1, 10, 0, 2)
    mine, all_ = (findings.reversals(found, lead=lead) for lead in (False, True))
    assert mine.says == "You took back one of the rule’s 81 moves."
    assert all_.says == "Trainers took back one of the rule’s 81 moves."
    assert mine.beside == "71 up, 10 back. You placed clients 2 times in all."


def test_dose() -> None:
    none = Dose(0, 0, 0, 0, 0.0, {})
    assert findings.dose(none).says == "No session was planned in these weeks."
    found = findings.dose(Dose(40, 30, 2, 60, 20.0, {}))
    assert found.says == "30 of 40 planned sessions were done."
    assert found.beside == "That is 75%. 2 sessions more than planned."
