"""Passkeys: signing in with one, alone or after the password, and one's own."""

import logging
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import PlainTextResponse, RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, and_, col

from rungwise.coach.accounts.passkeys import (
    PasskeyRefused,
    Site,
    add_passkey,
    options_to_add,
    options_to_sign_in,
    own_passkey,
    remove_passkey,
    signs_in,
    site_of,
)
from rungwise.errors import NotFound, ServiceError
from rungwise.parts import Parts
from rungwise.store.tables import SignIn, Trainer
from rungwise.web.account.account import own_password_or_why_not, sign_in_form
from rungwise.web.account.second_factor import code_form, factor_page, half_way
from rungwise.web.http import sessions
from rungwise.web.http.auth import FACTOR_PAGE, PartsHere, Signed, SignInFirst, Visit, real_now

log = logging.getLogger(__name__)
router = APIRouter()

PASSKEYS = "/account/passkeys"


class PasskeyForm(BaseModel):
    """`credential` is the browser's answer, as JSON."""

    credential: str = Field(default="", max_length=20_000)
    name: str = Field(default="", max_length=200)
    password: str = Field(default="", max_length=1000)
    next: str = Field(default="/", max_length=2000)
    csrf: str = Field(default="", max_length=200)


def _site(parts: Parts) -> Site:
    site = site_of(parts.settings.public_url)
    if site is None:
        raise NotFound("Passkeys are not offered here.")
    return site


# --- signing in -----------------------------------------------------------------------------------


def _half(request: Request, parts: Parts, session: Session) -> tuple[SignIn, Trainer] | None:
    try:
        return half_way(request, parts, session)
    except SignInFirst:
        return None


@router.post("/sign-in/passkey/options")
def asked(request: Request, parts: PartsHere, form: Annotated[PasskeyForm, Form()]) -> Response:
    """What the browser needs to sign in: for whoever gave a password, or for anybody."""
    sessions.check_before(request, form.csrf)
    site, now = _site(parts), real_now(parts)
    with parts.store.write() as session:
        # Counted whatever comes of it, and apart from passwords.
        subject = f"{sessions.address_subject(session, request)}:passkey"
        if not sessions.reserve_try(session, now, subject):
            return PlainTextResponse(sessions.SLOW_DOWN_INSIDE, 429)
        half = _half(request, parts, session)
        trainer = half[1] if half is not None else None
        return _json(options_to_sign_in(session, now, trainer, site, form.csrf))


def _json(options: str) -> Response:
    return Response(options, media_type="application/json")


@router.post("/sign-in/passkey")
def sign_in(request: Request, parts: PartsHere, form: Annotated[PasskeyForm, Form()]) -> Response:
    """Signed in, if the passkey is right; what was wrong is counted for the address."""
    sessions.check_before(request, form.csrf)
    site, now = _site(parts), real_now(parts)
    with parts.store.write() as session:
        half = _half(request, parts, session)
        try:
            with session.begin_nested():
                trainer = signs_in(
                    session,
                    now,
                    site,
                    form.csrf,
                    form.credential,
                    half=half[1] if half is not None else None,
                )
        except PasskeyRefused as refused:
            log.warning("a passkey was refused")
            if half is not None:
                return code_form(request, parts, form.next, str(refused), 401)
            return sign_in_form(request, parts, form.next, told=str(refused), status=401)
        if half is not None:
            sessions.revoke(session, parts, col(SignIn.id) == half[0].id)
        token = sessions.begin(session, request, now, trainer)
    log.info("signed in by passkey", extra={"trainer_id": trainer.id})
    answer = sessions.signed_in_answer(parts, token, form.next)
    sessions.remember_browser(answer, parts, trainer)
    return answer


# --- one's own ------------------------------------------------------------------------------------


@router.post(f"{PASSKEYS}/options")
def asked_to_add(visit: Signed, form: Annotated[PasskeyForm, Form()]) -> Response:
    """With one's password, so that a browser left open gets nobody in for good."""
    site = _site(visit.parts)
    told = own_password_or_why_not(visit, form.password)
    if told:
        return PlainTextResponse(told, 400)
    with visit.parts.store.write() as session:
        trainer = session.get_one(Trainer, visit.trainer.id)
        try:
            options = options_to_add(session, real_now(visit.parts), trainer, site, _holder(visit))
        except ServiceError as refused:
            return PlainTextResponse(str(refused), 400)
    return _json(options)


def _holder(visit: Visit) -> str:
    return f"sign-in {visit.sign_in.id}"


@router.post(PASSKEYS)
def add(visit: Signed, form: Annotated[PasskeyForm, Form()]) -> Response:
    site, now = _site(visit.parts), real_now(visit.parts)
    with visit.parts.store.write() as session:
        trainer = session.get_one(Trainer, visit.trainer.id)
        try:
            with session.begin_nested():
                codes = add_passkey(
                    session, now, trainer, site, _holder(visit), form.credential, form.name
                )
        except ServiceError as refused:
            return factor_page(visit, session, str(refused))
        others = and_(col(SignIn.trainer_id) == trainer.id, col(SignIn.id) != visit.sign_in.id)
        sessions.revoke(session, visit.parts, others)
        session.flush()
        return factor_page(visit, session, codes=codes)


@router.post(f"{PASSKEYS}/{{passkey_id}}/remove")
def remove(visit: Signed, passkey_id: int, form: Annotated[PasskeyForm, Form()]) -> Response:
    with visit.parts.store.read() as session:
        own_passkey(session, visit.trainer, passkey_id)
    told = own_password_or_why_not(visit, form.password)
    with visit.parts.store.write() as session:
        if told:
            return factor_page(visit, session, told)
        trainer = session.get_one(Trainer, visit.trainer.id)
        remove_passkey(session, real_now(visit.parts), trainer, passkey_id)
    return RedirectResponse(FACTOR_PAGE, 303)
