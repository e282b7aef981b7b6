"""A month of visits on one page, to look at and to print."""

from calendar import MONDAY, Calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Response

from rungwise.coach.reviews.calendar import ReviewDay, review_days
from rungwise.coach.reviews.home_visits import visits_between
from rungwise.errors import ImpossibleValue
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, HomeVisit
from rungwise.web.http.auth import Signed
from rungwise.web.ui import labels
from rungwise.web.ui.layout import framed

router = APIRouter()

# Of those due for a retest or a call on a day; the week has all.
DUE_SHOWN = 3
FIRST_YEAR, LAST_YEAR = 2000, 2100


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """A day of the calendar; `within` the month that is shown, or only of one of its weeks."""

    day: date
    within: bool
    visits: Sequence[tuple[HomeVisit, Client]]
    due: Sequence[ReviewDay]

    @property
    def more_due(self) -> int:
        return max(0, len(self.due) - DUE_SHOWN)

    @property
    def nothing(self) -> bool:
        return not self.visits and not self.due


@router.get("/month")
def month(visit: Signed, month: Annotated[str, Query(max_length=10)] = "") -> Response:
    """The visits of a month, planned and done, with who is due for a retest or a call."""
    today = visit.now.astimezone(ZoneInfo(visit.practice.time_zone)).date()
    first = _first(month) if month else today.replace(day=1)
    weeks = Calendar(MONDAY).monthdatescalendar(first.year, first.month)
    shown = [day for week in weeks for day in week]
    with visit.parts.store.read() as session:
        scope = Scope.of(visit.trainer)
        planned = visits_between(session, scope, shown[0], shown[-1])
        due = [one for one in review_days(session, scope, visit.now) if not one.overdue]
        return framed(
            visit,
            session,
            "visits_month.html",
            first=first,
            days=_days(shown, first, planned, due),
            count=sum(one.day.month == first.month for one, _ in planned),
            today=today,
            weekdays=labels.WEEKDAYS,
            due_shown=DUE_SHOWN,
            before=(first - timedelta(days=1)).replace(day=1),
            after=(first + timedelta(days=31)).replace(day=1),
        )


def _first(given: str) -> date:
    """The first day of the month that is asked for."""
    try:
        first = date.fromisoformat(f"{given[:7]}-01")
    except ValueError:
        raise ImpossibleValue("month", given, "a month such as 2026-05") from None
    if not FIRST_YEAR <= first.year <= LAST_YEAR:
        raise ImpossibleValue("month", given, f"a month from {FIRST_YEAR} to {LAST_YEAR}")
    return first


def _days(
    shown: Sequence[date],
    first: date,
    planned: Sequence[tuple[HomeVisit, Client]],
    due: Sequence[ReviewDay],
) -> list[CalendarDay]:
    return [
        CalendarDay(
            day,
            day.month == first.month,
            [(one, client) for one, client in planned if one.day == day],
            [one for one in due if one.day == day],
        )
        for day in shown
    ]
