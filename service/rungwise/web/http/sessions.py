"""Signed-in browsers: their cookies, how often one may be wrong, and what ends them."""

import hmac
import secrets
from datetime import datetime, timedelta
from hashlib import sha256

from fastapi import Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy import ColumnElement, delete, update
from sqlmodel import Session, col, func, select

from rungwise.parts import Parts
from rungwise.store.database import one_at_a_time
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.sealing.crypto import blind
from rungwise.store.tables import SignIn, SignInFailure, Trainer
from rungwise.web.callbacks.routes import parts_of
from rungwise.web.http.auth import NotFromOurForm, cookie_name, hashed, local_path, real_now, same
from rungwise.web.ui.templating import page

HALF_LASTS = timedelta(minutes=10)
COUNTED_FOR = timedelta(minutes=15)
MOST_BY_ACCOUNT = 5
MOST_BY_ADDRESS = 25
KEPT_FOR = timedelta(days=1)
BEFORE_LASTS = timedelta(hours=2)
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
SLOW_DOWN = (
    "Too many tries lately, by you or by somebody else. Wait a quarter of an hour, use a browser "
    "that has signed in here before, or choose a new password by a link, which works at once."
)
SLOW_DOWN_INSIDE = "Too many tries lately. Wait a quarter of an hour and try again."
KNOWN_FOR = timedelta(days=400)


def browser_name(user_agent: str) -> str:
    """The browser and machine in a few words, by which a trainer knows their own sign-ins."""
    browser = next((name for mark, name in BROWSERS if mark in user_agent), "another browser")
    machine = next((name for mark, name in MACHINES if mark in user_agent), "another machine")
    return f"{browser} on {machine}"


# --- forms before there is a sign-in --------------------------------------------------------------


def page_before(
    request: Request, parts: Parts, template: str, status: int = 200, **values: object
) -> Response:
    """A page before there is a sign-in, whose form carries the token that its cookie holds.

    A page opened keeps the token, for another tab may have it; one that answers a form has a new.
    """
    kept = request.cookies.get(before_cookie(parts)) if request.method == "GET" else None
    token = kept or secrets.token_urlsafe(24)
    answer = page(template, status, csrf=token, **values)
    set_cookie(answer, parts, before_cookie(parts), token, BEFORE_LASTS)
    return answer


def before_cookie(parts: Parts) -> str:
    return f"{cookie_name(parts)}-before"


def check_before(request: Request, given: str) -> None:
    """NotFromOurForm unless the form's token is its cookie's: there is no sign-in to hold it."""
    cookie = request.cookies.get(before_cookie(parts_of(request)), "")
    if not cookie or not same(given, cookie):
        raise NotFromOurForm


