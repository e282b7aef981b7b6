"""Local times as instants: RFC 5545 section 3.3.5, over the tz database."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungwise.errors import ImpossibleValue
from rungwise.ticks.due import next_due
from rungwise.time_zone import local_to_utc, zone_named

# Zone, local time, kind, instant by RFC 5545, what the clock then shows, instant of a second
# occurrence. Computed from the tz database 2025b.
BY_THE_RFC = [
    ("America/New_York", "2026-03-08 01:59", "normal", "2026-03-08 06:59", "01:59", ""),
    ("America/New_York", "2026-03-08 02:30", "gap", "2026-03-08 07:30", "03:30", ""),
    ("America/New_York", "2026-03-08 03:00", "normal", "2026-03-08 07:00", "03:00", ""),
    ("America/New_York", "2026-11-01 01:30", "twice", "2026-11-01 05:30", "01:30", "06:30"),
    ("America/New_York", "2026-11-01 02:00", "normal", "2026-11-01 07:00", "02:00", ""),
    ("America/New_York", "2007-03-11 02:30", "gap", "2007-03-11 07:30", "03:30", ""),
    ("America/New_York", "2007-11-04 01:30", "twice", "2007-11-04 05:30", "01:30", "06:30"),
    ("America/New_York", "2026-03-07 09:00", "normal", "2026-03-07 14:00", "09:00", ""),
    ("America/New_York", "2026-03-08 09:00", "normal", "2026-03-08 13:00", "09:00", ""),
    ("America/New_York", "2026-10-31 09:00", "normal", "2026-10-31 13:00", "09:00", ""),
    ("America/New_York", "2026-11-01 09:00", "normal", "2026-11-01 14:00", "09:00", ""),
    ("Europe/London", "2026-03-29 01:30", "gap", "2026-03-29 01:30", "02:30", ""),
    ("Europe/London", "2026-10-25 01:30", "twice", "2026-10-25 00:30", "01:30", "01:30"),
    ("Europe/Berlin", "2026-03-29 02:30", "gap", "2026-03-29 01:30", "03:30", ""),
    ("Europe/Berlin", "2026-10-25 02:30", "twice", "2026-10-25 00:30", "02:30", "01:30"),
    ("Australia/Lord_Howe", "2026-04-05 01:45", "twice", "2026-04-04 14:45", "01:45", "15:15"),
    ("Australia/Lord_Howe", "2026-10-04 02:15", "gap", "2026-10-03 15:45", "02:45", ""),
    ("Australia/Sydney", "2026-04-05 02:30", "twice", "2026-04-04 15:30", "02:30", "16:30"),
    ("Australia/Sydney", "2026-10-04 02:30", "gap", "2026-10-03 16:30", "03:30", ""),
    ("America/Phoenix", "2026-03-08 02:30", "normal", "2026-03-08 09:30", "02:30", ""),
    ("Pacific/Honolulu", "2026-03-08 02:30", "normal", "2026-03-08 12:30", "02:30", ""),
    ("America/St_Johns", "2026-03-08 02:30", "gap", "2026-03-08 06:00", "03:30", ""),
    ("Asia/Kathmandu", "2026-06-01 09:00", "normal", "2026-06-01 03:15", "09:00", ""),
    ("America/Havana", "2026-03-08 00:30", "gap", "2026-03-08 05:30", "01:30", ""),
    ("Africa/Cairo", "2026-04-24 00:30", "gap", "2026-04-23 22:30", "01:30", ""),
    ("Pacific/Chatham", "2026-04-05 03:00", "twice", "2026-04-04 13:15", "03:00", "14:15"),
]
EVERY_DAY = frozenset(range(7))


@pytest.mark.parametrize(("zone", "local", "kind", "utc", "shows", "second"), BY_THE_RFC)
def test_a_local_time_is_read_as_the_rfc_says(
    zone: str, local: str, kind: str, utc: str, shows: str, second: str
) -> None:
    naive = datetime.fromisoformat(local)
    at = local_to_utc(naive, zone)
    assert at == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    here = ZoneInfo(zone)
    assert f"{at.astimezone(here):%H:%M}" == shows
    assert (shows != local[11:]) is (kind == "gap")
    if kind == "twice":
        again = naive.replace(tzinfo=here, fold=1).astimezone(UTC)
        assert f"{again:%H:%M}" == second
        assert again > at


@pytest.mark.parametrize(("zone", "local", "kind", "utc", "shows", "second"), BY_THE_RFC)
def test_the_due_of_that_date_is_that_instant(
    zone: str, local: str, kind: str, utc: str, shows: str, second: str
) -> None:
    naive = datetime.fromisoformat(local)
    eve = local_to_utc(naive, zone) - timedelta(hours=2)
    due = next_due(eve, zone, naive.time(), EVERY_DAY, quiet=None)
    assert due is not None
    assert due.local_date == naive.date()
    assert due.at_utc == datetime.fromisoformat(utc).replace(tzinfo=UTC)


def test_nine_in_the_morning_stays_nine_over_a_change() -> None:
    saturday = next_due(
        datetime(2026, 3, 7, tzinfo=UTC), "America/New_York", time(9), EVERY_DAY, quiet=None
    )
    assert saturday is not None
    sunday = next_due(saturday.at_utc, "America/New_York", time(9), EVERY_DAY)
    assert sunday is not None
    assert saturday.at_utc == datetime(2026, 3, 7, 14, tzinfo=UTC)
    assert sunday.at_utc == datetime(2026, 3, 8, 13, tzinfo=UTC)
    assert sunday.at_utc - saturday.at_utc == timedelta(hours=23)


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("America/New_York", date(2026, 3, 8), 23.0),
        ("America/New_York", date(2026, 11, 1), 25.0),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),
        ("Australia/Lord_Howe", date(2026, 10, 4), 23.5),
    ],
)
def test_a_day_with_a_change_has_its_own_length(zone: str, day: date, hours: float) -> None:
    start = local_to_utc(datetime.combine(day, time()), zone)
    end = local_to_utc(datetime.combine(day + timedelta(days=1), time()), zone)
    assert end - start == timedelta(hours=hours)


@given(
    st.sampled_from(sorted({row[0] for row in BY_THE_RFC})),
    st.datetimes(datetime.fromisoformat("1990-01-01"), datetime.fromisoformat("2037-01-01")),
)
def test_an_instant_and_back_is_the_first_of_two_or_past_the_gap(
    zone: str, local: datetime
) -> None:
    at = local_to_utc(local, zone)
    shown = at.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    assert shown >= local
    if shown == local:
        earlier = [at - timedelta(minutes=m) for m in (30, 60, 120)]
        assert all(t.astimezone(ZoneInfo(zone)).replace(tzinfo=None) != local for t in earlier)


def test_a_time_with_an_offset_is_refused() -> None:
    with pytest.raises(ImpossibleValue, match="without an offset"):
        local_to_utc(datetime(2026, 3, 8, tzinfo=UTC), "Europe/London")


@pytest.mark.parametrize("zone", ["Nowhere/Land", "../etc/passwd", "", "/etc/passwd", "a\0b", "EU"])
def test_an_unknown_zone_is_named_in_the_error(zone: str) -> None:
    with pytest.raises(ImpossibleValue, match="time zone is"):
        zone_named(zone)


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ImpossibleValue, match="instant is"):
        next_due(datetime(2026, 3, 8), "Europe/London", time(9), EVERY_DAY)  # noqa: DTZ001
