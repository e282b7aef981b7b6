"""Signing in and out: throttled, remembered by a hashed token, revocable."""

import secrets
from datetime import datetime, timedelta
from functools import cache
from hashlib import sha256
from typing import Annotated

from argon2.exceptions import InvalidHashError, VerificationError
from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlalchemy import ColumnElement, delete, update
from sqlmodel import Session, and_, col, func, select

from service.coach.people import hasher
from service.errors import NotFound
from service.parts import Parts
from service.store.tables import SignIn, SignInFailure, Trainer
from service.web.frame import framed
from service.web.pages import page
from service.web.visit import (
    NotFromOurForm,
    PartsHere,
    Signed,
    Visit,
    cookie_name,
    find_sign_in,
    hashed,
    local_path,
    real_now,
    same,
)

router = APIRouter()

LASTS = timedelta(hours=12)
COUNTED_FOR = timedelta(minutes=15)
MOST_BY_ACCOUNT = 5
MOST_BY_ADDRESS = 25
KEPT_FOR = timedelta(days=1)
BEFORE_COOKIE = "rungwise-before"
# Marks in the user agent's own words, most telling first: each name also stands in others'.
BROWSERS = (("Edg/", "Edge"), ("Firefox/", "Firefox"), ("Chrome/", "Chrome"), ("Safari/", "Safari"))
MACHINES = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("Linux", "Linux"),
)
WRONG = "The e-mail address and password don't belong together. Check both and try again."
SLOW_DOWN = "Too many tries. Wait a quarter of an hour, or ask the practice lead."


class SignInForm(BaseModel):
    email: str = Field(default="", max_length=320)
    # Longer ones are refused before they are hashed.
    password: str = Field(default="", max_length=1000)
    next: str = Field(default="/", max_length=2000)
    csrf: str = Field(default="", max_length=200)


@router.get("/sign-in")
def sign_in_page(request: Request, parts: PartsHere, next: str = "/") -> Response:
    with parts.store.read() as session:
        token = request.cookies.get(cookie_name(parts), "")
        if find_sign_in(session, token, real_now(parts)) is not None:
            return RedirectResponse(local_path(next), 303)
    return _form(request, parts, next)


def _form(
    request: Request, parts: Parts, back_to: str, email: str = "", told: str = "", status: int = 200
) -> Response:
    """The sign-in form. Its CSRF token is compared with a cookie, for there is no sign-in yet."""
    before = request.cookies.get(BEFORE_COOKIE) or secrets.token_urlsafe(24)
    answer = page(
        "sign_in.html",
        status,
        csrf=before,
        next=local_path(back_to),
        email=email,
        told=told,
        is_demo=parts.is_demo,
    )
    _set_cookie(answer, parts, BEFORE_COOKIE, before, timedelta(hours=2))
    return answer


@router.post("/sign-in")
def sign_in(request: Request, parts: PartsHere, form: Annotated[SignInForm, Form()]) -> Response:
    before = request.cookies.get(BEFORE_COOKIE, "")
    if not before or not same(form.csrf, before):
        raise NotFromOurForm
    now = real_now(parts)
    email = form.email.strip().lower()
    subjects = _subjects(request, email)
    with parts.store.read() as session:
        if _too_many(session, now, subjects):
            return _form(request, parts, form.next, form.email, SLOW_DOWN, 429)
        trainer = session.exec(
            select(Trainer).where(Trainer.email == email, col(Trainer.active).is_(True))
        ).first()
    # Outside any transaction, for it takes long on purpose; and as long without such an account.
    right = _verified(trainer.password_hash if trainer else _nobodys_hash(), form.password)
    if trainer is None or not right:
        with parts.store.write() as session:
            _note_failure(session, now, subjects)
        return _form(request, parts, form.next, form.email, WRONG, 401)
    token = secrets.token_urlsafe(32)
    with parts.store.write() as session:
        browser = browser_name(request.headers.get("user-agent", ""))
        _remember(session, now, trainer, token, subjects["account"], browser)
        if hasher().check_needs_rehash(trainer.password_hash):
            session.get_one(Trainer, trainer.id).password_hash = hasher().hash(form.password)
    answer = RedirectResponse(local_path(form.next), 303)
    _set_cookie(answer, parts, cookie_name(parts), token, LASTS)
    answer.delete_cookie(BEFORE_COOKIE)
    return answer


