"""Which date is due next: weekdays, dates away, quiet hours, clock steps, late rules."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import islice, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.ticks.due import (
    DEFAULT_QUIET,
    Due,
    Quiet,
    is_quiet,
    next_due,
    next_dues,
    still_worth_sending,
)
from rungwise.time_zone import local_to_utc

EVERY_DAY = frozenset(range(7))
MON_WED_FRI = frozenset({0, 2, 4})
NEW_YORK = "America/New_York"
NOON = time(12)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def local(text: str) -> datetime:
    return datetime.fromisoformat(text)


def dates(*dues: Due | None) -> list[str]:
    return [str(due.local_date) for due in dues if due]


def test_the_next_weekday_is_chosen() -> None:
    # 2026-11-25 is a Wednesday.
    found = islice(next_dues(utc("2026-11-25 18:00"), NEW_YORK, NOON, MON_WED_FRI), 4)
    assert dates(*found) == ["2026-11-27", "2026-11-30", "2026-12-02", "2026-12-04"]


def test_a_due_is_strictly_later_than_the_moment_asked() -> None:
    due = next_due(utc("2026-11-25 16:59:59"), NEW_YORK, NOON, EVERY_DAY)
    assert due == Due(date(2026, 11, 25), utc("2026-11-25 17:00"))
    assert dates(next_due(due.at_utc, NEW_YORK, NOON, EVERY_DAY)) == ["2026-11-26"]


def test_the_date_is_the_clients_own() -> None:
    due = next_due(utc("2026-11-25 00:00"), "Pacific/Auckland", time(9), EVERY_DAY)
    assert due == Due(date(2026, 11, 26), utc("2026-11-25 20:00"))


def test_both_ends_of_dates_away_are_away() -> None:
    away = [(date(2026, 11, 26), date(2026, 11, 28)), (date(2026, 11, 28), date(2026, 12, 1))]
    due = next_due(utc("2026-11-25 18:00"), NEW_YORK, NOON, EVERY_DAY, away=away)
    assert dates(due) == ["2026-12-02"]


def test_a_year_away_is_jumped_over() -> None:
    away = [(date(2026, 11, 1), date(2031, 10, 31))]
    due = next_due(utc("2026-11-25 18:00"), NEW_YORK, NOON, frozenset({0}), away=away)
    assert dates(due) == ["2031-11-03"]


@pytest.mark.parametrize(
    "away", [[(date(2026, 1, 1), date.max)], [(date(2026, 1, 1), date.max - timedelta(1))]]
)
def test_away_without_an_end_has_no_due(away: list[tuple[date, date]]) -> None:
    assert next_due(utc("2026-11-25 18:00"), NEW_YORK, NOON, EVERY_DAY, away=away) is None


def test_no_weekdays_have_no_due() -> None:
    assert next_due(utc("2026-11-25 18:00"), NEW_YORK, NOON, frozenset()) is None


def test_the_end_of_the_calendar_has_no_due() -> None:
    assert next_due(utc("9999-12-31 00:00"), NEW_YORK, NOON, EVERY_DAY) is None


@pytest.mark.parametrize("hour", [time(7, 59, 59), time(21), time(23), time(0)])
def test_an_hour_in_quiet_hours_has_no_due(hour: time) -> None:
    assert next_due(utc("2026-11-25 18:00"), NEW_YORK, hour, EVERY_DAY) is None


@pytest.mark.parametrize("hour", [time(8), time(20, 59, 59)])
def test_an_hour_at_the_edge_is_due(hour: time) -> None:
    due = next_due(utc("2026-11-26 12:00"), NEW_YORK, hour, EVERY_DAY)
    assert due is not None
    assert due.at_utc.astimezone(ZoneInfo(NEW_YORK)).time() == hour


def test_a_time_moved_into_quiet_hours_by_a_gap_leaves_that_date_out() -> None:
    # 00:30 does not exist in Havana on 2026-03-08 and becomes 01:30.
    quiet = Quiet(time(1), time(8))
    found = islice(
        next_dues(utc("2026-03-07 12:00"), "America/Havana", time(0, 30), EVERY_DAY, quiet=quiet), 2
    )
    assert dates(*found) == ["2026-03-09", "2026-03-10"]


@pytest.mark.parametrize(
    ("clock", "quiet"),
    [("07:59:59", True), ("08:00", False), ("20:59:59", False), ("21:00", True), ("21:01", True)],
)
def test_quiet_hours_are_local_and_21_itself_is_quiet(clock: str, quiet: bool) -> None:
    naive = datetime.combine(date(2026, 6, 1), time.fromisoformat(clock))
    assert is_quiet(local_to_utc(naive, "America/Phoenix"), "America/Phoenix") is quiet


def test_half_past_eight_in_new_york_is_night_in_phoenix() -> None:
    at = local_to_utc(local("2026-06-01 08:30"), NEW_YORK)
    assert not is_quiet(at, NEW_YORK)
    assert is_quiet(at, "America/Phoenix")


def test_quiet_hours_may_lie_within_a_day_or_not_be_at_all() -> None:
    siesta = Quiet(time(13), time(15))
    assert [siesta.covers(time(h)) for h in (12, 13, 14, 15)] == [False, True, True, False]
    nothing = Quiet(time(8), time(8))
    assert not any(nothing.covers(time(h)) for h in range(24))


def test_a_handled_date_never_comes_again_after_the_clock_is_set_back() -> None:
    due = next_due(
        utc("2026-11-24 10:00"), NEW_YORK, NOON, EVERY_DAY, after_date=date(2026, 11, 25)
    )
    assert dates(due) == ["2026-11-26"]


def test_downtime_gives_every_date_passed_over_its_own_due() -> None:
    last = Due(date(2026, 11, 20), utc("2026-11-20 17:00"))
    passed = next_dues(last.at_utc, NEW_YORK, NOON, EVERY_DAY, after_date=last.local_date)
    assert dates(*islice(passed, 3)) == ["2026-11-21", "2026-11-22", "2026-11-23"]


def test_a_later_hour_set_after_todays_text_means_tomorrow() -> None:
    today = date(2026, 11, 25)
    due = next_due(utc("2026-11-25 14:10"), NEW_YORK, time(15), EVERY_DAY, after_date=today)
    assert dates(due) == ["2026-11-26"]


def test_a_later_hour_set_before_todays_text_takes_effect_today() -> None:
    handled = date(2026, 11, 24)
    due = next_due(utc("2026-11-25 13:50"), NEW_YORK, time(15), EVERY_DAY, after_date=handled)
    assert due == Due(date(2026, 11, 25), utc("2026-11-25 20:00"))


def test_a_move_westward_over_the_date_line_does_not_repeat_a_date() -> None:
    handled = date(2026, 11, 26)  # in Auckland, where it is already the 26th
    due = next_due(utc("2026-11-25 21:00"), "Pacific/Honolulu", NOON, EVERY_DAY, after_date=handled)
    assert dates(due) == ["2026-11-27"]


def test_a_date_that_a_zone_skipped_has_no_due() -> None:
    # Samoa went from 2011-12-29 to 2011-12-31.
    found = list(islice(next_dues(utc("2011-12-28 12:00"), "Pacific/Apia", time(9), EVERY_DAY), 3))
    assert dates(*found) == ["2011-12-28", "2011-12-29", "2011-12-31"]
    assert found[2].at_utc - found[1].at_utc == timedelta(hours=24)


def test_a_time_that_a_gap_moves_past_midnight_keeps_its_date() -> None:
    # Nuuk's clocks go from 23:00 on 2026-03-28 to midnight: 23:30 is shown as 00:30 on the 29th.
    zone = "America/Nuuk"
    found = list(
        islice(next_dues(utc("2026-03-25 12:00"), zone, time(23, 30), EVERY_DAY, quiet=None), 6)
    )
    assert dates(*found) == [f"2026-03-{day}" for day in range(25, 31)]
    assert found[3].at_utc == utc("2026-03-29 01:30")
    assert all(later.at_utc > earlier.at_utc for earlier, later in pairwise(found))


@pytest.mark.parametrize(
    ("late", "worth"),
    [
        (timedelta(0), True),
        (timedelta(hours=2) - timedelta(seconds=1), True),
        (timedelta(hours=2), False),
        (timedelta(days=1), False),
        (-timedelta(minutes=5), True),
    ],
)
def test_a_prompt_still_goes_when_under_two_hours_late(late: timedelta, worth: bool) -> None:
    due_at = utc("2026-11-25 17:00")
    assert still_worth_sending(due_at, due_at + late, NEW_YORK) is worth


def test_a_late_prompt_does_not_go_in_quiet_hours() -> None:
    due_at = local_to_utc(local("2026-11-25 20:30"), NEW_YORK)
    assert still_worth_sending(due_at, due_at + timedelta(minutes=29, seconds=59), NEW_YORK)
    assert not still_worth_sending(due_at, due_at + timedelta(minutes=30), NEW_YORK)
    assert still_worth_sending(due_at, due_at + timedelta(minutes=30), NEW_YORK, None)


ZONES = st.sampled_from(
    [NEW_YORK, "Australia/Lord_Howe", "Africa/Cairo", "Asia/Kathmandu", "Pacific/Chatham", "UTC"]
)


@given(
    ZONES,
    st.times(),
    st.frozensets(st.integers(0, 6), min_size=1),
    st.datetimes(local("2020-01-01"), local("2030-01-01"), timezones=st.just(UTC)),
    st.lists(st.tuples(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(0, 40))),
    st.sampled_from([None, DEFAULT_QUIET, Quiet(time(13), time(15))]),
)
def test_every_due_keeps_all_its_conditions(
    zone: str,
    hour: time,
    weekdays: frozenset[int],
    start: datetime,
    trips: list[tuple[date, int]],
    quiet: Quiet | None,
) -> None:
    away = [(since, since + timedelta(days=length)) for since, length in trips]
    found = list(islice(next_dues(start, zone, hour, weekdays, away=away, quiet=quiet), 8))
    assert all(due.at_utc > start for due in found[:1])
    for due in found:
        assert due.local_date.weekday() in weekdays
        assert not any(since <= due.local_date <= until for since, until in away)
        assert not (quiet and is_quiet(due.at_utc, zone, quiet))
        assert due.at_utc == local_to_utc(datetime.combine(due.local_date, hour), zone)
    for earlier, later in pairwise(found):
        assert later.local_date > earlier.local_date
        assert later.at_utc > earlier.at_utc
