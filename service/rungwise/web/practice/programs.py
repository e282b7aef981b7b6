"""Other programs, for the practice lead: tokens they call with, and webhooks they are told by."""

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.carriers.hooks import check_address
from rungwise.coach.accounts.api_tokens import (
    LASTS_DAYS,
    SCOPES,
    NewToken,
    make_token,
    revoke_token,
    tokens_of,
    works,
)
from rungwise.coach.accounts.trainers import colleagues
from rungwise.coach.outbox.change_feed import TOPICS
from rungwise.coach.outbox.webhook_calls import GIVE_UP_AFTER, living_webhooks
from rungwise.coach.practice.webhooks import add_webhook, end_webhook, latest_calls, try_webhook
from rungwise.coach.record.access import require_lead
from rungwise.errors import ServiceError
from rungwise.web.api.problems import PREFIX
from rungwise.web.http.auth import Number, Signed, Visit, real_now
from rungwise.web.http.errors import status_of
from rungwise.web.ui.layout import framed

router = APIRouter()

CALLS_SHOWN = 12
ENDED_SHOWN = 5
TELLS = {
    "alert.opened": "alert opened",
    "alert.grew": "alert grew",
    "alert.handled": "alert handled",
    "alert.reopened": "handling taken back",
    "day.told": "day told",
    "move.decided": "move",
    "retest.recorded": "retest",
    "client.stopped": "texts stopped",
    "webhook.try": "try",
}
BECAME = {"waiting": "waits", "calling": "being called", "taken": "taken", "given_up": "given up"}


class TokenForm(BaseModel):
    name: str = Field(default="", max_length=200)
    trainer_id: Number = 0
    scopes: list[str] = Field(default=[], max_length=len(SCOPES))
    lasts_days: Number = LASTS_DAYS[1]


class HookForm(BaseModel):
    hook_address: str = Field(default="", max_length=1000)
    urgent_only: bool = False
    topics: list[str] = Field(default=[], max_length=len(TOPICS))


@dataclass(frozen=True, slots=True)
class Shown:
    """What was just made, shown this once, and what stands against what was asked for."""

    token: str = ""
    secret: str = ""
    told: str = ""
    hook_told: str = ""
    token_form: TokenForm | None = None
    hook_form: HookForm | None = None


@router.get("/practice/programs")
def programs(visit: Signed) -> Response:
    require_lead(visit.trainer)
    with visit.parts.store.read() as session:
        return _page(visit, session, Shown())


@router.get("/practice/programs/openapi.json")
def description(_visit: Signed, request: Request) -> Response:
    """The API's description, for whoever is signed in."""
    found: dict[str, Any] = request.app.state.api_document()
    return JSONResponse(found)


def _page(visit: Visit, session: Session, shown: Shown, status: int = 200) -> Response:
    now = real_now(visit.parts)
    people = [one.trainer for one in colleagues(session, visit.practice)]
    tokens = tokens_of(session, visit.practice.id)
    return framed(
        visit,
        session,
        "practice_programs.html",
        status,
        shown=shown,
        token_form=shown.token_form or TokenForm(),
        hook_form=shown.hook_form or HookForm(),
        tokens=[one for one in tokens if works(one, now)],
        ended=[one for one in tokens if not works(one, now)][:ENDED_SHOWN],
        people={one.id: one.name for one in people},
        trainers=[one for one in people if one.active],
        scopes=SCOPES,
        lasts_days=LASTS_DAYS,
        hooks=living_webhooks(session, visit.practice.id),
        calls=latest_calls(session, visit.practice.id, CALLS_SHOWN),
        tells=TELLS,
        topics=TOPICS,
        became=BECAME,
        give_up_hours=int(GIVE_UP_AFTER.total_seconds() // 3600),
        api=f"{visit.parts.settings.public_url}{PREFIX}",
    )


@router.post("/practice/programs/tokens")
def new_token(visit: Signed, form: Annotated[TokenForm, Form()]) -> Response:
    require_lead(visit.trainer)
    new = NewToken(form.name, form.trainer_id, form.scopes, form.lasts_days)
    try:
        with visit.parts.store.write() as session:
            token = make_token(session, real_now(visit.parts), visit.trainer, new)
    except ServiceError as refused:
        with visit.parts.store.read() as session:
            shown = Shown(told=str(refused), token_form=form)
            return _page(visit, session, shown, status_of(refused))
    with visit.parts.store.read() as session:
        return _page(visit, session, Shown(token=token))


@router.post("/practice/programs/tokens/{token_id}/revoke")
def end_token(visit: Signed, token_id: int) -> Response:
    with visit.parts.store.write() as session:
        revoke_token(session, real_now(visit.parts), visit.trainer, token_id)
    return RedirectResponse("/practice/programs", 303)


@router.post("/practice/programs/webhooks")
def new_webhook(visit: Signed, form: Annotated[HookForm, Form()]) -> Response:
    require_lead(visit.trainer)
    try:
        address = check_address(form.hook_address, private=visit.parts.settings.webhook_private)
        with visit.parts.store.write() as session:
            hook = add_webhook(
                session,
                visit.now,
                visit.trainer,
                address,
                urgent_only=form.urgent_only,
                topics=form.topics,
            )
            secret = hook.secret
    except ServiceError as refused:
        with visit.parts.store.read() as session:
            shown = Shown(hook_told=str(refused), hook_form=form)
            return _page(visit, session, shown, status_of(refused))
    with visit.parts.store.read() as session:
        return _page(visit, session, Shown(secret=secret))


@router.post("/practice/programs/webhooks/{webhook_id}/try")
def call_webhook(visit: Signed, webhook_id: int) -> Response:
    with visit.parts.store.write() as session:
        try_webhook(session, visit.now, visit.trainer, webhook_id)
    return RedirectResponse("/practice/programs#calls", 303)


@router.post("/practice/programs/webhooks/{webhook_id}/end")
def stop_webhook(visit: Signed, webhook_id: int) -> Response:
    with visit.parts.store.write() as session:
        end_webhook(session, visit.now, visit.trainer, webhook_id)
    return RedirectResponse("/practice/programs", 303)
