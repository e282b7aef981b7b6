"""Who can get in: inviting trainers, links for a new password, and choosing one by such a link."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.accounts import invitations
from rungwise.coach.accounts.passwords import PasswordRefused
from rungwise.coach.accounts.second_factor import has_factor
from rungwise.coach.accounts.trainers import colleague, colleagues
from rungwise.coach.record.access import require_lead
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.parts import Parts
from rungwise.web.http import sessions
from rungwise.web.http.auth import PartsHere, Signed, Visit, real_now
from rungwise.web.ui.layout import framed
from rungwise.web.ui.templating import page

router = APIRouter()

# The link stands in the address: no other site may learn it from where somebody came.
HEADERS = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow"}


class InviteForm(BaseModel):
    name: str = Field(default="", max_length=200)
    email: str = Field(default="", max_length=320)
    role: str = Field(default="trainer", max_length=20)


class ChooseForm(BaseModel):
    password: str = Field(default="", max_length=1000)
    csrf: str = Field(default="", max_length=200)


# --- the lead's page ------------------------------------------------------------------------------


@router.get("/practice/sign-ins")
def who_gets_in(visit: Signed) -> Response:
    require_lead(visit.trainer)
    with visit.parts.store.read() as session:
        return _page(visit, session)


def _page(
    visit: Visit,
    session: Session,
    *,
    token: str = "",
    meant_for: str = "",
    given: InviteForm | None = None,
    told: str = "",
) -> Response:
    return framed(
        visit,
        session,
        "practice_sign_ins.html",
        400 if told else 200,
        links=invitations.living_links(session, real_now(visit.parts), visit.practice),
        trainers=[
            (one.trainer, has_factor(one.trainer)) for one in colleagues(session, visit.practice)
        ],
        made=f"{visit.parts.settings.public_url}/welcome/{token}" if token else "",
        meant_for=meant_for,
        given=given or InviteForm(),
        told=told,
    )


@router.post("/practice/sign-ins")
def invite(visit: Signed, form: Annotated[InviteForm, Form()]) -> Response:
    require_lead(visit.trainer)
    try:
        with visit.parts.store.write() as session:
            now = real_now(visit.parts)
            token = invitations.invite(
                session, now, visit.trainer, form.name, form.email, form.role
            )
    except ImpossibleValue as refused:
        with visit.parts.store.read() as session:
            return _page(visit, session, given=form, told=str(refused))
    with visit.parts.store.read() as session:
        return _page(visit, session, token=token, meant_for=form.name)


@router.post("/practice/trainers/{trainer_id}/reset")
def reset(
    visit: Signed, trainer_id: int, drops_factor: Annotated[bool, Form()] = False
) -> Response:
    """A link by which this trainer chooses a new password."""
    with visit.parts.store.write() as session:
        other = colleague(session, visit.trainer, trainer_id)
        now = real_now(visit.parts)
        token = invitations.reset(session, now, visit.trainer, other, drops_factor=drops_factor)
    with visit.parts.store.read() as session:
        return _page(visit, session, token=token, meant_for=other.name)


@router.post("/practice/links/{link_id}/end")
def take_back(visit: Signed, link_id: int) -> Response:
    with visit.parts.store.write() as session:
        invitations.take_back(session, real_now(visit.parts), visit.trainer, link_id)
    return RedirectResponse("/practice/sign-ins", 303)


# --- whoever has the link -------------------------------------------------------------------------


@router.get("/welcome/{token}")
def welcome(request: Request, parts: PartsHere, token: str) -> Response:
    return _choose(request, parts, token)


def _choose(
    request: Request, parts: Parts, token: str, told: str = "", status: int = 200
) -> Response:
    try:
        with parts.store.read() as session:
            invited = invitations.who_is_invited(session, real_now(parts), token)
    except invitations.LinkGone as gone:
        return _gone(gone)
    values = {"token": token, "invited": invited, "told": told}
    answer = sessions.page_before(request, parts, "welcome.html", status, **values)
    answer.headers.update(HEADERS)
    return answer


def _gone(gone: ServiceError) -> Response:
    answer = page("error.html", 404, heading="This link is over", told=str(gone))
    answer.headers.update(HEADERS)
    return answer


@router.post("/welcome/{token}")
def choose(
    request: Request, parts: PartsHere, token: str, form: Annotated[ChooseForm, Form()]
) -> Response:
    """Choose a password; then sign in with it, as always."""
    sessions.check_before(request, form.csrf)
    try:
        with parts.store.write() as session:
            trainer = invitations.choose_password(session, real_now(parts), token, form.password)
    except invitations.LinkGone as gone:
        return _gone(gone)
    except PasswordRefused as refused:
        return _choose(request, parts, token, str(refused), 400)
    # Whoever has the link is not held by what others tried before.
    answer = RedirectResponse("/sign-in", 303)
    sessions.remember_browser(answer, parts, trainer)
    return answer
