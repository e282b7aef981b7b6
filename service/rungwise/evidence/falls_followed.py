"""For which days a client is followed: those that were answered for, and those that stay missing.

Asked "since the 1st, did you fall?" on the 8th, an answer is of the 2nd to the 8th. Somebody who
tells of a fall rests and is not asked at the end of that week, so without more the weeks with a
fall would be missing more often than the others. Therefore a fall told before it was asked about
stands for an answer up to the next Sunday, where the question before it was answered; where it was
not, the fall is told of a missing time, and is counted apart. Pure.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from rungwise.evidence.falls import FallEvent, Followed

ONE_DAY = timedelta(days=1)
# An answer is at most so old when a fall is told: the longest rhythm of asking.
LONGEST_RHYTHM = timedelta(days=28)
SUNDAY = 6


@dataclass(frozen=True, slots=True)
class Asked:
    """A time asked about: the dates after `since` up to `last`; whether it was answered, and with a
    fall.
    """

    since: date
    last: date
    answered: bool
    fell: bool = False


def follow(falls: Iterable[FallEvent], asked: Sequence[Asked], first: date, end: date) -> Followed:
    """One client followed from `first` up to, not with, `end`."""
    falls = [fall for fall in falls if first <= fall.day < end]
    days = {day for one in asked if one.answered for day in _days(one.since + ONE_DAY, one.last)}
    for fall in falls:
        if fall.day not in days:
            days.update(_stands_for(fall.day, asked))
    answered = {day for day in days if first <= day < end}
    until_first = min((fall.day for fall in falls), default=end)
    return Followed(
        falls=tuple(fall for fall in falls if fall.day in answered),
        days_answered=len(answered),
        days_missing=max((end - first).days - len(answered), 0),
        days_to_first=float((until_first - first).days),
        elsewhere=tuple(fall for fall in falls if fall.day not in answered),
    )


def _stands_for(day: date, asked: Sequence[Asked]) -> Iterator[date]:
    """The days that a fall told by itself answers for; none where the question before has not."""
    before = max((one for one in asked if one.last <= day), key=lambda one: one.last, default=None)
    if before is not None and before.answered and day - before.last <= LONGEST_RHYTHM:
        sunday = day + timedelta(days=(SUNDAY - day.weekday()) % 7)
        yield from _days(before.last + ONE_DAY, sunday)


def _days(first: date, last: date) -> Iterator[date]:
    for number in range((last - first).days + 1):
        yield first + timedelta(days=number)
