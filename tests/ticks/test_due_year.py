"""A year of due moments in many zones, equal to a general recurrence library's; none at night."""

from datetime import UTC, date, datetime, time
from itertools import pairwise, takewhile

import pytest
from dateutil import tz
from dateutil.rrule import DAILY, rrule

from rungwise.ticks.due import DEFAULT_QUIET, is_quiet, next_dues

ZONES = [
    "Africa/Cairo",
    "Africa/Casablanca",
    "America/Anchorage",
    "America/Asuncion",
    "America/Chicago",
    "America/Havana",
    "America/Mexico_City",
    "America/New_York",
    "America/Nuuk",
    "America/Phoenix",
    "America/Santiago",
    "America/Sao_Paulo",
    "America/St_Johns",
    "Antarctica/Troll",
    "Asia/Beirut",
    "Asia/Gaza",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Asia/Tehran",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Europe/Berlin",
    "Europe/Chisinau",
    "Europe/Dublin",
    "Europe/London",
    "Pacific/Apia",
    "Pacific/Auckland",
    "Pacific/Chatham",
    "Pacific/Honolulu",
    "Pacific/Kiritimati",
]
# 2026, and years in which zones changed their rules: Samoa went without a date (2011), Turkey
# stayed on summer time (2016), Mexico, Jordan and Iran gave the changes up (2022), Egypt took them
# up again (2023).
YEARS = [(zone, 2026) for zone in ZONES] + [
    ("Europe/Istanbul", 2016),
    ("America/Mexico_City", 2022),
    ("Asia/Amman", 2022),
    ("Asia/Tehran", 2022),
    ("Africa/Cairo", 2023),
    ("Africa/Casablanca", 2018),
    ("Asia/Pyongyang", 2018),
    ("America/Caracas", 2016),
    ("Pacific/Norfolk", 2015),
    ("America/Sao_Paulo", 2019),
]
HOURS = [time(0, 30), time(1, 45), time(2, 30), time(9), time(20, 59), time(23, 30)]
MON_TO_SUN = frozenset(range(7))


def by_dateutil(zone: str, year: int, hour: time, weekdays: frozenset[int]) -> list[datetime]:
    """The same dues from dateutil: a rule over naive local times, each resolved by its own tz."""
    rule = rrule(
        DAILY,
        dtstart=datetime.combine(date(year, 1, 1), hour),
        until=datetime.combine(date(year, 12, 31), time.max),
        byweekday=sorted(weekdays),
    )
    here = tz.gettz(zone)
    assert here is not None
    # resolve_imaginary moves a time out of a gap by the gap's length: RFC 5545's reading.
    return [tz.resolve_imaginary(local.replace(tzinfo=here)).astimezone(tz.UTC) for local in rule]


def ours(zone: str, year: int, hour: time, weekdays: frozenset[int]) -> list[datetime]:
    dues = next_dues(datetime(year - 1, 12, 28, tzinfo=UTC), zone, hour, weekdays, quiet=None)
    within = takewhile(lambda due: due.local_date.year <= year, dues)
    return [due.at_utc for due in within if due.local_date.year == year]


@pytest.mark.parametrize(("zone", "year"), YEARS)
def test_a_year_equals_a_recurrence_librarys(zone: str, year: int) -> None:
    for hour in HOURS:
        assert ours(zone, year, hour, MON_TO_SUN) == by_dateutil(zone, year, hour, MON_TO_SUN)
    some = frozenset({0, 2, 4})
    assert ours(zone, year, time(9), some) == by_dateutil(zone, year, time(9), some)


@pytest.mark.parametrize("zone", ZONES)
def test_a_year_has_one_due_a_date_and_none_in_quiet_hours(zone: str) -> None:
    start = datetime(2025, 12, 31, tzinfo=UTC)
    count = 0
    for hour in (time(8), time(9), time(20, 59, 59)):
        dues = next_dues(start, zone, hour, MON_TO_SUN, quiet=DEFAULT_QUIET)
        year = [
            due
            for due in takewhile(lambda due: due.local_date.year <= 2026, dues)
            if due.local_date.year == 2026
        ]
        assert [due.local_date.timetuple().tm_yday for due in year] == list(range(1, 366))
        assert not any(is_quiet(due.at_utc, zone) for due in year)
        assert all(later.at_utc > earlier.at_utc for earlier, later in pairwise(year))
        count += len(year)
    assert count == 3 * 365


def test_the_date_samoa_skipped_is_the_only_difference() -> None:
    # The library puts the missing date's text on the next date, which then has two.
    theirs = by_dateutil("Pacific/Apia", 2011, time(9), MON_TO_SUN)
    assert len(theirs) == 365
    assert sorted(set(theirs)) == ours("Pacific/Apia", 2011, time(9), MON_TO_SUN)
    assert len(set(theirs)) == 364
