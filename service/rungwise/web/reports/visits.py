"""Who needs a visit and why; the week's reviews; and what leaves the service for the trainer."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel

from rungwise.coach.reviews.calendar import (
    ReviewDay,
    calendar_at,
    end_address,
    new_address,
    review_days,
)
from rungwise.coach.reviews.home_visits import visits_between
from rungwise.coach.reviews.visits import who_needs_a_visit
from rungwise.coach.reviews.weekly_email import feed_of, set_digest
from rungwise.errors import ImpossibleValue
from rungwise.evidence import VISIT_RULES
from rungwise.store.queries.banner_counts import Scope
from rungwise.web.http.auth import PartsHere, Signed, Visit
from rungwise.web.ui.layout import framed

router = APIRouter()

DAYS_SHOWN = 7
# Kept for a while by a browser that is shown it; a calendar program decides for itself.
CALENDAR_HEADERS = {"Cache-Control": "private, max-age=300", "Referrer-Policy": "no-referrer"}


class CalendarForm(BaseModel):
    step: Literal["make", "end"] = "make"


class EmailForm(BaseModel):
    wanted: bool = False


@router.get("/visits")
def visits(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return framed(
            visit,
            session,
            "evidence_visits.html",
            needed=who_needs_a_visit(session, Scope.of(visit.trainer), visit.now),
            rules=VISIT_RULES,
        )


@router.get("/week")
def week(visit: Signed, start: Annotated[str, Query(max_length=10)] = "") -> Response:
    return _week_page(visit, _first_day(visit, start))


def _first_day(visit: Visit, start: str) -> date:
    """The Monday of the week asked for, or of this one, on the practice's calendar."""
    if start:
        try:
            day = date.fromisoformat(start)
        except ValueError:
            raise ImpossibleValue("week", start, "a date such as 2026-05-04") from None
        if not 2000 <= day.year <= 2100:
            raise ImpossibleValue("week", start, "a date between 2000 and 2100")
    else:
        day = visit.now.astimezone(ZoneInfo(visit.practice.time_zone)).date()
    return day - timedelta(days=day.weekday())


def _week_page(visit: Visit, monday: date, address: str = "") -> Response:
    with visit.parts.store.read() as session:
        scope = Scope.of(visit.trainer)
        days = review_days(session, scope, visit.now)
        last = monday + timedelta(days=DAYS_SHOWN - 1)
        planned = visits_between(session, scope, monday, last)
        return framed(
            visit,
            session,
            "evidence_week.html",
            monday=monday,
            days=[
                (
                    day,
                    [one for one in days if one.day == day and not one.overdue],
                    [(one, client) for one, client in planned if one.day == day],
                )
                for day in (monday + timedelta(days=number) for number in range(DAYS_SHOWN))
            ],
            today=visit.now.astimezone(ZoneInfo(visit.practice.time_zone)).date(),
            overdue=[one for one in days if one.overdue],
            later=_next_after(days, monday + timedelta(days=DAYS_SHOWN)),
            feed=feed_of(session, visit.trainer.id),
            mail=visit.parts.settings.smtp_host is not None,
            made=address,
            before=monday - timedelta(days=7),
            after=monday + timedelta(days=7),
        )


def _next_after(days: Sequence[ReviewDay], first: date) -> ReviewDay | None:
    return next((one for one in days if one.day >= first), None)


@router.post("/week/calendar")
def calendar_address(visit: Signed, form: Annotated[CalendarForm, Form()]) -> Response:
    if form.step == "end":
        with visit.parts.store.write() as session:
            end_address(session, visit.now, visit.trainer)
        return RedirectResponse("/week#calendar", 303)
    with visit.parts.store.write() as session:
        token = new_address(session, visit.now, visit.trainer)
    # Shown once, in the answer itself: an address to go back to would keep it.
    address = f"{visit.parts.settings.public_url}/calendar/{token}.ics"
    return _week_page(visit, _first_day(visit, ""), address)


@router.post("/week/email")
def weekly_email(visit: Signed, form: Annotated[EmailForm, Form()]) -> Response:
    with visit.parts.store.write() as session:
        set_digest(session, visit.now, visit.practice, visit.trainer, form.wanted)
    return RedirectResponse("/week#email", 303)


@router.get("/calendar/{token}.ics")
def calendar_feed(parts: PartsHere, token: str) -> Response:
    """For calendar programs, which cannot sign in: the address itself is the secret."""
    with parts.store.read() as session:
        body = calendar_at(session, parts.clock.now(), token, parts.settings.public_url)
    return Response(body, media_type="text/calendar; charset=utf-8", headers=CALENDAR_HEADERS)
