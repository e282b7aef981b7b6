"""`rungwise schedule`: the next due instants of a local hour, in UTC."""

import argparse
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice

from rungwise.errors import ImpossibleValue
from rungwise.ticks.due import Due, Quiet, next_dues
from rungwise.time_zone import local_to_utc, zone_named

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_MOST = 100_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tz", required=True, metavar="ZONE", help="IANA zone: Europe/London")
    parser.add_argument("--hour", required=True, metavar="HH:MM", help="local time of day")
    parser.add_argument(
        "--days", required=True, metavar="DAYS", help="weekdays, such as mon,wed,fri; or daily"
    )
    parser.add_argument(
        "--from",
        required=True,
        dest="start",
        metavar="ISO",
        help="first moment that counts: a date, or a date and time; local unless it has an offset",
    )
    parser.add_argument("--count", type=int, default=10, metavar="N", help="how many (10)")
    parser.add_argument(
        "--quiet", metavar="FROM-TO", help="leave out local hours, such as 21:00-08:00"
    )
    parser.add_argument("--json", action="store_true", help="print a JSON list")


def run(args: argparse.Namespace) -> int:
    """Print N due moments from a moment on, that moment included."""
    if not 1 <= args.count <= _MOST:
        raise ImpossibleValue("--count", args.count, f"1 to {_MOST}")
    dues = next_dues(
        _start(args.start, args.tz) - timedelta(microseconds=1),
        args.tz,
        _time_of_day("--hour", args.hour),
        _weekdays(args.days),
        quiet=_quiet(args.quiet),
    )
    rows = list(_rows(islice(dues, args.count), args.tz))
    if args.json:
        print(json.dumps(rows))
    else:
        for row in rows:
            print(f"{row['local_date']}  {row['local']}  {row['utc']}")
    return 0


def _rows(dues: Iterator[Due], zone: str) -> Iterator[dict[str, str]]:
    here = zone_named(zone)
    for due in dues:
        yield {
            "local_date": due.local_date.isoformat(),
            "local": due.at_utc.astimezone(here).isoformat(),
            "utc": due.at_utc.isoformat().replace("+00:00", "Z"),
        }


def _start(told: str, zone: str) -> datetime:
    allowed = "a date such as 2026-03-08, or a date and time such as 2026-03-08T09:00"
    try:
        start = datetime.fromisoformat(told)
        start = local_to_utc(start, zone) if start.tzinfo is None else start.astimezone(UTC)
    except (ValueError, OverflowError):
        raise ImpossibleValue("--from", told, allowed) from None
    if not date(1900, 1, 1) <= start.date() <= date(2200, 1, 1):
        raise ImpossibleValue("--from", told, "between the years 1900 and 2200")
    return start


def _time_of_day(option: str, told: str) -> time:
    try:
        at = time.fromisoformat(told)
    except ValueError:
        raise ImpossibleValue(option, told, "a time of day such as 09:00") from None
    if at.tzinfo is not None:
        raise ImpossibleValue(option, told, "a local time without an offset")
    return at


def _weekdays(told: str) -> frozenset[int]:
    words = [word.strip().lower() for word in told.split(",")]
    if words in (["daily"], ["all"]):
        return frozenset(range(7))
    known = {word: next((n for n, d in enumerate(_DAYS) if word[:3] == d), None) for word in words}
    wrong = [word for word, number in known.items() if number is None]
    if wrong:
        raise ImpossibleValue("--days", told, "days such as mon,wed,fri, or daily")
    return frozenset(number for number in known.values() if number is not None)


def _quiet(told: str | None) -> Quiet | None:
    if told is None:
        return None
    begins, dash, ends = told.partition("-")
    if not dash:
        raise ImpossibleValue("--quiet", told, "two times of day such as 21:00-08:00")
    return Quiet(_time_of_day("--quiet", begins), _time_of_day("--quiet", ends))