def _set_cookie(answer: Response, parts: Parts, name: str, value: str, lasts: timedelta) -> None:
    answer.set_cookie(
        name,
        value,
        max_age=int(lasts.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=parts.settings.secure_cookies,
    )


@cache
def _nobodys_hash() -> str:
    return hasher().hash(secrets.token_urlsafe(24))


def _verified(password_hash: str, password: str) -> bool:
    try:
        return hasher().verify(password_hash, password)
    except (VerificationError, InvalidHashError):
        return False


def _subjects(request: Request, email: str) -> dict[str, str]:
    """Who is slowed down after failures. Hashed: people type passwords into the wrong field."""
    address = request.client.host if request.client else "unknown"
    return {
        "account": f"account:{sha256(email.encode()).hexdigest()[:32]}",
        "address": f"address:{address}",
    }


def browser_name(user_agent: str) -> str:
    """The browser and machine in a few words, by which a trainer knows their own sign-ins."""
    browser = next((name for mark, name in BROWSERS if mark in user_agent), "another browser")
    machine = next((name for mark, name in MACHINES if mark in user_agent), "another machine")
    return f"{browser} on {machine}"


def _too_many(session: Session, now: datetime, subjects: dict[str, str]) -> bool:
    for name, most in (("account", MOST_BY_ACCOUNT), ("address", MOST_BY_ADDRESS)):
        rows = select(func.count(col(SignInFailure.id))).where(
            SignInFailure.subject == subjects[name], SignInFailure.at > now - COUNTED_FOR
        )
        if session.exec(rows).one() >= most:
            return True
    return False


def _note_failure(session: Session, now: datetime, subjects: dict[str, str]) -> None:
    session.execute(delete(SignInFailure).where(col(SignInFailure.at) < now - KEPT_FOR))
    for subject in subjects.values():
        session.add(SignInFailure(subject=subject, at=now))


def _remember(
    session: Session, now: datetime, trainer: Trainer, token: str, account: str, browser: str
) -> None:
    session.execute(delete(SignInFailure).where(col(SignInFailure.subject) == account))
    session.execute(delete(SignIn).where(col(SignIn.expires_at) < now - KEPT_FOR))
    session.add(
        SignIn(
            trainer_id=trainer.id,
            token_hash=hashed(token),
            csrf=secrets.token_urlsafe(24),
            created_at=now,
            expires_at=now + LASTS,
            browser=browser,
        )
    )


@router.post("/sign-out")
def sign_out(visit: Signed) -> Response:
    _revoke(visit, col(SignIn.id) == visit.sign_in.id)
    return _signed_out(visit)


@router.post("/sign-out-everywhere")
def sign_out_everywhere(visit: Signed) -> Response:
    _revoke(visit, col(SignIn.trainer_id) == visit.trainer.id)
    return _signed_out(visit)


@router.get("/account")
def account(visit: Signed) -> Response:
    now = real_now(visit.parts)
    rows = (
        select(SignIn)
        .where(
            SignIn.trainer_id == visit.trainer.id,
            col(SignIn.revoked_at).is_(None),
            SignIn.expires_at > now,
        )
        .order_by(col(SignIn.created_at).desc())
    )
    with visit.parts.store.read() as session:
        sign_ins = session.exec(rows).all()
        return framed(visit, session, "account.html", sign_ins=sign_ins)


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(visit: Signed, sign_in_id: int) -> Response:
    """End one of one's own sign-ins; another trainer's is not found."""
    mine = col(SignIn.trainer_id) == visit.trainer.id
    if _revoke(visit, and_(col(SignIn.id) == sign_in_id, mine)) == 0:
        raise NotFound("You have no such sign-in.")
    return RedirectResponse("/account", 303)


def _revoke(visit: Visit, which: ColumnElement[bool]) -> int:
    """End the living sign-ins that meet the condition; how many there were."""
    ended = update(SignIn).where(which, col(SignIn.revoked_at).is_(None))
    with visit.parts.store.write() as session:
        done = session.execute(ended.values(revoked_at=real_now(visit.parts)))
        return int(done.rowcount)  # type: ignore[attr-defined]  # an UPDATE always has a count


def _signed_out(visit: Visit) -> Response:
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(cookie_name(visit.parts), secure=visit.parts.settings.secure_cookies)
    return answer
