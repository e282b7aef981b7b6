"""A client's progress summary: on the page, printed on two sheets, as PDF, and for the client."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.record.access import client_of
from rungwise.coach.record.audit import record
from rungwise.coach.record.situation import load
from rungwise.coach.reports.summary import (
    LONGEST_WORDS,
    USUAL_WEEKS,
    WEEKS,
    Summary,
    set_words,
    summary_of,
)
from rungwise.errors import NotFound
from rungwise.web.charts.holds_picture import draw_holds
from rungwise.web.charts.plot import INKS
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.reports.summary_view import (
    WHAT_IT_RESTS_ON,
    Picture,
    for_client,
    in_short,
    pictures,
    retest_lines,
    sign_line,
)
from rungwise.web.ui.layout import framed

router = APIRouter()

READERS = {"colleague": "For a clinician", "client": "For the client and family"}
Reader = Literal["colleague", "client"]


class Asked(BaseModel):
    """Which summary, in its address."""

    weeks: Number = USUAL_WEEKS
    reader: Reader = "colleague"
    theme: str = Field(default="light", max_length=10)


class WordsForm(BaseModel):
    # Longer than is taken, so that what was typed can be told about and kept.
    to_colleagues: str = Field(default="", max_length=4000)
    to_client: str = Field(default="", max_length=4000)


def _summary(session: Session, visit: Visit, client_id: int, weeks: int) -> Summary:
    situation = load(session, client_of(session, visit.trainer, client_id))
    if situation is None:
        raise NotFound("This client has no rung yet, so there is nothing to sum up.")
    return summary_of(session, visit.now, situation, weeks)


@router.get("/clients/{client_id}/summary")
def summary_page(visit: Signed, client_id: int, asked: Annotated[Asked, Query()]) -> Response:
    with visit.parts.store.read() as session:
        summary = _summary(session, visit, client_id, asked.weeks)
        plain = asked.reader == "client"
        told = for_client(summary, "light") if plain else None
        return framed(
            visit,
            session,
            "summary.html",
            asked=asked,
            readers=READERS,
            week_choices=WEEKS,
            client=summary.client,
            summary=summary,
            lines=in_short(summary),
            pictures=_drawn(told.pictures if told else pictures(summary, "auto")),
            signs=[sign_line(sign) for sign in summary.signs],
            retests=retest_lines(summary.retests),
            rests_on=WHAT_IT_RESTS_ON,
            told=told,
            way=Markup(told.way) if told else "",  # noqa: S704  # our own numbers and words
            days=Markup(told.days) if told else "",  # noqa: S704
            longest=LONGEST_WORDS,
        )


def _drawn(shown: tuple[Picture, ...]) -> list[tuple[str, str, Markup]]:
    return [
        (one.name, one.caption, Markup(one.drawing))  # noqa: S704  # our own numbers and words
        for one in shown
    ]


@router.post("/clients/{client_id}/summary")
def word_summary(
    visit: Signed,
    client_id: int,
    asked: Annotated[Asked, Query()],
    form: Annotated[WordsForm, Form()],
) -> Response:
    """Keep what the trainer says in it."""
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        set_words(session, visit.now, visit.trainer, client, form.to_colleagues, form.to_client)
    address = f"/clients/{client_id}/summary?weeks={asked.weeks}&reader={asked.reader}"
    return RedirectResponse(address, 303)


@router.get("/clients/{client_id}/summary/holds.svg")
def holds(visit: Signed, client_id: int, asked: Annotated[Asked, Query()]) -> Response:
    with visit.parts.store.read() as session:
        summary = _summary(session, visit, client_id, asked.weeks)
    theme = asked.theme if asked.theme in INKS else "light"
    return Response(draw_holds(summary.held, theme), media_type="image/svg+xml")


@router.post("/clients/{client_id}/summary/pdf")
def as_pdf(visit: Signed, client_id: int, asked: Annotated[Asked, Query()]) -> Response:
    """The same on paper of the practice's country. Whoever takes it out is on record."""
    with visit.parts.store.write() as session:
        summary = _summary(session, visit, client_id, asked.weeks)
        record(
            session,
            visit.now,
            visit.trainer,
            "summary taken out",
            client_id=client_id,
            reader=asked.reader,
        )
    # What makes PDFs takes half a second and 20 MB to load.
    from rungwise.web.reports import summary_pdf as papers  # noqa: PLC0415

    make = papers.client_pdf if asked.reader == "client" else papers.colleague_pdf
    held = make(summary, visit.practice.country, visit.now)
    named = f'attachment; filename="summary-{client_id}-{summary.last.isoformat()}.pdf"'
    return Response(held, media_type="application/pdf", headers={"Content-Disposition": named})
