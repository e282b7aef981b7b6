"""Signing in by an organisation's own sign-in (OpenID Connect)."""

import json
import logging
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse
from sqlmodel import col, select

from rungwise.carriers.openid import Begun, NotVouchedFor, OpenIdProvider, ProviderAway
from rungwise.coach.accounts.second_factor import has_factor
from rungwise.errors import NotFound
from rungwise.parts import Parts
from rungwise.store.tables import Trainer
from rungwise.web.account.account import sign_in_form
from rungwise.web.http import sessions
from rungwise.web.http.auth import PartsHere, cookie_name, local_path, real_now, same

log = logging.getLogger(__name__)
router = APIRouter()

TRY_LASTS = timedelta(minutes=10)


def _provider(request: Request) -> OpenIdProvider:
    found: OpenIdProvider | None = request.app.state.openid
    if found is None:
        raise NotFound("There is no such page, or it is not yours to see.")
    return found


def _cookie(parts: Parts) -> str:
    return f"{cookie_name(parts)}-organisation"


@router.get("/sign-in/organisation")
def begin(
    request: Request, parts: PartsHere, next: Annotated[str, Query(max_length=2000)] = "/"
) -> Response:
    """On to the organisation's sign-in; this browser keeps what it must bring back."""
    provider = _provider(request)
    try:
        begun = provider.begin()
    except ProviderAway as away:
        return sign_in_form(request, parts, next, told=str(away), status=502)
    answer = RedirectResponse(begun.address, 303)
    kept = json.dumps([begun.state, begun.nonce, begun.verifier, local_path(next)]).encode()
    held = urlsafe_b64encode(kept).decode()
    sessions.set_cookie(answer, parts, _cookie(parts), held, TRY_LASTS)
    return answer


@router.get("/sign-in/organisation/back")
def back(
    request: Request,
    parts: PartsHere,
    code: Annotated[str, Query(max_length=4000)] = "",
    state: Annotated[str, Query(max_length=400)] = "",
    iss: Annotated[str, Query(max_length=400)] = "",
) -> Response:
    """Signed in as the trainer of the address that the organisation has verified."""
    provider = _provider(request)
    begun, back_to = _begun(request, parts)
    try:
        # RFC 9207: an answer that names another issuer was meant for another's sign-in.
        if (
            not (code and begun.state)
            or not same(state, begun.state)
            or iss not in ("", provider.issuer)
        ):
            raise NotVouchedFor
        now = real_now(parts)
        email = provider.email_of(code, begun, int(now.timestamp()))
        with parts.store.write() as session:
            trainer = session.exec(
                select(Trainer).where(Trainer.email == email, col(Trainer.active).is_(True))
            ).first()
            if trainer is None:
                raise NotVouchedFor
            half = has_factor(trainer)
            token = sessions.begin(session, request, now, trainer, half=half)
    except (NotVouchedFor, ProviderAway) as refused:
        log.warning("a sign-in by the organisation was refused: %s", type(refused).__name__)
        status = 502 if isinstance(refused, ProviderAway) else 401
        answer = sign_in_form(request, parts, back_to, told=str(refused), status=status)
    else:
        log.info("signed in by the organisation", extra={"trainer_id": trainer.id})
        if half:
            answer = RedirectResponse("/sign-in/code", 303)
            name = sessions.half_cookie(parts)
            sessions.set_cookie(answer, parts, name, token, sessions.HALF_LASTS)
        else:
            answer = sessions.signed_in_answer(parts, token, back_to)
    answer.delete_cookie(_cookie(parts), secure=parts.settings.secure_cookies)
    return answer


def _begun(request: Request, parts: Parts) -> tuple[Begun, str]:
    """The try that this browser began, and where it goes on; one that fits nothing if there is
    none.
    """
    try:
        kept = urlsafe_b64decode(request.cookies.get(_cookie(parts), "").encode())
        state, nonce, verifier, back_to = json.loads(kept)
        return Begun("", str(state), str(nonce), str(verifier)), local_path(str(back_to))
    except (ValueError, TypeError):
        return Begun("", "", "", ""), "/"
