"""Signing in by an organisation's own sign-in (OpenID Connect), and linking it to one's account."""

import json
import logging
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field

from rungwise.carriers.openid import (
    Begun,
    NotVouchedFor,
    OpenIdProvider,
    ProviderAway,
    Vouched,
)
from rungwise.coach.accounts import organisation
from rungwise.coach.accounts.second_factor import has_factor
from rungwise.errors import NotFound, ServiceError
from rungwise.parts import Parts
from rungwise.store.tables import Trainer
from rungwise.web.account.account import account_page, own_password_or_why_not, sign_in_form
from rungwise.web.http import sessions
from rungwise.web.http.auth import (
    PartsHere,
    Signed,
    SignInFirst,
    Visit,
    cookie_name,
    local_path,
    real_now,
    same,
    signed_in,
)

log = logging.getLogger(__name__)
router = APIRouter()

TRY_LASTS = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Held:
    """What a browser keeps while it is away there. `links` is the form's token of the sign-in
    that wants the link; empty where somebody signs in.
    """

    begun: Begun
    back_to: str
    links: str


NONE = Begun("", "", "", "")


class OwnPassword(BaseModel):
    password: str = Field(default="", max_length=1000)
    csrf: str = Field(default="", max_length=200)


def _provider(request: Request) -> OpenIdProvider:
    found: OpenIdProvider | None = request.app.state.openid
    if found is None:
        raise NotFound("There is no such page, or it is not yours to see.")
    return found


def _cookie(parts: Parts) -> str:
    return f"{cookie_name(parts)}-organisation"


def _keep(answer: Response, parts: Parts, held: Held) -> Response:
    """The answer, by which this browser keeps what it must bring back."""
    begun = held.begun
    kept = json.dumps([begun.state, begun.nonce, begun.verifier, held.back_to, held.links])
    value = urlsafe_b64encode(kept.encode()).decode()
    sessions.set_cookie(answer, parts, _cookie(parts), value, TRY_LASTS)
    return answer


def _held(request: Request, parts: Parts) -> Held:
    """The try that this browser began; one that fits nothing if there is none."""
    try:
        kept = urlsafe_b64decode(request.cookies.get(_cookie(parts), "").encode())
        state, nonce, verifier, back_to, links = map(str, json.loads(kept))
    except (ValueError, TypeError):
        return Held(NONE, "/", "")
    return Held(Begun("", state, nonce, verifier), local_path(back_to), links)


@router.get("/sign-in/organisation")
def begin(
    request: Request, parts: PartsHere, next: Annotated[str, Query(max_length=2000)] = "/"
) -> Response:
    """On to the organisation's sign-in."""
    provider = _provider(request)
    try:
        begun = provider.begin()
    except ProviderAway as away:
        return sign_in_form(request, parts, next, told=str(away), status=502)
    return _keep(RedirectResponse(begun.address, 303), parts, Held(begun, local_path(next), ""))


@router.get("/sign-in/organisation/back")
def back(
    request: Request,
    parts: PartsHere,
    code: Annotated[str, Query(max_length=4000)] = "",
    state: Annotated[str, Query(max_length=400)] = "",
    iss: Annotated[str, Query(max_length=400)] = "",
) -> Response:
    """Back from there: signed in, or linked if that is what this browser went for."""
    held = _held(request, parts)
    provider = _provider(request)
    visit = _linking(request, parts, held)
    try:
        # RFC 9207: an answer that names another issuer was meant for another's sign-in.
        begun = held.begun.state
        if not (code and begun) or not same(state, begun) or iss not in ("", provider.issuer):
            raise NotVouchedFor
        vouched = provider.who_is(code, held.begun, int(real_now(parts).timestamp()))
        answer = _link(visit, vouched) if visit else _sign_in(request, parts, vouched, held)
    except ServiceError as refused:
        log.warning("a sign-in by the organisation was refused: %s", type(refused).__name__)
        answer = _refused(request, parts, held, visit, refused)
    answer.delete_cookie(_cookie(parts), secure=parts.settings.secure_cookies)
    return answer


def _linking(request: Request, parts: Parts, held: Held) -> Visit | None:
    """The signed-in browser that went there to link. A link that it did not ask for itself, with
    the token of its own forms, is none: it would let another's sign-in open this account.
    """
    if not held.links:
        return None
    try:
        visit = signed_in(request, parts, "")
    except SignInFirst:
        raise SignInFirst("/account") from None
    if not same(held.links, visit.csrf):
        raise SignInFirst("/account")
    return visit


def _sign_in(request: Request, parts: Parts, vouched: Vouched, held: Held) -> Response:
    now = real_now(parts)
    with parts.store.write() as session:
        trainer = organisation.whose_account(session, now, vouched.issuer, vouched.subject)
        half = has_factor(trainer)
        token = sessions.begin(session, request, now, trainer, half=half)
    log.info("signed in by the organisation", extra={"trainer_id": trainer.id})
    if not half:
        return sessions.signed_in_answer(parts, token, held.back_to)
    answer = RedirectResponse("/sign-in/code", 303)
    sessions.set_cookie(answer, parts, sessions.half_cookie(parts), token, sessions.HALF_LASTS)
    return answer


def _link(visit: Visit, vouched: Vouched) -> Response:
    with visit.parts.store.write() as session:
        trainer = session.get_one(Trainer, visit.trainer.id)
        organisation.link(
            session, real_now(visit.parts), trainer, vouched.issuer, vouched.subject, vouched.email
        )
    return RedirectResponse("/account", 303)


def _refused(
    request: Request, parts: Parts, held: Held, visit: Visit | None, refused: ServiceError
) -> Response:
    if visit is not None:
        with parts.store.read() as session:
            return account_page(visit, session, str(refused))
    status = 502 if isinstance(refused, ProviderAway) else 401
    return sign_in_form(request, parts, held.back_to, told=str(refused), status=status)


# --- one's own ------------------------------------------------------------------------------------


@router.post("/account/organisation/link")
def link(request: Request, visit: Signed, form: Annotated[OwnPassword, Form()]) -> Response:
    """With one's password, so that a browser left open lets nobody in for good.

    The way there is a link: browsers let no form of ours lead to another site.
    """
    provider = _provider(request)
    told = own_password_or_why_not(visit, form.password)
    begun = NONE
    if not told:
        try:
            begun = provider.begin()
        except ProviderAway as away:
            told = str(away)
    with visit.parts.store.read() as session:
        answer = account_page(visit, session, told, begun.address)
    return _keep(answer, visit.parts, Held(begun, "/account", visit.csrf))


@router.post("/account/organisation/unlink")
def unlink(visit: Signed, form: Annotated[OwnPassword, Form()]) -> Response:
    told = own_password_or_why_not(visit, form.password)
    with visit.parts.store.write() as session:
        if told:
            return account_page(visit, session, told)
        trainer = session.get_one(Trainer, visit.trainer.id)
        organisation.unlink(session, real_now(visit.parts), trainer)
    return RedirectResponse("/account", 303)
