"""Who asks: the signed-in trainer behind a request, and the one place where that is checked."""

import hmac
import logging
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from pydantic import Field
from sqlalchemy import ColumnElement, Update, and_, func, update
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, col, select

from rungwise.clock import AheadClock
from rungwise.errors import NotFound, ServiceError
from rungwise.parts import Parts
from rungwise.store.tables import Practice, SignIn, Trainer
from rungwise.web.callbacks.routes import parts_of

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
CSRF_FIELD = "csrf"
FACTOR_PAGE = "/account/second-factor"
# What a page asks for by itself is no use of a sign-in: nobody may be sitting there.
LIVE = "/live"
RENEWS = "x-renews"
NOTED_EVERY = timedelta(minutes=1)
FORM_TYPES = ("application/x-www-form-urlencoded", "multipart/form-data")

log = logging.getLogger(__name__)

PartsHere = Annotated[Parts, Depends(parts_of)]


class SignInFirst(ServiceError):
    """Sign in first; the page you asked for opens after that."""

    def __init__(self, back_to: str) -> None:
        super().__init__(self.__doc__)
        self.back_to = back_to


class NotFromOurForm(ServiceError):
    """This did not come from a form of this service, or the form is old. Open it again."""


class FactorFirst(ServiceError):
    """This practice asks everybody for a second factor. Set yours up first."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One request of a signed-in trainer. `now` is the service's clock, in UTC."""

    parts: Parts
    now: datetime
    trainer: Trainer
    practice: Practice
    sign_in: SignIn
    path: str

    @property
    def csrf(self) -> str:
        return self.sign_in.csrf

    @property
    def is_lead(self) -> bool:
        return self.trainer.role == "lead"


LARGEST_ID = 2**31 - 1
# A number in a form that some row or count may have; any other is refused as it is read.
Number = Annotated[int, Field(ge=0, le=LARGEST_ID)]
# Fields of an address that hold an id or a count.
NUMBERS_ASKED = ("client", "trainer", "before", "after", "page", "since")


def ids_fit(request: Request) -> None:
    """NotFound for an id in the address that no row can have, and no database would look up."""
    ids = [str(value) for name, value in request.path_params.items() if name.endswith("_id")]
    ids += [request.query_params.get(name, "") for name in NUMBERS_ASKED]
    for value in ids:
        number = value.strip().lstrip("+-").replace("_", "")
        long = len(number) > len(str(LARGEST_ID))
        if number.isdecimal() and (long or int(number) > LARGEST_ID):
            raise NotFound("There is no such page, or it is not yours to see.")


def real_now(parts: Parts) -> datetime:
    """The time for sign-ins: a demo whose clock runs ahead must not sign anybody out."""
    return datetime.now(UTC) if isinstance(parts.clock, AheadClock) else parts.clock.now()


def cookie_name(parts: Parts) -> str:
    # The prefix makes browsers refuse the cookie unless it is Secure and for this host alone.
    return "__Host-rungwise" if parts.settings.secure_cookies else "rungwise"


def hashed(token: str) -> str:
    return sha256(token.encode()).hexdigest()


async def csrf_given(request: Request) -> str:
    """The token that came with a form, or with a script's request."""
    header = request.headers.get("x-csrf-token")
    if header is not None or request.method in SAFE_METHODS:
        return header or ""
    if not request.headers.get("content-type", "").startswith(FORM_TYPES):
        return ""
    value = (await request.form()).get(CSRF_FIELD)
    return value if isinstance(value, str) else ""


def signed_in(
    request: Request, parts: PartsHere, given: Annotated[str, Depends(csrf_given)]
) -> Visit:
    """The visit, or SignInFirst; NotFromOurForm for a changing request without the CSRF token."""
    token = request.cookies.get(cookie_name(parts), "")
    now = real_now(parts)
    with parts.store.read() as session:
        found = find_sign_in(session, token, now, idle_of(parts))
    if found is None:
        raise SignInFirst(address_of(request) if request.method == "GET" else "/")
    sign_in, trainer, practice = found
    if request.method not in SAFE_METHODS and not same(given, sign_in.csrf):
        raise NotFromOurForm
    if practice.needs_factor and trainer.factor_since is None and not _may_be_next(request):
        raise FactorFirst
    by_somebody = RENEWS not in request.headers and request.url.path != LIVE
    if by_somebody and use_is_news(sign_in.used_at, now):
        note_use(parts, update(SignIn).where(col(SignIn.id) == sign_in.id).values(used_at=now))
    return Visit(parts, parts.clock.now(), trainer, practice, sign_in, request.url.path)


def _may_be_next(request: Request) -> bool:
    """What somebody who must set up a second factor may still do."""
    return request.url.path.startswith((FACTOR_PAGE, "/sign-out"))


Signed = Annotated[Visit, Depends(signed_in)]


def idle_of(parts: Parts) -> timedelta:
    """How long a sign-in lives unused."""
    return timedelta(minutes=parts.settings.sign_in_idle_minutes)


def alive(now: datetime, idle: timedelta | None = None) -> ColumnElement[bool]:
    """The condition that a sign-in is neither ended, nor over, nor left unused for too long."""
    lives = and_(col(SignIn.revoked_at).is_(None), col(SignIn.expires_at) > now)
    if idle is None:
        return lives
    return and_(lives, func.coalesce(SignIn.used_at, SignIn.created_at) > now - idle)


def use_is_news(used_at: datetime | None, now: datetime) -> bool:
    """Whether a use is worth storing: to the minute will do, and not every page needs a write."""
    return used_at is None or not timedelta(0) <= now - used_at < NOTED_EVERY


def note_use(parts: Parts, noted: Update) -> None:
    """Store when a sign-in or a token was last used, if that can be."""
    try:
        parts.store.run(lambda session: session.execute(noted))
    except DBAPIError:
        # A full disk must not keep anybody from reading their alerts.
        log.warning("the use of a sign-in or a token could not be stored")


def find_sign_in(
    session: Session, token: str, now: datetime, idle: timedelta | None = None
) -> tuple[SignIn, Trainer, Practice] | None:
    """The living sign-in of this cookie, with trainer and practice. Unused for `idle`, it ends."""
    if not token:
        return None
    rows = (
        select(SignIn, Trainer, Practice)
        .join(Trainer, col(Trainer.id) == col(SignIn.trainer_id))
        .join(Practice, col(Practice.id) == col(Trainer.practice_id))
        .where(
            SignIn.token_hash == hashed(token),
            alive(now, idle),
            col(SignIn.half).is_(False),
            col(Trainer.active).is_(True),
        )
    )
    return session.exec(rows).first()


def same(given: str, expected: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), expected.encode())


def address_of(request: Request) -> str:
    query = request.url.query
    return f"{request.url.path}?{query}" if query else request.url.path


def local_path(given: str, otherwise: str = "/") -> str:
    """`given` if it is a path on this service, so that no form can send anyone elsewhere."""
    plain = given.isascii() and given.isprintable() and "\\" not in given
    if plain and given.startswith("/") and not given.startswith("//"):
        return given
    return otherwise


def sign_in_address(back_to: str) -> str:
    back_to = local_path(back_to)
    return "/sign-in" if back_to == "/" else f"/sign-in?next={quote(back_to, safe='/')}"
