"""What a trainer does on a client's page: write to them, note, pause, go on."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.daily.write_to_client import NightThere, refuse_text, tidy, write_to_client
from rungwise.coach.plan.placement import check_version, pause, resume_paused
from rungwise.coach.record.access import client_of
from rungwise.coach.record.notes import LONGEST_NOTE, add_note
from rungwise.coach.record.situation import Situation
from rungwise.errors import ServiceError
from rungwise.store.tables import Trainer
from rungwise.web.clients.client_page import Draft, client_page
from rungwise.web.clients.override import placed
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.wording.segments import left_out

router = APIRouter()

Act = Callable[[Session, datetime, Trainer, Situation], None]


class TextForm(BaseModel):
    """`step`: look shows the text as it would leave, send queues it."""

    body: str = Field(default="", max_length=2000)
    step: Literal["look", "send"] = "send"
    once: str = Field(default="", max_length=40)
    at_night: bool = False


class NoteForm(BaseModel):
    body: str = Field(default="", max_length=LONGEST_NOTE + 100)


class VersionForm(BaseModel):
    version: Number = 0


@router.post("/clients/{client_id}/texts")
def write(visit: Signed, client_id: int, form: Annotated[TextForm, Form()]) -> Response:
    night = form.at_night
    # What cannot be sent is said before anything leaves, also when nobody asked to look.
    lost = left_out(form.body)
    look = form.step == "look" or bool(lost)
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            if look:
                refuse_text(client, tidy(form.body))
            else:
                write_to_client(
                    session,
                    visit.now,
                    visit.trainer,
                    client,
                    form.body,
                    once=form.once,
                    at_night=form.at_night,
                )
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        draft = Draft(form.body, str(error), night=night or isinstance(error, NightThere))
        return client_page(visit, client_id, draft=draft, status=status_of(error))
    if look:
        draft = Draft(tidy(form.body), looked=True, night=night, left_out=lost)
        return client_page(visit, client_id, draft=draft)
    return RedirectResponse(f"/clients/{client_id}#texts", 303)


@router.post("/clients/{client_id}/notes")
def note(visit: Signed, client_id: int, form: Annotated[NoteForm, Form()]) -> Response:
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        add_note(session, visit.now, visit.trainer, client.id, form.body)
    return RedirectResponse(f"/clients/{client_id}#notes", 303)


@router.post("/clients/{client_id}/pause")
def pause_texts(visit: Signed, client_id: int, form: Annotated[VersionForm, Form()]) -> Response:
    return _act(visit, client_id, form.version, pause)


@router.post("/clients/{client_id}/resume")
def resume_texts(visit: Signed, client_id: int, form: Annotated[VersionForm, Form()]) -> Response:
    return _act(visit, client_id, form.version, resume_paused)


def _act(visit: Visit, client_id: int, version: int, act: Act) -> Response:
    """Do it, unless somebody changed the client since the page was opened: then show them anew."""
    try:
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, version)
            act(session, visit.now, visit.trainer, situation)
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        return client_page(visit, client_id, told=str(error), status=status_of(error))
    return RedirectResponse(f"/clients/{client_id}", 303)
