"""One alert: what the client said, what was done, and handling it."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, col, select

from rungwise.coach.alerting.paging import pages_told
from rungwise.coach.plan.alert_acts import acts_for, gate_next, not_seen_lately, rung_below, solve
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.plan.placement_preview import preview
from rungwise.coach.plan.undo import undo_handling
from rungwise.coach.record.fields import day_of
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reviews.retests import local_date
from rungwise.concepts.alert_kinds import RESTING_KINDS
from rungwise.errors import NotFound, ServiceError
from rungwise.store.queries import inbox
from rungwise.store.tables import Alert, Client
from rungwise.web.clients.client_page import RungNames
from rungwise.web.clients.resume_choices import resume_choices
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import FieldsHere
from rungwise.web.incident import PHONED, checklist_in, facts_in, incident_page
from rungwise.web.looks import alert_of, look_at
from rungwise.web.ui.layout import framed

router = APIRouter()

LOOKED = ("Read, nothing more to do", "Phoned", "Talked about it at a visit")
QUICK = {
    **dict.fromkeys((*RESTING_KINDS, "help", "call_me"), PHONED),
    "silence": ("Phoned: all is well", "Phoned: left a message", "Phoned: away for now"),
    "away": ("Phoned: all is well", "Phoned: left a message", "Phoned: not wanting to go on"),
    "opted_out": ("Respected, nothing more to do", "Phoned: wants to stay out", "Phoned"),
    "undeliverable": ("Phoned: number is right", "Phoned: number will be changed", "Phoned"),
}


class HandleForm(BaseModel):
    """`quick` is the pressed button, `what_done` one's own words; one of them must be there."""

    quick: str = Field(default="", max_length=200)
    what_done: str = Field(default="", max_length=500)
    note: str = Field(default="", max_length=2000)
    resume_key: str = Field(default="", max_length=120)
    together: bool = False


@router.get("/alerts/{alert_id}")
def one_alert(visit: Signed, request: Request, alert_id: int) -> Response:
    alert, client = _mine(visit, alert_id)
    if alert.state == "new":
        look_at(visit, request, alert_id)
        alert, client = _mine(visit, alert_id)
    if alert.incident_id is not None:
        return incident_page(visit, alert.incident_id)
    return _alert_page(visit, alert, client)


def _mine(visit: Visit, alert_id: int) -> tuple[Alert, Client]:
    with visit.parts.store.read() as session:
        return alert_of(session, visit.trainer, alert_id)


def _alert_page(
    visit: Visit, alert: Alert, client: Client, told: str = "", status: int = 200
) -> Response:
    with visit.parts.store.read() as session:
        situation = load(session, client)
        others = session.exec(
            select(Alert, Client)
            .join(Client, col(Client.id) == col(Alert.client_id))
            .where(Alert.client_id == client.id, Alert.state != "handled", Alert.id != alert.id)
        ).all()
        entry, *rest = inbox.with_texts(session, [(alert, client), *others])
        solves = acts_for(alert, situation)
        gated = gate_next(situation) if situation and "open_gate" in solves else None
        below = rung_below(situation) if situation and "one_down" in solves else None
        return framed(
            visit,
            session,
            "alert.html",
            status,
            entry=entry,
            told=told,
            solves=solves,
            gate_text=preview(session, situation, gated.key).text if situation and gated else "",
            gated=gated,
            unseen=situation and gated and not_seen_lately(session, visit.now, situation),
            below=below,
            today=local_date(client, visit.now),
            others=rest,
            paged=pages_told(session, [alert.id]),
            named=RungNames(situation),
            quick=QUICK.get(alert.kind, LOOKED),
            resume_on=resume_choices(situation),
            rests=alert.kind in RESTING_KINDS,
            others_rest=any(one.alert.kind in RESTING_KINDS for one in rest),
        )


@router.post("/alerts/{alert_id}/handle")
def handle_alert(
    visit: Signed, alert_id: int, form: Annotated[HandleForm, Form()], fields: FieldsHere
) -> Response:
    with visit.parts.store.write() as session:
        alert, client = alert_of(session, visit.trainer, alert_id)
        situation = load(session, client)
        done = form.what_done.strip() or form.quick
        if form.together:
            _handle_others(session, visit, alert, situation, Handling(done, form.note))
        resume = form.resume_key or None
        handling = Handling(done, form.note, resume, checklist_in(fields), fall=facts_in(fields))
        handle(session, visit.now, visit.trainer, alert, situation, handling)
    return RedirectResponse("/", 303)


def _handle_others(
    session: Session, visit: Visit, alert: Alert, situation: Situation | None, handling: Handling
) -> None:
    """The client's other open alerts, dealt with in the same talk."""
    others = select(Alert).where(
        Alert.client_id == alert.client_id, Alert.state != "handled", Alert.id != alert.id
    )
    for other in session.exec(others).all():
        handle(session, visit.now, visit.trainer, other, situation, handling)


@router.post("/alerts/{alert_id}/solve")
def solve_alert(visit: Signed, alert_id: int, fields: FieldsHere) -> Response:
    """Do one of the acts that solve it, and handle it with that."""
    try:
        with visit.parts.store.write() as session:
            alert, client = alert_of(session, visit.trainer, alert_id)
            situation = load(session, client)
            if situation is None:
                raise NotFound("This client has no place on a ladder yet.")
            act, until = fields.get("act", ""), fields.get("until", "")
            day = day_of(until) if until else None
            solve(session, visit.now, visit.trainer, alert, situation, act, day)
    except ServiceError as error:
        if isinstance(error, NotFound):
            raise
        with visit.parts.store.read() as session:
            alert, client = alert_of(session, visit.trainer, alert_id)
        return _alert_page(visit, alert, client, str(error), status_of(error))
    return RedirectResponse("/", 303)


@router.post("/alerts/{alert_id}/undo")
def undo(visit: Signed, alert_id: int) -> Response:
    with visit.parts.store.write() as session:
        alert, client = alert_of(session, visit.trainer, alert_id)
        undo_handling(session, visit.now, visit.trainer, alert, load(session, client))
    return RedirectResponse(f"/alerts/{alert_id}", 303)
