"""The dose: sessions planned and done, minutes stood, why some were missed, who stays. Pure."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

MONTH_DAYS = 30
MOST_MONTHS = 12
# Why a planned session was not done, and how it is said.
REASONS: Mapping[str, str] = {
    "no_reply": "no reply",
    "skipped": "told as not done",
    "skipped_health": "told as not done, with news of health",
    "skipped_life": "told as not done, with other news",
    "unwell": "a fall, pain or dizziness told instead",
    "resting": "no text: resting or paused",
    "away": "away by the plan",
    "held": "no text: an answer was awaited",
    "not_sent": "the text did not go or not arrive",
}


@dataclass(frozen=True, slots=True)
class Session:
    """One date of one client: planned by the plan of that date, done, or both. `why` not, of
    REASONS. `seconds` are those of the holds told.
    """

    day: date
    planned: bool
    done: bool
    why: str | None = None
    holds: int = 0
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Dose:
    """Sums over sessions. `extra` were done without being planned."""

    planned: int
    done: int
    extra: int
    holds: int
    minutes: float
    missed: Mapping[str, int]


def dose_of(sessions: Iterable[Session]) -> Dose:
    planned = done = extra = holds = 0
    seconds = 0.0
    missed: Counter[str] = Counter()
    for one in sessions:
        planned += one.planned
        done += one.planned and one.done
        extra += one.done and not one.planned
        holds += one.holds
        seconds += one.seconds
        if one.planned and not one.done:
            missed[one.why or "no_reply"] += 1
    return Dose(planned, done, extra, holds, seconds / 60, {k: missed[k] for k in REASONS})


@dataclass(frozen=True, slots=True)
class Stay:
    """How long one client could be seen, in days from agreeing; the days on which they told
    something, counted so too; and whether they ended the texts at the end of it.
    """

    days: int
    told_on: Sequence[int]
    ended: bool


@dataclass(frozen=True, slots=True)
class MonthOfStay:
    """The month'th 30 days after agreeing: of `began` who came into it, how many told of a day in
    it, ended the texts in it, and could not be seen to its end.
    """

    month: int
    began: int
    told: int
    ended: int
    unfinished: int


def by_month(stays: Sequence[Stay], most: int = MOST_MONTHS) -> tuple[MonthOfStay, ...]:
    """Month after month, as long as anybody came into it."""
    found = []
    for month in range(most):
        first, end = month * MONTH_DAYS, (month + 1) * MONTH_DAYS
        here = [one for one in stays if one.days > first]
        if not here:
            break
        left = [one for one in here if one.days <= end]
        found.append(
            MonthOfStay(
                month=month + 1,
                began=len(here),
                told=sum(any(first <= day < end for day in one.told_on) for one in here),
                ended=sum(one.ended for one in left),
                unfinished=sum(not one.ended and one.days < end for one in left),
            )
        )
    return tuple(found)
