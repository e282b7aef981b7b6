"""The second step of signing in, and setting up a second factor."""

import logging
from typing import Annotated

import segno
from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, and_, col, select

from rungwise.coach.accounts import second_factor as factor
from rungwise.coach.accounts.passkeys import passkeys_of, site_of
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.parts import Parts
from rungwise.store.tables import Practice, SignIn, Trainer
from rungwise.web.account.account import own_password_or_why_not
from rungwise.web.http import sessions
from rungwise.web.http.auth import (
    FACTOR_PAGE,
    PartsHere,
    Signed,
    SignInFirst,
    Visit,
    hashed,
    local_path,
    real_now,
)
from rungwise.web.ui.layout import framed

log = logging.getLogger(__name__)
router = APIRouter()

WRONG = str(factor.WrongCode())


class CodeForm(BaseModel):
    """`code` from the app, or a recovery code; `password` where one's own is asked for again."""

    code: str = Field(default="", max_length=100)
    password: str = Field(default="", max_length=1000)
    next: str = Field(default="/", max_length=2000)
    csrf: str = Field(default="", max_length=200)


# --- signing in -----------------------------------------------------------------------------------


@router.get("/sign-in/code")
def code_page(request: Request, parts: PartsHere, next: str = "/") -> Response:
    return code_form(request, parts, next)


def half_way(request: Request, parts: Parts, session: Session) -> tuple[SignIn, Trainer]:
    """The browser whose password was right; SignInFirst when there is none, or not any more."""
    token = request.cookies.get(sessions.half_cookie(parts), "")
    rows = (
        select(SignIn, Trainer)
        .join(Trainer, col(Trainer.id) == col(SignIn.trainer_id))
        .where(
            SignIn.token_hash == hashed(token),
            col(SignIn.half).is_(True),
            col(SignIn.revoked_at).is_(None),
            SignIn.expires_at > real_now(parts),
            col(Trainer.active).is_(True),
        )
    )
    found = session.exec(rows).first() if token else None
    if found is None:
        raise SignInFirst("/")
    return found


def code_form(
    request: Request, parts: Parts, back_to: str, told: str = "", status: int = 200
) -> Response:
    with parts.store.read() as session:
        _, trainer = half_way(request, parts, session)
        offered = site_of(parts.settings.public_url) is not None
        passkeys = offered and bool(passkeys_of(session, trainer))
    values = {
        "next": local_path(back_to),
        "told": told,
        "app": trainer.factor_secret is not None,
        "passkeys": passkeys,
    }
    return sessions.page_before(request, parts, "sign_in_code.html", status, **values)


@router.post("/sign-in/code")
def sign_in_code(request: Request, parts: PartsHere, form: Annotated[CodeForm, Form()]) -> Response:
    sessions.check_before(request, form.csrf)
    now = real_now(parts)
    with parts.store.write() as session:
        half, trainer = half_way(request, parts, session)
        subject = sessions.trainer_subject("code", trainer)
        if not sessions.reserve_try(session, now, subject):
            return code_form(request, parts, form.next, sessions.SLOW_DOWN_INSIDE, 429)
        if not factor.passes(session, now, trainer, form.code):
            log.warning("a second factor was refused", extra={"trainer_id": trainer.id})
            return code_form(request, parts, form.next, WRONG, 401)
        sessions.forget_failures(session, subject)
        sessions.revoke(session, parts, col(SignIn.id) == half.id)
        token = sessions.begin(session, request, now, trainer)
        signed_in = trainer.id
    log.info("signed in", extra={"trainer_id": signed_in})
    return sessions.signed_in_answer(parts, token, form.next)


# --- one's own ------------------------------------------------------------------------------------