def set_cookie(answer: Response, parts: Parts, name: str, value: str, lasts: timedelta) -> None:
    answer.set_cookie(
        name,
        value,
        max_age=int(lasts.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=parts.settings.secure_cookies,
    )


# --- how often one may be wrong -------------------------------------------------------------------


def account_subject(session: Session, email: str) -> str:
    """An account as it is counted. Hashed: people type passwords into the wrong field."""
    return f"account:{blind(session, sha256(email.encode()).hexdigest()[:32])}"


def address_subject(session: Session, request: Request) -> str:
    return f"address:{blind(session, request.client.host if request.client else 'unknown')}"


def trainer_subject(kind: str, trainer: Trainer) -> str:
    """A trainer's tries at something else than the password: `kind` code, or password once in."""
    return f"{kind}:{trainer.id}"


def too_many(session: Session, now: datetime, *subjects: str) -> bool:
    """Whether any of the subjects was wrong too often lately."""
    for subject in subjects:
        most = MOST_BY_ADDRESS if subject.startswith("address:") else MOST_BY_ACCOUNT
        rows = select(func.count(col(SignInFailure.id))).where(
            SignInFailure.subject == subject, SignInFailure.at > now - COUNTED_FOR
        )
        if session.exec(rows).one() >= most:
            return True
    return False


def reserve_try(session: Session, now: datetime, *subjects: str) -> bool:
    """Count a try as wrong before it is looked at; False if there were too many already.

    So tries made at once are counted as those made one after the other. A right one is taken out
    by `forget_failures` and `forget_try`.
    """
    for subject in sorted(subjects):
        one_at_a_time(session, subject)
    if too_many(session, now, *subjects):
        return False
    session.execute(delete(SignInFailure).where(col(SignInFailure.at) < now - KEPT_FOR))
    session.add_all(SignInFailure(subject=subject, at=now) for subject in subjects)
    return True


def forget_try(session: Session, now: datetime, *subjects: str) -> None:
    """Take back one try that was counted at `now`; earlier ones still count."""
    for subject in subjects:
        same = (SignInFailure.subject == subject, SignInFailure.at == now)
        counted = session.exec(select(SignInFailure).where(*same).limit(1)).first()
        if counted is not None:
            session.delete(counted)


def forget_failures(session: Session, *subjects: str) -> None:
    session.execute(delete(SignInFailure).where(col(SignInFailure.subject).in_(subjects)))


# --- beginning and ending -------------------------------------------------------------------------


def lasts(parts: Parts) -> timedelta:
    """How long a sign-in lives, however much it is used."""
    return timedelta(hours=parts.settings.sign_in_hours)


def begin(
    session: Session, request: Request, now: datetime, trainer: Trainer, *, half: bool = False
) -> str:
    """A sign-in for this browser; gives its cookie's value. `half` opens only the second step."""
    token = secrets.token_urlsafe(32)
    session.execute(delete(SignIn).where(col(SignIn.expires_at) < now - KEPT_FOR))
    session.add(
        SignIn(
            trainer_id=trainer.id,
            token_hash=hashed(token),
            csrf=secrets.token_urlsafe(24),
            created_at=now,
            expires_at=now + (HALF_LASTS if half else lasts(parts_of(request))),
            browser=browser_name(request.headers.get("user-agent", "")),
            half=half,
        )
    )
    return token


def signed_in_answer(parts: Parts, token: str, back_to: str) -> Response:
    """On to the page that was asked for, with the sign-in's cookie."""
    answer = RedirectResponse(local_path(back_to), 303)
    set_cookie(answer, parts, cookie_name(parts), token, lasts(parts))
    answer.delete_cookie(before_cookie(parts), secure=parts.settings.secure_cookies)
    answer.delete_cookie(half_cookie(parts), secure=parts.settings.secure_cookies)
    return answer


# --- browsers known before ------------------------------------------------------------------------


def known_cookie(parts: Parts) -> str:
    return f"{cookie_name(parts)}-known"


def known_value(trainer: Trainer) -> str:
    """What a browser keeps that has signed this trainer in; another after a new password.

    It opens nothing. It lets the browser's tries be counted apart from everybody else's.
    """
    signed = hmac.new(trainer.password_hash.encode(), b"known browser", sha256).hexdigest()
    return f"{trainer.id}.{signed}"


def remember_browser(answer: Response, parts: Parts, trainer: Trainer) -> None:
    set_cookie(answer, parts, known_cookie(parts), known_value(trainer), KNOWN_FOR)


def counted_as(
    session: Session, request: Request, email: str, trainer: Trainer | None
) -> tuple[str, ...]:
    """By which subjects a try at this account is counted."""
    known = request.cookies.get(known_cookie(parts_of(request)), "")
    if trainer is not None and same(known, known_value(trainer)):
        return (trainer_subject("known", trainer),)
    return account_subject(session, email), address_subject(session, request)


def half_cookie(parts: Parts) -> str:
    return f"{cookie_name(parts)}-half"


def revoke(session: Session, parts: Parts, which: ColumnElement[bool]) -> int:
    """End the living sign-ins that meet the condition; how many there were."""
    ended = update(SignIn).where(which, col(SignIn.revoked_at).is_(None))
    return rows_updated(session, ended.values(revoked_at=real_now(parts)))


def signed_out_answer(parts: Parts) -> Response:
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(cookie_name(parts), secure=parts.settings.secure_cookies)
    return answer
