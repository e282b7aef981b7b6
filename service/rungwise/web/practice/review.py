"""The booklet for a clinician's review, and the record that it was reviewed."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from rungwise.coach.record.fields import Unfinished
from rungwise.coach.reports.booklet import Booklet, booklet_of
from rungwise.coach.reports.clinician_review import record_review
from rungwise.web.http.auth import Signed, Visit, real_now
from rungwise.web.http.forms import FieldsHere
from rungwise.web.practice.booklet_view import booklet_page
from rungwise.web.practice.settings import practice_page

router = APIRouter()


def _booklet(visit: Visit) -> Booklet:
    with visit.parts.store.read() as session:
        return booklet_of(session, visit.practice)


@router.get("/practice/booklet")
def as_page(visit: Signed) -> Response:
    return HTMLResponse(booklet_page(_booklet(visit), visit.practice.name))


@router.get("/practice/booklet.pdf")
def as_pdf(visit: Signed) -> Response:
    # What makes PDFs takes half a second and 20 MB to load.
    from rungwise.web.practice.booklet_pdf import booklet_pdf  # noqa: PLC0415

    booklet = _booklet(visit)
    held = booklet_pdf(booklet, visit.practice.name, visit.practice.country, visit.now)
    named = f'attachment; filename="review-{booklet.version}.pdf"'
    return Response(held, media_type="application/pdf", headers={"Content-Disposition": named})


@router.post("/practice/review")
def record(visit: Signed, fields: FieldsHere) -> Response:
    today = _today(real_now(visit.parts), visit)
    try:
        with visit.parts.store.write() as session:
            record_review(session, visit.now, visit.trainer, fields, today)
    except Unfinished as unfinished:
        with visit.parts.store.read() as session:
            return practice_page(visit, session, fields, unfinished.problems)
    return RedirectResponse("/practice#review", 303)


def _today(now: datetime, visit: Visit) -> date:
    return now.astimezone(ZoneInfo(visit.practice.time_zone)).date()
