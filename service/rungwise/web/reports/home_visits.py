"""Visits: planning one, the sheet for a day's round, and "visited" in one press."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.record.access import client_of
from rungwise.coach.reviews.home_visits import (
    NewVisit,
    call_off,
    plan_visit,
    visit_of,
    visited,
    visits_between,
    visits_to,
)
from rungwise.coach.reviews.retests import local_date
from rungwise.coach.reviews.round_sheet import sheets
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, HomeVisit
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

SHOWN = 20


@router.get("/clients/{client_id}/visits")
def client_visits(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _client_page(visit, session, client_of(session, visit.trainer, client_id), {})


def _client_page(
    visit: Visit,
    session: Session,
    client: Client,
    given: Fields,
    told: str = "",
    status: int = 200,
) -> Response:
    today = local_date(client, visit.now)
    return framed(
        visit,
        session,
        "client_visits.html",
        status,
        client=client,
        given={"day": today.isoformat(), "address": client.address or "", **given},
        visits=visits_to(session, client.id, SHOWN),
        today=today,
        told=told,
    )


@router.post("/clients/{client_id}/visits")
def plan_one(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    new = NewVisit(
        day=fields.get("day", ""),
        begins=fields.get("begins", ""),
        note=fields.get("note", ""),
        address=fields.get("address", ""),
    )
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            planned = plan_visit(session, visit.now, visit.trainer, client, new)
            day = planned.day
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        with visit.parts.store.read() as session:
            client = client_of(session, visit.trainer, client_id)
            return _client_page(visit, session, client, fields, str(error), status_of(error))
    return RedirectResponse(f"/week?start={day.isoformat()}", 303)


@router.post("/clients/{client_id}/visited")
def was_there(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        visited(session, visit.now, visit.trainer, client_of(session, visit.trainer, client_id))
    return _back(fields)


@router.post("/visits/{visit_id}/off")
def does_not_take_place(visit: Signed, visit_id: int, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        planned, _ = visit_of(session, visit.trainer, visit_id)
        call_off(session, visit.now, visit.trainer, planned)
    return _back(fields)


# Where a press leads back to; anything else leads to the list.
PLACES = ("/visits", "/week", "/visits/round", "/clients/")


def _back(fields: Fields) -> Response:
    back = fields.get("back", "")
    ours = back.startswith(PLACES) and "//" not in back and "\\" not in back
    return RedirectResponse(back if ours else "/visits", 303)


@router.get("/visits/round")
def round_sheet(visit: Signed, day: Annotated[str, Query(max_length=10)] = "") -> Response:
    """The sheet for a day: every visit that is planned, or done already."""
    shown = _day(visit, day)
    with visit.parts.store.read() as session:
        planned = visits_between(session, Scope.of(visit.trainer), shown, shown)
        clients = [client for _, client in planned]
        return sheet_page(visit, session, clients, day=shown, visits=[one for one, _ in planned])


def sheet_page(
    visit: Visit,
    session: Session,
    clients: Sequence[Client],
    *,
    day: date | None = None,
    visits: Sequence[HomeVisit] = (),
) -> Response:
    """These clients on a sheet to print; with the visits of a day, in their order."""
    return framed(
        visit,
        session,
        "round_sheet.html",
        sheets=sheets(session, visit.now, clients),
        day=day,
        visits=visits,
    )


def _day(visit: Visit, given: str) -> date:
    if not given:
        return visit.now.astimezone(ZoneInfo(visit.practice.time_zone)).date()
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise ImpossibleValue("day", given, "a date such as 2026-05-04") from None
