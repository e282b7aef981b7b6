"""The practice phone: what one client's phone shows, and answering from it as a carrier would."""

from datetime import timedelta
from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field

from rungwise.carriers.handset import Handset
from rungwise.coach.record.access import client_of, clients_of
from rungwise.errors import NotFound, ServiceError
from rungwise.store.queries import page_version, thread
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.ui.layout import framed, has_phone

router = APIRouter()

TEXTS_SHOWN = 30
HIDDEN_STATES = frozenset({"cancelled", "missed", "failed"})
FORWARD_S = {"10 minutes": 600, "1 hour": 3600, "1 day": 86_400, "1 week": 604_800}


class NoDemo(ServiceError):
    """Only the demo's clock can be moved: this practice's clients are real."""


class ForwardForm(BaseModel):
    seconds: int = Field(ge=60, le=int(timedelta(days=31).total_seconds()))
    client: Number = 0


@router.get("/phone")
def phone(visit: Signed, client: int = 0) -> Response:
    handset = _handset(visit)
    with visit.parts.store.read() as session:
        mine = clients_of(session, visit.trainer)
        chosen = client_of(session, visit.trainer, client) if client else None
        chosen = chosen or (mine[0] if mine else None)
        texts = thread.texts(session, chosen.id, TEXTS_SHOWN) if chosen else []
        return framed(
            visit,
            session,
            "phone.html",
            clients=mine,
            client=chosen,
            texts=[text for text in texts if text.state not in HIDDEN_STATES],
            signature=page_version.of_texts(session, chosen.id) if chosen else "",
            token=handset.token,
            text_id=uuid4().hex,
            forward=FORWARD_S if visit.practice.is_demo else {},
        )


def _handset(visit: Visit) -> Handset:
    handset = visit.parts.carriers.get("handset")
    if not has_phone(visit) or not isinstance(handset, Handset):
        raise NotFound("This practice sends real texts, so it has no practice phone.")
    return handset


@router.post("/demo/forward")
def forward(visit: Signed, form: Annotated[ForwardForm, Form()]) -> Response:
    if not visit.practice.is_demo:
        raise NoDemo
    from rungwise.demo import forward as move_on  # noqa: PLC0415  # only a demo loads it

    move_on(visit.parts, float(form.seconds))
    return RedirectResponse(f"/phone?client={form.client}" if form.client else "/phone", 303)
