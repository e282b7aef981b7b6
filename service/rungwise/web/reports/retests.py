"""One client's retests: results beside published norms, the forms, and the review rhythm."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.daily.falls_weekly import set_falls_asked
from rungwise.coach.daily.weekly import set_weekly, weekly_body
from rungwise.coach.record.access import client_of
from rungwise.coach.record.rhythm import rhythm_of
from rungwise.coach.reviews.retests import (
    EVERY_WEEKS,
    NewRetest,
    Result,
    latest,
    local_date,
    record_call,
    record_retest,
    results_of,
    reviews_due,
    set_rhythm,
    withdraw_retest,
)
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.evidence import (
    KINDS,
    NOT_A_DIAGNOSIS,
    Finding,
    Norm,
    instruction,
    kind_of,
    values_from_form,
)
from rungwise.store.tables import Client
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

SEXES = (("", "not said"), ("female", "woman"), ("male", "man"))


class CallForm(BaseModel):
    note: str = Field(default="", max_length=2000)


class RhythmForm(BaseModel):
    weeks: Number = 0
    weekly_text: bool = False
    falls_asked: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """One result as the page has it: what it says, and the figures to set it beside."""

    result: Result
    findings: tuple[Finding, ...]
    norms: tuple[Norm, ...]

    @classmethod
    def of(cls, result: Result) -> "Shown":
        age, sex = result.retest.age, result.retest.sex
        scored = result.scored
        return cls(result, scored.findings(age, sex), scored.norms(age, sex))  # type: ignore[arg-type]


@router.get("/clients/{client_id}/retests")
def retests(visit: Signed, client_id: int) -> Response:
    return _retests_page(visit, client_id)


def _retests_page(visit: Visit, client_id: int, told: str = "", status: int = 200) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        results = results_of(session, client.id)
        newest = latest(results)
        return framed(
            visit,
            session,
            "evidence_retests.html",
            status,
            client=client,
            newest={kind: Shown.of(newest[kind]) for kind in KINDS if kind in newest},
            earlier=[one for one in results if one is not newest[one.retest.kind]],
            kinds=KINDS,
            rhythm=rhythm_of(session, client.id),
            weeks=range(EVERY_WEEKS[0], EVERY_WEEKS[1] + 1),
            due_on=reviews_due(session, [client]).get(client.id),
            today=local_date(client, visit.now),
            week_text=weekly_body(session, visit.now, client, local_date(client, visit.now)),
            not_a_diagnosis=NOT_A_DIAGNOSIS,
            told=told,
        )


@router.get("/clients/{client_id}/retests/new/{kind}")
def new_retest(visit: Signed, client_id: int, kind: str) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        given = {"day": local_date(client, visit.now).isoformat(), **_usual(session, client)}
        return _form_page(visit, session, client, kind, given)


def _usual(session: Session, client: Client) -> dict[str, str]:
    """Age and sex as they were given last; the trainer looks at the age again."""
    before = results_of(session, client.id)
    if not before:
        return {}
    last = before[0].retest
    return {"age": str(last.age), "sex": last.sex or ""}


def _form_page(
    visit: Visit,
    session: Session,
    client: Client,
    kind: str,
    given: Mapping[str, str],
    told: str = "",
    status: int = 200,
) -> Response:
    if kind not in KINDS:
        raise NotFound("There is no such test.")
    return framed(
        visit,
        session,
        "evidence_retest_form.html",
        status,
        client=client,
        kind=kind_of(kind),
        how=instruction(kind),
        given=given,
        sexes=SEXES,
        today=local_date(client, visit.now),
        told=told,
    )


@router.post("/clients/{client_id}/retests/new/{kind}")
def store_retest(visit: Signed, client_id: int, kind: str, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            if kind not in KINDS:
                raise NotFound("There is no such test.")
            record_retest(session, visit.now, visit.trainer, client, _asked(kind, fields))
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        with visit.parts.store.read() as session:
            client = client_of(session, visit.trainer, client_id)
            told, status = str(error), status_of(error)
            return _form_page(visit, session, client, kind, fields, told, status)
    return RedirectResponse(f"/clients/{client_id}/retests", 303)


def _asked(kind: str, fields: Mapping[str, str]) -> NewRetest:
    day, age = fields.get("day", ""), fields.get("age", "").strip()
    try:
        on = date.fromisoformat(day)
    except ValueError:
        raise ImpossibleValue("date of the test", day, "a date such as 2026-05-04") from None
    if not age.isdecimal():
        raise ImpossibleValue("age", age, "completed years, such as 74")
    return NewRetest(
        kind=kind,
        day=on,
        age=int(age),
        measured=values_from_form(kind, fields),
        sex=fields.get("sex") or None,
        note=fields.get("note", ""),
    )


@router.post("/clients/{client_id}/retests/{retest_id}/withdraw")
def withdraw(visit: Signed, client_id: int, retest_id: int) -> Response:
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        withdraw_retest(session, visit.now, visit.trainer, client, retest_id)
    return RedirectResponse(f"/clients/{client_id}/retests", 303)


@router.post("/clients/{client_id}/retests/call")
def call(visit: Signed, client_id: int, form: Annotated[CallForm, Form()]) -> Response:
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            record_call(session, visit.now, visit.trainer, client, form.note)
    except ImpossibleValue as error:
        return _retests_page(visit, client_id, str(error), status_of(error))
    return RedirectResponse(f"/clients/{client_id}/retests#rhythm", 303)


@router.post("/clients/{client_id}/retests/rhythm")
def rhythm(visit: Signed, client_id: int, form: Annotated[RhythmForm, Form()]) -> Response:
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            set_rhythm(session, visit.now, visit.trainer, client, form.weeks)
            set_weekly(session, visit.now, visit.trainer, client, form.weekly_text)
            set_falls_asked(session, visit.now, visit.trainer, client, form.falls_asked)
    except ImpossibleValue as error:
        return _retests_page(visit, client_id, str(error), status_of(error))
    return RedirectResponse(f"/clients/{client_id}/retests#rhythm", 303)


@router.get("/tests/{kind}")
def how_to(visit: Signed, kind: str) -> Response:
    """How a test is done, to print and take along."""
    if kind not in KINDS:
        raise NotFound("There is no such test.")
    with visit.parts.store.read() as session:
        return framed(
            visit,
            session,
            "evidence_instruction.html",
            kind=kind_of(kind),
            how=instruction(kind),
            not_a_diagnosis=NOT_A_DIAGNOSIS,
        )
