"""Looking for words in texts and notes, and a note with its history."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, col, select

from rungwise.coach.record.notes import LONGEST_NOTE, edit_note, note_of
from rungwise.coach.record.search import SHORTEST, search
from rungwise.errors import EditedMeanwhile
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Trainer
from rungwise.web.http.auth import LARGEST_ID, Number, Signed, Visit
from rungwise.web.ui.layout import framed

router = APIRouter()


class Sought(BaseModel):
    """What is looked for, in the address; `before` goes on from an older text."""

    q: str = Field(default="", max_length=80)
    before: int | None = Field(default=None, ge=0, le=LARGEST_ID)


class NoteForm(BaseModel):
    body: str = Field(default="", max_length=LONGEST_NOTE + 100)
    version: Number = 0


@router.get("/clients/search")
def look_for(visit: Signed, asked: Annotated[Sought, Query()]) -> Response:
    with visit.parts.store.read() as session:
        found = search(session, Scope.of(visit.trainer), asked.q, asked.before)
        return framed(visit, session, "search.html", asked=asked, found=found, shortest=SHORTEST)


@router.get("/notes/{note_id}")
def one_note(visit: Signed, note_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _note_page(visit, session, note_id)


def _note_page(
    visit: Visit, session: Session, note_id: int, body: str | None = None, status: int = 200
) -> Response:
    client, versions = note_of(session, visit.trainer, note_id)
    names = select(Trainer.id, Trainer.name).where(
        col(Trainer.id).in_({one.trainer_id for one in versions})
    )
    return framed(
        visit,
        session,
        "note.html",
        status,
        client=client,
        versions=versions,
        writers=dict(session.exec(names).all()),
        body=versions[-1].body if body is None else body,
        changed=status == 409,
        longest=LONGEST_NOTE,
    )


@router.post("/notes/{note_id}")
def say_otherwise(visit: Signed, note_id: int, form: Annotated[NoteForm, Form()]) -> Response:
    try:
        with visit.parts.store.write() as session:
            note = edit_note(session, visit.now, visit.trainer, note_id, form.body, form.version)
            client_id = note.client_id
    except EditedMeanwhile:
        with visit.parts.store.read() as session:
            return _note_page(visit, session, note_id, form.body, 409)
    return RedirectResponse(f"/clients/{client_id}#notes", 303)
