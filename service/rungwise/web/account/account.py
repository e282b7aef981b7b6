"""Signing in and out, one's own sign-ins, and one's password."""

import logging
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, and_, col, select

from rungwise.carriers.email import mail_server
from rungwise.carriers.openid import is_offered
from rungwise.coach.accounts.invitations import change_password
from rungwise.coach.accounts.organisation import linked_of
from rungwise.coach.accounts.passkeys import site_of
from rungwise.coach.accounts.passwords import (
    PasswordRefused,
    hash_of_password,
    hasher,
    nobodys_hash,
    verified,
)
from rungwise.coach.accounts.second_factor import codes_left, has_factor
from rungwise.errors import NotFound
from rungwise.parts import Parts
from rungwise.store.tables import SignIn, Trainer
from rungwise.web.http import sessions
from rungwise.web.http.auth import (
    PartsHere,
    Signed,
    Visit,
    alive,
    cookie_name,
    find_sign_in,
    idle_of,
    local_path,
    real_now,
)
from rungwise.web.http.sessions import SLOW_DOWN, SLOW_DOWN_INSIDE
from rungwise.web.ui.layout import framed

log = logging.getLogger(__name__)
router = APIRouter()

WRONG = "The e-mail address and password don't belong together. Check both and try again."
NOT_YOURS = "This is not your password now. Check it and try again."


class SignInForm(BaseModel):
    email: str = Field(default="", max_length=320)
    # Longer ones are refused before they are hashed.
    password: str = Field(default="", max_length=1000)
    next: str = Field(default="/", max_length=2000)
    csrf: str = Field(default="", max_length=200)


class PasswordForm(BaseModel):
    current: str = Field(default="", max_length=1000)
    password: str = Field(default="", max_length=1000)


@router.get("/sign-in")
def sign_in_page(request: Request, parts: PartsHere, next: str = "/") -> Response:
    with parts.store.read() as session:
        token = request.cookies.get(cookie_name(parts), "")
        if find_sign_in(session, token, real_now(parts), idle_of(parts)) is not None:
            return RedirectResponse(local_path(next), 303)
    return sign_in_form(request, parts, next)


def sign_in_form(
    request: Request, parts: Parts, back_to: str, email: str = "", told: str = "", status: int = 200
) -> Response:
    return sessions.page_before(
        request,
        parts,
        "sign_in.html",
        status,
        next=local_path(back_to),
        email=email,
        told=told,
        is_demo=parts.is_demo,
        mails=mail_server(parts.settings) is not None,
        organisation=organisation_of(parts),
        passkeys=site_of(parts.settings.public_url) is not None,
    )


def organisation_of(parts: Parts) -> str:
    """What the organisation's own sign-in is called; empty where there is none."""
    return parts.settings.openid_name if is_offered(parts.settings) else ""


@router.post("/sign-in")
def sign_in(request: Request, parts: PartsHere, form: Annotated[SignInForm, Form()]) -> Response:
    sessions.check_before(request, form.csrf)
    now = real_now(parts)
    email = form.email.strip().lower()
    with parts.store.write() as session:
        trainer = session.exec(
            select(Trainer).where(Trainer.email == email, col(Trainer.active).is_(True))
        ).first()
        counted = sessions.counted_as(session, request, email, trainer)
        may_try = sessions.reserve_try(session, now, *counted)
    if not may_try:
        log.warning("a sign-in was slowed down", extra=_who(trainer))
        return sign_in_form(request, parts, form.next, form.email, SLOW_DOWN, 429)
    # Outside any transaction, for it takes long on purpose; and as long without such an account.
    right = verified(trainer.password_hash if trainer else nobodys_hash(), form.password)
    if trainer is None or not right:
        log.warning("a sign-in was refused", extra=_who(trainer))
        return sign_in_form(request, parts, form.next, form.email, WRONG, 401)
    half = has_factor(trainer)
    outdated = hasher().is_outdated(trainer.password_hash)
    renewed = hash_of_password(form.password) if outdated else None
    with parts.store.write() as session:
        account, *others = counted
        sessions.forget_failures(session, account)
        sessions.forget_try(session, now, *others)
        token = sessions.begin(session, request, now, trainer, half=half)
        if renewed is not None:
            trainer = session.get_one(Trainer, trainer.id)
            trainer.password_hash = renewed
    log.info("half signed in" if half else "signed in", extra=_who(trainer))
    if half:
        answer: Response = RedirectResponse("/sign-in/code", 303)
        sessions.set_cookie(answer, parts, sessions.half_cookie(parts), token, sessions.HALF_LASTS)
    else:
        answer = sessions.signed_in_answer(parts, token, form.next)
    sessions.remember_browser(answer, parts, trainer)
    return answer