@router.get(FACTOR_PAGE)
def own_factor(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return factor_page(visit, session)


def factor_page(
    visit: Visit, session: Session, told: str = "", codes: list[str] | None = None
) -> Response:
    trainer = session.get_one(Trainer, visit.trainer.id)
    on = factor.has_factor(trainer)
    secret = "" if on else trainer.factor_secret or ""
    address = factor.address_of(trainer, visit.practice, secret) if secret else ""
    return framed(
        visit,
        session,
        "second_factor.html",
        400 if told else 200,
        on=on,
        since=trainer.factor_since,
        secret=" ".join(secret[place : place + 4] for place in range(0, len(secret), 4)),
        picture=qr_picture(address) if address else "",
        codes=codes or [],
        app=trainer.factor_secret is not None,
        passkeys=passkeys_of(session, trainer),
        offered=site_of(visit.parts.settings.public_url) is not None,
        codes_left=factor.codes_left(session, trainer),
        must=visit.practice.needs_factor and not on,
        told=told,
    )


def qr_picture(address: str) -> str:
    """The address as a QR code that an `img` shows: nothing of it leaves the page."""
    code = segno.make(address, error="m")
    return code.svg_data_uri(scale=5, border=3, light="#fff", dark="#000", xmldecl=False)


@router.post(f"{FACTOR_PAGE}/begin")
def begin(visit: Signed, form: Annotated[CodeForm, Form()]) -> Response:
    """With one's password, so that a browser left open cannot be used to lock its owner out."""
    told = own_password_or_why_not(visit, form.password)
    if told:
        with visit.parts.store.read() as session:
            return factor_page(visit, session, told)
    with visit.parts.store.write() as session:
        factor.begin(session, session.get_one(Trainer, visit.trainer.id))
    return RedirectResponse(FACTOR_PAGE, 303)


@router.post(f"{FACTOR_PAGE}/confirm")
def confirm(visit: Signed, form: Annotated[CodeForm, Form()]) -> Response:
    """The app works: turn it on, show the recovery codes once, end the other browsers."""
    return _with_code(visit, form, factor.confirm)


@router.post(f"{FACTOR_PAGE}/codes")
def codes(visit: Signed, form: Annotated[CodeForm, Form()]) -> Response:
    return _with_code(visit, form, factor.renew_codes)


def _with_code(visit: Visit, form: CodeForm, act: factor.Act) -> Response:
    now, subject = real_now(visit.parts), sessions.trainer_subject("code", visit.trainer)
    with visit.parts.store.write() as session:
        if not sessions.reserve_try(session, now, subject):
            return factor_page(visit, session, sessions.SLOW_DOWN_INSIDE)
        trainer = session.get_one(Trainer, visit.trainer.id)
        try:
            made = act(session, now, trainer, form.code)
        except factor.WrongCode:
            return factor_page(visit, session, WRONG)
        sessions.forget_failures(session, subject)
        others = and_(col(SignIn.trainer_id) == trainer.id, col(SignIn.id) != visit.sign_in.id)
        sessions.revoke(session, visit.parts, others)
        return factor_page(visit, session, codes=made)


@router.post(f"{FACTOR_PAGE}/remove")
def remove(visit: Signed, form: Annotated[CodeForm, Form()]) -> Response:
    told = own_password_or_why_not(visit, form.password)
    with visit.parts.store.write() as session:
        if told:
            return factor_page(visit, session, told)
        trainer = session.get_one(Trainer, visit.trainer.id)
        factor.remove(session, real_now(visit.parts), trainer, trainer)
    return RedirectResponse(FACTOR_PAGE, 303)


@router.post("/practice/second-factor")
def everybody(visit: Signed, needed: Annotated[bool, Form()] = False) -> Response:
    """Whether everybody of the practice must have a second factor."""
    require_lead(visit.trainer)
    with visit.parts.store.write() as session:
        practice = session.get_one(Practice, visit.practice.id)
        practice.needs_factor = needed
        session.add(practice)
        record(session, visit.now, visit.trainer, "second factor for all", needed=needed)
    return RedirectResponse("/practice/sign-ins", 303)
