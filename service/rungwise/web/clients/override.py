"""Placing a client on another rung: choose, see what it would mean, give the reason."""

from dataclasses import dataclass
from itertools import groupby
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.plan.placement import check_version, place_client, resume
from rungwise.coach.plan.placement_preview import check_second_look, preview
from rungwise.coach.record.access import client_of
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.reports.client_facts import steps_of
from rungwise.concepts.measures import Lengths
from rungwise.errors import EditedMeanwhile, NotFound, ServiceError
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.store.queries import thread
from rungwise.web.charts.plot import INKS
from rungwise.web.clients.client_page import drawn
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.ui.labels import ground_name
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_picture, rung_sentence, rung_short

router = APIRouter()


class PlaceForm(BaseModel):
    rung_key: str = Field(default="", max_length=120)
    reason: str = Field(default="", max_length=500)
    version: Number = 0
    meant: bool = False
    ends_rest: bool = False


class Asked(BaseModel):
    """Which step is looked at: one by its key, or by what it is to the client's own."""

    rung_key: str = Field(default="", max_length=120)
    step: Literal["", "lower", "gate"] = ""

    def key(self, situation: Situation) -> str:
        steps = steps_of(situation)
        rung = {"lower": steps.below, "gate": steps.gated}.get(self.step)
        return self.rung_key or (rung.key if rung else "")


@router.get("/clients/{client_id}/override")
def choose(visit: Signed, client_id: int, asked: Annotated[Asked, Query()]) -> Response:
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
        return _page(visit, session, situation, PlaceForm(rung_key=asked.key(situation)))


@router.get("/clients/{client_id}/feet.svg")
def feet(visit: Signed, client_id: int, rung_key: str = "", theme: str = "light") -> Response:
    """One rung's feet from above, small, for choosing by drawing."""
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
    if rung_key not in situation.ladder or situation.ladder.body is None:
        raise NotFound("This rung is not on the client's ladder.")
    rung = situation.ladder[rung_key]
    svg = rung_picture(rung, situation.ladder.body, theme="auto", lengths=situation.lengths)
    # An image of its own can't take the page's ink by itself.
    svg = svg.replace("<svg ", f'<svg color="{INKS.get(theme, INKS["light"]).ink}" ', 1)
    # The same rung of the same body is always the same picture.
    headers = {"Cache-Control": "private, max-age=3600"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


def placed(session: Session, visit: Visit, client_id: int) -> Situation:
    """The situation of a client with a rung whom this trainer may see."""
    situation = load(session, client_of(session, visit.trainer, client_id))
    if situation is None:
        raise NotFound("This client has no rung yet.")
    return situation


def _page(
    visit: Visit,
    session: Session,
    situation: Situation,
    form: PlaceForm,
    told: str = "",
    status: int = 200,
) -> Response:
    here = situation.placement.rung_key
    chosen = form.rung_key if form.rung_key in situation.ladder else here
    seen = preview(session, situation, chosen) if chosen in situation.ladder else None
    latest = thread.moves(session, situation.client_id, 1)
    return framed(
        visit,
        session,
        "override.html",
        status,
        client=situation.client,
        situation=situation,
        form=form,
        here=here,
        preview=seen,
        drawing=drawn(situation, seen.rung) if seen else "",
        sentence=rung_sentence(seen.rung, lengths=situation.lengths) if seen else "",
        rounds=rounds(situation.ladder, chosen, situation.lengths),
        closed={rung.gate for rung in situation.ladder.rungs if rung.gate}
        - situation.settings.open_gates,
        told=told,
        changed=latest[0] if status == 409 and latest else None,
    )


@dataclass(frozen=True, slots=True)
class Ground:
    """The rungs on one ground, easiest first; `chosen`: the rung looked at is one of them."""

    name: str
    begins: str
    chosen: bool
    rungs: tuple[Rung, ...]


def rounds(ladder: Ladder, chosen: str, lengths: Lengths) -> list[Ground]:
    """The whole ladder by ground, in the order of practice."""
    found = []
    for name, held in groupby(ladder.rungs, key=lambda rung: rung.round):
        rungs = tuple(held)
        begins = rung_short(rungs[0], lengths=lengths).partition(",")[0].lower()
        holds = any(rung.key == chosen for rung in rungs)
        found.append(Ground(ground_name(name), begins, holds, rungs))
    return found


@router.post("/clients/{client_id}/override")
def place(visit: Signed, client_id: int, form: Annotated[PlaceForm, Form()]) -> Response:
    try:
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, form.version)
            check_second_look(situation, form.rung_key, meant=form.meant)
            act = resume if form.ends_rest and situation.resting else place_client
            act(session, visit.now, visit.trainer, situation, form.rung_key, form.reason)
    except NotFound:
        raise
    except ServiceError as error:
        with visit.parts.store.read() as session:
            situation = placed(session, visit, client_id)
            told = "" if isinstance(error, EditedMeanwhile) else str(error)
            return _page(visit, session, situation, form, told, status_of(error))
    return RedirectResponse(f"/clients/{client_id}", 303)
