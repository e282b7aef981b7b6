"""Two settings compared by lot: writing it down, the lots, and what came of it."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.record.access import client_of, clients_of, require_lead
from rungwise.coach.record.fields import sentence
from rungwise.coach.reviews import comparing
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.evidence.comparison import (
    APART_BOUNDS,
    CLIENTS_BOUNDS,
    DAYS_BOUNDS,
    OUTCOMES,
    Protocol,
)
from rungwise.ladder.caution import PRESETS
from rungwise.store.tables import ComparisonRow
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

# Common practice, no source: what the form begins with.
BEGINS = {
    "first": "gentle",
    "second": "usual",
    "outcome": "gain",
    "days": "84",
    "clients": "40",
    "falls_apart": "4",
}


@router.get("/comparison")
def page(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return _page(visit, session)


def _page(
    visit: Visit,
    session: Session,
    given: Fields | None = None,
    read_through: Protocol | None = None,
    told: str = "",
    status: int = 200,
) -> Response:
    row = comparing.latest(session, visit.practice.id)
    running = row is not None and not comparing.is_over(session, visit.now, row)
    mine = {client.id for client in clients_of(session, visit.trainer)}
    drawn = comparing.drawn_in(session, row) if row is not None else []
    known = {one.client.id for one in drawn}
    return framed(
        visit,
        session,
        "evidence_comparison.html",
        status,
        row=row,
        protocol=comparing.protocol_of(row) if row is not None else None,
        running=running,
        no_lot=comparing.why_no_lot(session, visit.now, row) if row and running else None,
        result=comparing.result(session, visit.now, row) if row is not None else None,
        drawn=[one for one in drawn if one.client.id in mine],
        others=sum(one.client.id not in mine for one in drawn),
        to_draw=[
            one
            for one in clients_of(session, visit.trainer)
            if one.state == "active" and one.id not in known
        ],
        given={**BEGINS, **(given or {})},
        read_through=read_through,
        told=told,
        presets=PRESETS,
        outcomes=OUTCOMES,
        bounds={"days": DAYS_BOUNDS, "clients": CLIENTS_BOUNDS, "falls_apart": APART_BOUNDS},
    )


@router.post("/comparison")
def write_down(visit: Signed, fields: FieldsHere) -> Response:
    """Show what would be locked, or lock it; only the lead may."""
    require_lead(visit.trainer)
    try:
        protocol = comparing.protocol_given(fields)
        comparing.words_given("review", fields.get("ethics", ""))
        if fields.get("step") == "lock":
            with visit.parts.store.write() as session:
                ethics = fields.get("ethics", "")
                comparing.write_down(session, visit.now, visit.trainer, protocol, ethics)
            return RedirectResponse("/comparison", 303)
    except ServiceError as refused:
        return _refused(visit, refused, fields)
    with visit.parts.store.read() as session:
        return _page(visit, session, fields, protocol)


@router.post("/comparison/lots")
def draw(visit: Signed, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, _number(fields))
            comparing.draw(
                session,
                visit.now,
                visit.trainer,
                _here(session, visit),
                client,
                fields.get("agreed_on", ""),
                both_suit=fields.get("suits") == fields.get("agreed") == "yes",
            )
    except ServiceError as refused:
        return _refused(visit, refused, fields)
    return RedirectResponse("/comparison", 303)


@router.post("/comparison/withdraw")
def withdraw(visit: Signed, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, _number(fields))
        comparing.withdraw(session, visit.now, visit.trainer, _here(session, visit), client)
    return RedirectResponse("/comparison", 303)


@router.post("/comparison/end")
def end(visit: Signed, fields: FieldsHere) -> Response:
    require_lead(visit.trainer)
    try:
        with visit.parts.store.write() as session:
            row, why = _here(session, visit), fields.get("why", "")
            comparing.end(session, visit.now, visit.trainer, row, why)
    except ServiceError as refused:
        return _refused(visit, refused, fields)
    return RedirectResponse("/comparison", 303)


def _here(session: Session, visit: Visit) -> ComparisonRow:
    row = comparing.latest(session, visit.practice.id)
    if row is None:
        raise NotFound("No comparison is set up.")
    return row


def _number(fields: Fields) -> int:
    try:
        return int(fields.get("client", ""))
    except ValueError:
        raise NotFound("There is no such client among yours.") from None


def _refused(visit: Visit, refused: ServiceError, fields: Fields) -> Response:
    if status_of(refused) == 404:
        raise refused
    told = sentence(refused) if isinstance(refused, ImpossibleValue) else str(refused)
    with visit.parts.store.read() as session:
        return _page(visit, session, fields, None, told, status_of(refused))
