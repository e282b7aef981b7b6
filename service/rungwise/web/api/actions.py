"""What a trainer does about one client: write, place on another rung, pause, go on."""

from collections.abc import Callable
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Response
from sqlmodel import Session

from rungwise.coach.daily.write_to_client import write_to_client
from rungwise.coach.plan.placement import check_version, pause, place_client, resume, resume_paused
from rungwise.coach.plan.placement_preview import check_second_look
from rungwise.coach.plan.usual_pain import set_usual_pain
from rungwise.coach.record.access import client_of
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.situation import Situation
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Trainer
from rungwise.web.api.caller import Caller, Id, Needs, placed
from rungwise.web.api.clients import client_out
from rungwise.web.api.shapes import (
    MessageGiven,
    MessageOut,
    OneClientOut,
    OverrideGiven,
    UsualPainGiven,
    VersionGiven,
)
from rungwise.web.api.writes import Done, Key, once
from rungwise.web.http.auth import hashed

router = APIRouter(tags=["clients"])

Changing = Annotated[Caller, Depends(Needs("plans:write"))]
Act = Callable[[Session, datetime, Trainer, Situation], None]


@router.post("/clients/{client_id}/messages", status_code=201, response_model=MessageOut)
def write(
    called: Annotated[Caller, Depends(Needs("messages:write"))],
    client_id: Id,
    key: Key,
    given: MessageGiven,
) -> Response:
    """Write to the client, in the trainer's own words. It leaves by the practice's number."""

    def act(session: Session) -> Done:
        client = client_of(session, called.trainer, client_id)
        message = write_to_client(
            session,
            called.now,
            called.trainer,
            client,
            given.body,
            once=f"api:{called.token.id}:{hashed(key)[:32]}",
            at_night=given.at_night,
        )
        if message is None:
            raise ImpossibleValue("Idempotency-Key", key, "new: it was used more than a day ago")
        return Done(MessageOut.model_validate(message), client.id, 201)

    return once(called, key, f"write to client {client_id}", given.model_dump(), act)


@router.post("/clients/{client_id}/override", response_model=OneClientOut)
def override(
    called: Annotated[Caller, Depends(Needs("overrides:write"))],
    client_id: Id,
    key: Key,
    given: OverrideGiven,
) -> Response:
    """Place the client on another rung of their ladder, with a reason."""

    def place(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> None:
        check_second_look(situation, given.rung_key, meant=given.meant)
        act = resume if given.ends_rest and situation.resting else place_client
        act(session, now, trainer, situation, given.rung_key, given.reason)

    return act_on(called, client_id, key, given, "override", place)


@router.post("/clients/{client_id}/pause", response_model=OneClientOut)
def pause_texts(called: Changing, client_id: Id, key: Key, given: VersionGiven) -> Response:
    """No more texts of the day until somebody resumes them."""
    return act_on(called, client_id, key, given, "pause", pause)


@router.post("/clients/{client_id}/resume", response_model=OneClientOut)
def resume_texts(called: Changing, client_id: Id, key: Key, given: VersionGiven) -> Response:
    """Go on after a pause. A rest after a fall or pain is ended by an override or an alert."""
    return act_on(called, client_id, key, given, "resume", resume_paused)


@router.post("/clients/{client_id}/usual-pain", response_model=OneClientOut)
def usual_pain(called: Changing, client_id: Id, key: Key, given: UsualPainGiven) -> Response:
    """Record a pain of a bone, joint or muscle that is the client's normal.

    Told there and no worse it rests nobody and counts for no move up.
    """
    usual = UsualPain(given.place, given.score) if given.place is not None else None

    def change(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> None:
        set_usual_pain(session, now, trainer, situation, usual)

    return act_on(called, client_id, key, given, "usual pain of", change)


def act_on(
    called: Caller, client_id: int, key: str, given: VersionGiven, name: str, change: Act
) -> Response:
    """Do it once to the client of that version, and answer with how they stand then."""

    def act(session: Session) -> Done:
        situation = placed(session, called, client_id)
        check_version(situation.client, given.version)
        change(session, called.now, called.trainer, situation)
        session.flush()
        return Done(client_out(session, situation.client), client_id)

    return once(called, key, f"{name} client {client_id}", given.model_dump(), act)
