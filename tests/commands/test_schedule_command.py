"""`rungwise schedule`."""

import json

import pytest

from rungwise.cli import main

BASE = {"--tz": "America/New_York", "--hour": "09:00", "--days": "daily", "--from": "2026-03-07"}


def words(**changed: str) -> list[str]:
    options = {**BASE, **{f"--{name}": value for name, value in changed.items()}}
    return ["schedule", *(word for pair in options.items() for word in pair)]


def listed(capsys: pytest.CaptureFixture[str], **changed: str) -> list[dict[str, str]]:
    assert main([*words(**changed), "--json"]) == 0
    return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]


def test_the_next_dues_over_a_change(capsys: pytest.CaptureFixture[str]) -> None:
    assert listed(capsys, count="2") == [
        {
            "local_date": "2026-03-07",
            "local": "2026-03-07T09:00:00-05:00",
            "utc": "2026-03-07T14:00:00Z",
        },
        {
            "local_date": "2026-03-08",
            "local": "2026-03-08T09:00:00-04:00",
            "utc": "2026-03-08T13:00:00Z",
        },
    ]


def test_a_time_in_a_gap_is_shown_as_the_clock_shows_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = listed(capsys, hour="02:30", days="sun", count="1")
    assert rows == [
        {
            "local_date": "2026-03-08",
            "local": "2026-03-08T03:30:00-04:00",
            "utc": "2026-03-08T07:30:00Z",
        }
    ]


def test_days_may_be_written_out(capsys: pytest.CaptureFixture[str]) -> None:
    short = listed(capsys, days="mon,wed,fri", count="5")
    assert listed(capsys, days="Monday, Wednesday,FRI", count="5") == short
    assert [row["local_date"][-2:] for row in short] == ["09", "11", "13", "16", "18"]


@pytest.mark.parametrize(
    ("start", "first"),
    [
        ("2026-03-07T09:00", "2026-03-07"),
        ("2026-03-07T09:00:01", "2026-03-08"),
        ("2026-03-07T14:00:00Z", "2026-03-07"),
        ("2026-03-07T14:00:00.000001+00:00", "2026-03-08"),
        ("2026-03-07T23:00+09:00", "2026-03-07"),
    ],
)
def test_from_is_local_unless_it_has_an_offset_and_counts_itself(
    capsys: pytest.CaptureFixture[str], start: str, first: str
) -> None:
    assert listed(capsys, **{"from": start, "count": "1"})[0]["local_date"] == first


def test_quiet_hours_leave_dues_out(capsys: pytest.CaptureFixture[str]) -> None:
    assert listed(capsys, hour="21:00", quiet="21:00-08:00") == []
    assert len(listed(capsys, hour="20:59", quiet="21:00-08:00", count="3")) == 3


def test_a_person_sees_one_line_a_due(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words(count="2")) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "2026-03-07  2026-03-07T09:00:00-05:00  2026-03-07T14:00:00Z"
    assert len(lines) == 2


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"tz": "Mars/Base"}, "time zone is 'Mars/Base'"),
        ({"hour": "25:00"}, "--hour is '25:00'"),
        ({"hour": "09:00Z"}, "--hour is '09:00Z'"),
        ({"days": "mon,noday"}, "--days is 'mon,noday'"),
        ({"days": ""}, "--days is ''"),
        ({"from": "tomorrow"}, "--from is 'tomorrow'"),
        ({"from": "9999-12-31"}, "--from is '9999-12-31'"),
        ({"from": "0001-01-01"}, "--from is '0001-01-01'"),
        ({"count": "0"}, "--count is 0"),
        ({"quiet": "21:00"}, "--quiet is '21:00'"),
    ],
)
def test_an_impossible_value_is_named(
    capsys: pytest.CaptureFixture[str], changed: dict[str, str], said: str
) -> None:
    assert main(words(**changed)) == 2
    assert said in capsys.readouterr().err
