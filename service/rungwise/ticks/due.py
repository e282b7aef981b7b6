"""When things are due: local hours turned into instants. Pure: no clock is read here.

Local times that a zone's change skips or repeats follow RFC 5545 section 3.3.5: a time in a gap
is read with the offset before the gap, one that occurs twice means the first. Dates are counted
on the client's own calendar, so a client has at most one due instant a local date.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache, partial
from zoneinfo import ZoneInfo

from rungwise.errors import ImpossibleValue
from rungwise.time_zone import local_to_utc, zone_named

LATEST = timedelta(hours=2)
# A due date is at most a week off once dates away are jumped over; more only where quiet hours
# or a date that a zone skipped leave some out.
_MOST_TRIES = 400
_ONE_DAY = timedelta(days=1)
_LAST_DAY = date.max - 2 * _ONE_DAY


@dataclass(frozen=True, slots=True)
class Quiet:
    """Local hours in which no prompt or reminder goes: from `begins` up to, not with, `ends`.

    21:00:00 itself is quiet and 08:00:00 is not. Equal times mean no quiet hours.
    """

    begins: time = time(21)
    ends: time = time(8)

    def covers(self, local: time) -> bool:
        """Whether this local time of day is quiet."""
        if self.begins <= self.ends:
            return self.begins <= local < self.ends
        return local >= self.begins or local < self.ends


DEFAULT_QUIET = Quiet()


@lru_cache(maxsize=1024)
def quiet_between(begins: str, ends: str) -> Quiet:
    """The quiet hours of two times as they are stored, "21:00" and "08:00"; ImpossibleValue when
    one is no time of day.
    """
    try:
        return Quiet(time.fromisoformat(begins), time.fromisoformat(ends))
    except ValueError:
        allowed = "two times of day such as 21:00 and 08:00"
        raise ImpossibleValue("quiet hours", f"{begins} to {ends}", allowed) from None


@dataclass(frozen=True, slots=True)
class Due:
    """One due moment: the client's local date it belongs to, and the instant in UTC."""

    local_date: date
    at_utc: datetime


def is_quiet(at_utc: datetime, zone: str, quiet: Quiet = DEFAULT_QUIET) -> bool:
    """Whether the clock in the zone shows a quiet hour at that instant."""
    return quiet.covers(_local(at_utc, zone_named(zone)).time())


def next_due(
    after_utc: datetime,
    zone: str,
    hour: time,
    weekdays: frozenset[int],
    *,
    away: Sequence[tuple[date, date]] = (),
    quiet: Quiet | None = DEFAULT_QUIET,
    after_date: date | None = None,
) -> Due | None:
    """The first due moment later than `after_utc`, or None if there is none.

    `weekdays` counts Monday as 0; `away` are first and last dates away, both included.
    `after_date` is the last local date already handled: no due on it or before it is given, so
    that a stepped clock, a new hour or a new zone never doubles a date. To give every date that
    downtime passed over its own due, pass the instant of the last due, not the present one.

    A due that falls in quiet hours is left out, so an hour that is always quiet gives None; None
    for `quiet` leaves nothing out.
    """
    here = zone_named(zone)
    if not weekdays:
        return None
    day = _local(after_utc, here).date() - _ONE_DAY
    if after_date is not None:
        day = max(day, after_date + _ONE_DAY)
    for _ in range(_MOST_TRIES):
        if day > _LAST_DAY:
            return None
        back_on = _back_on(day, away)
        if back_on != day:
            day = back_on
            continue
        if day.weekday() in weekdays:
            at_utc = local_to_utc(datetime.combine(day, hour), zone)
            local = at_utc.astimezone(here)
            skipped = local.date() != day and not _date_exists(day, here)
            if at_utc > after_utc and not skipped and not (quiet and quiet.covers(local.time())):
                return Due(day, at_utc)
        day += _ONE_DAY
    return None


def next_dues(
    after_utc: datetime,
    zone: str,
    hour: time,
    weekdays: frozenset[int],
    *,
    away: Sequence[tuple[date, date]] = (),
    quiet: Quiet | None = DEFAULT_QUIET,
    after_date: date | None = None,
) -> Iterator[Due]:
    """The due moments after `after_utc`, one after the other, as `next_due` gives them."""
    ask = partial(next_due, zone=zone, hour=hour, weekdays=weekdays, away=away, quiet=quiet)
    due = ask(after_utc, after_date=after_date)
    while due is not None:
        yield due
        due = ask(due.at_utc, after_date=due.local_date)


def still_worth_sending(
    due_at: datetime, now: datetime, zone: str, quiet: Quiet | None = DEFAULT_QUIET
) -> bool:
    """Whether a prompt due at `due_at` may still go at `now`; otherwise it counts as missed.

    It may when it is under two hours late and the client's clock is outside quiet hours.
    """
    return now - due_at < LATEST and not (quiet and is_quiet(now, zone, quiet))


def _local(at_utc: datetime, here: ZoneInfo) -> datetime:
    if at_utc.tzinfo is None:
        raise ImpossibleValue("instant", at_utc.isoformat(), "given with its offset, as UTC is")
    return at_utc.astimezone(here)


def _back_on(day: date, away: Sequence[tuple[date, date]]) -> date:
    """`day` itself, or the day after the dates away that hold it."""
    last = max((until for since, until in away if since <= day <= until), default=None)
    return day if last is None else min(last, _LAST_DAY) + _ONE_DAY


def _date_exists(day: date, here: ZoneInfo) -> bool:
    """Whether the zone's calendar has this date; Samoa, for one, went without 2011-12-30."""
    noon = datetime.combine(day, time(12), here)
    return noon.astimezone(UTC).astimezone(here).date() == day
