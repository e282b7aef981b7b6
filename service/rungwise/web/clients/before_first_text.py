"""Before the first text: what was asked, what a clinician said, the home, consent, and beginning.

A client whose answers say so is kept here until the clinician's word is recorded.
"""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.daily.welcome import CONSENT_WORDING, consent_wording
from rungwise.coach.enrolment.home_checklist import CHECKLIST
from rungwise.coach.enrolment.intake import (
    Word,
    begin_texts,
    record_clinician,
    screen_again,
    set_home,
    standing,
)
from rungwise.coach.enrolment.intake_form import ASKED
from rungwise.coach.enrolment.screening_questions import BY_NAME, QUESTIONS
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fields import sentence
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.tables import Client
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

NAMES = {
    "clinician": "Who said it",
    "clinician_said": "What they said",
    "allows": "Whether they may practise",
    **{name: f"Question {place}" for place, name in enumerate(ASKED, start=1)},
}


@router.get("/clients/{client_id}/start")
def before_start(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _page(visit, session, client_of(session, visit.trainer, client_id))


def _page(
    visit: Visit,
    session: Session,
    client: Client,
    given: Fields | None = None,
    *,
    told: str = "",
    problems: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    stands = standing(session, client)
    return framed(
        visit,
        session,
        "start.html",
        status,
        client=client,
        stands=stands,
        given=given or {},
        told=told,
        problems=problems or {},
        names=NAMES,
        checklist=CHECKLIST,
        answered=_answered(stands.screening.answers) if stands.screening else [],
        questions=QUESTIONS,
        wording=consent_wording(visit.practice, client.language),
        languages=list(CONSENT_WORDING),
    )


def _answered(answers: dict[str, str]) -> list[tuple[str, str, bool]]:
    """Each question with its answer, and whether that is more than the harmless one."""
    found = []
    for name, value in answers.items():
        choice = BY_NAME[name].choice(value)
        found.append((BY_NAME[name].asks, choice.label, choice.verdict != "fine"))
    return found


def _refused(visit: Visit, client_id: int, fields: Fields, error: ServiceError) -> Response:
    if isinstance(error, NotFound):
        raise error
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        if isinstance(error, ImpossibleValue) and error.field in NAMES:
            problems = {error.field: sentence(error)}
            return _page(visit, session, client, fields, problems=problems, status=400)
        return _page(visit, session, client, fields, told=str(error), status=status_of(error))


def _back(client_id: int) -> Response:
    return RedirectResponse(f"/clients/{client_id}/start", 303)


@router.post("/clients/{client_id}/start/clinician")
def clinician(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            if fields.get("allows") not in ("yes", "no"):
                raise ImpossibleValue("allows", "", "chosen: they may, or better not")
            word = Word(
                fields.get("clinician", ""),
                fields.get("clinician_said", ""),
                allows=fields["allows"] == "yes",
            )
            record_clinician(session, visit.now, visit.trainer, client, word)
    except ServiceError as error:
        return _refused(visit, client_id, fields, error)
    return _back(client_id)


@router.post("/clients/{client_id}/start/questions")
def ask_again(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    answers = {name: fields[name] for name in ASKED if name in fields}
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            screen_again(session, visit.now, visit.trainer, client, answers)
    except ServiceError as error:
        return _refused(visit, client_id, fields, error)
    return _back(client_id)


@router.post("/clients/{client_id}/start/home")
def at_home(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    in_place = frozenset(fields.get("home", "").split())
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            someone = fields.get("someone", "")
            set_home(session, visit.now, visit.trainer, client, in_place, someone)
    except ServiceError as error:
        return _refused(visit, client_id, fields, error)
    return _back(client_id)


@router.post("/clients/{client_id}/start")
def begin(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    agreed = fields.get("agreed") == "yes"
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            begin_texts(session, visit.now, visit.trainer, client, agreed=agreed)
    except ServiceError as error:
        return _refused(visit, client_id, fields, error)
    return RedirectResponse(f"/clients/{client_id}", 303)
