"""Texts from unknown numbers: what each says, and whose phone it is."""

from typing import Annotated

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import col, select

from rungwise.coach.daily.strangers import (
    LONGEST_WHOSE,
    belongs_to,
    open_strangers,
    set_aside,
    stranger_of,
    texts_of,
)
from rungwise.coach.record.access import client_of
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client
from rungwise.web.http.auth import Number, Signed
from rungwise.web.ui.layout import framed

router = APIRouter()


class WhoseForm(BaseModel):
    """`client_id` 0 says that it is about nobody here."""

    client_id: Number = 0
    whose: str = Field(default="", max_length=LONGEST_WHOSE)


@router.get("/unknown-numbers")
def unknown_numbers(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        found = open_strangers(session, visit.trainer.practice_id)
        mine = select(Client).where(Scope.of(visit.trainer).clients)
        clients = sorted(session.exec(mine.order_by(col(Client.id))).all(), key=lambda c: c.name)
        return framed(
            visit,
            session,
            "unknown_numbers.html",
            strangers=[(stranger, texts_of(session, stranger.id)) for stranger in found],
            clients=clients,
            longest=LONGEST_WHOSE,
        )


@router.post("/unknown-numbers/{stranger_id}")
def say_whose(visit: Signed, stranger_id: int, form: Annotated[WhoseForm, Form()]) -> Response:
    with visit.parts.store.write() as session:
        stranger = stranger_of(session, visit.trainer, stranger_id)
        if form.client_id:
            client = client_of(session, visit.trainer, form.client_id)
            belongs_to(session, visit.now, visit.trainer, stranger, client, form.whose)
        else:
            set_aside(session, visit.now, visit.trainer, stranger)
    return RedirectResponse("/unknown-numbers", 303)
