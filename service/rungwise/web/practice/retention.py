"""How long the words of texts are kept, with how many would go."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.practice.retention import (
    LONGEST_MONTHS,
    MARK,
    SHORTEST_MONTHS,
    how_many_go,
    keep_since,
    months_given,
    set_keeping,
)
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.fields import sentence
from rungwise.errors import ImpossibleValue
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()


@router.get("/practice/retention")
def keeping(visit: Signed) -> Response:
    held = visit.practice.keep_texts_months
    with visit.parts.store.read() as session:
        return _page(visit, session, "" if held is None else str(held), held)


@router.post("/practice/retention")
def change(visit: Signed, fields: FieldsHere) -> Response:
    """Show what would go, or take it; only the lead may."""
    require_lead(visit.trainer)
    given = fields.get("months", "")
    try:
        months = months_given(given)
    except ImpossibleValue as refused:
        with visit.parts.store.read() as session:
            return _page(visit, session, given, None, {"months": sentence(refused)})
    if fields.get("step") == "take":
        with visit.parts.store.write() as session:
            set_keeping(session, visit.now, visit.trainer, months)
        return RedirectResponse("/practice/retention", 303)
    with visit.parts.store.read() as session:
        return _page(visit, session, given, months, tried=True)


def _page(
    visit: Visit,
    session: Session,
    given: str,
    months: int | None,
    problems: dict[str, str] | None = None,
    tried: bool = False,
) -> Response:
    zone = visit.practice.time_zone
    return framed(
        visit,
        session,
        "practice_retention.html",
        400 if problems else 200,
        given={"months": given},
        months=months,
        go=how_many_go(session, visit.now, visit.practice, months) if months else 0,
        since=keep_since(visit.now, months, zone) if months else None,
        shortest=SHORTEST_MONTHS,
        longest=LONGEST_MONTHS,
        mark=MARK,
        problems=problems or {},
        names={"months": "Months"},
        tried=tried,
    )