def _who(trainer: Trainer | None) -> dict[str, int]:
    """For the log: whose account it is, where there is one; never what was typed."""
    return {} if trainer is None else {"trainer_id": trainer.id}


@router.post("/sign-out")
def sign_out(visit: Signed) -> Response:
    with visit.parts.store.write() as session:
        sessions.revoke(session, visit.parts, col(SignIn.id) == visit.sign_in.id)
    log.info("signed out", extra=_who(visit.trainer))
    return sessions.signed_out_answer(visit.parts)


@router.post("/sign-out-everywhere")
def sign_out_everywhere(visit: Signed) -> Response:
    with visit.parts.store.write() as session:
        sessions.revoke(session, visit.parts, col(SignIn.trainer_id) == visit.trainer.id)
    log.info("signed out everywhere", extra=_who(visit.trainer))
    return sessions.signed_out_answer(visit.parts)


@router.get("/account")
def account(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return account_page(visit, session)


def account_page(visit: Visit, session: Session, told: str = "", onward: str = "") -> Response:
    """One's own page; `told` says why something was not done, `onward` leads to the organisation
    that is to be linked.
    """
    rows = (
        select(SignIn)
        .where(
            SignIn.trainer_id == visit.trainer.id,
            alive(real_now(visit.parts), idle_of(visit.parts)),
            col(SignIn.half).is_(False),
        )
        .order_by(col(SignIn.created_at).desc())
    )
    return framed(
        visit,
        session,
        "account.html",
        400 if told else 200,
        sign_ins=session.exec(rows).all(),
        factor=has_factor(visit.trainer),
        codes_left=codes_left(session, visit.trainer),
        organisation=organisation_of(visit.parts),
        linked=linked_of(session, visit.trainer),
        onward=onward,
        idle_minutes=visit.parts.settings.sign_in_idle_minutes,
        told=told,
    )


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(visit: Signed, sign_in_id: int) -> Response:
    """End one of one's own sign-ins; another trainer's is not found."""
    mine = and_(col(SignIn.id) == sign_in_id, col(SignIn.trainer_id) == visit.trainer.id)
    with visit.parts.store.write() as session:
        if sessions.revoke(session, visit.parts, mine) == 0:
            raise NotFound("You have no such sign-in.")
    return RedirectResponse("/account", 303)


@router.post("/account/password")
def new_password(
    visit: Signed, request: Request, form: Annotated[PasswordForm, Form()]
) -> Response:
    """A new password for who knows the old one; every other browser is signed out."""
    told = own_password_or_why_not(visit, form.current)
    if not told:
        try:
            with visit.parts.store.write() as session:
                now = real_now(visit.parts)
                trainer = session.get_one(Trainer, visit.trainer.id)
                change_password(session, now, trainer, form.password)
                token = sessions.begin(session, request, now, trainer)
            answer = sessions.signed_in_answer(visit.parts, token, "/account")
            sessions.remember_browser(answer, visit.parts, trainer)
            return answer
        except PasswordRefused as refused:
            told = str(refused)
    with visit.parts.store.read() as session:
        return account_page(visit, session, told)


def own_password_or_why_not(visit: Visit, given: str) -> str:
    """Empty when it is their password. Counted, so that an open browser is no way to guess it."""
    now, subject = real_now(visit.parts), sessions.trainer_subject("password", visit.trainer)
    with visit.parts.store.write() as session:
        if not sessions.reserve_try(session, now, subject):
            return SLOW_DOWN_INSIDE
    if not verified(visit.trainer.password_hash, given):
        log.warning("a signed-in browser gave a wrong password", extra=_who(visit.trainer))
        return NOT_YOURS
    with visit.parts.store.write() as session:
        sessions.forget_failures(session, subject)
    return ""
