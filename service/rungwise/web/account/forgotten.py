"""A link for a new password by e-mail, for whoever is signed out and has no lead to ask."""

import logging
from datetime import timedelta
from email.message import EmailMessage
from typing import Annotated

from fastapi import APIRouter, BackgroundTasks, Form, Request, Response
from pydantic import BaseModel, Field
from sqlmodel import col, select

from rungwise.carriers.email import MailServer, NotSent, mail_server
from rungwise.coach.accounts.invitations import RESET_LASTS, reset
from rungwise.errors import NotFound
from rungwise.parts import Parts
from rungwise.store.tables import Trainer
from rungwise.web.http import sessions
from rungwise.web.http.auth import PartsHere, real_now

log = logging.getLogger(__name__)
router = APIRouter()

# The same whether or not there is such an account: addresses cannot be tried out here.
ON_ITS_WAY = (
    "If this address may sign in here, a link is on its way to it. It works once, for "
    f"{RESET_LASTS // timedelta(hours=1)} hours."
)


class ForgottenForm(BaseModel):
    email: str = Field(default="", max_length=320)
    csrf: str = Field(default="", max_length=200)


@router.get("/sign-in/forgotten")
def forgotten_page(request: Request, parts: PartsHere) -> Response:
    _server(parts)
    return sessions.page_before(request, parts, "forgotten.html", told="", sent=False)


@router.post("/sign-in/forgotten")
def send_link(
    request: Request,
    parts: PartsHere,
    tasks: BackgroundTasks,
    form: Annotated[ForgottenForm, Form()],
) -> Response:
    sessions.check_before(request, form.csrf)
    server = _server(parts)
    email = form.email.strip().lower()
    now = real_now(parts)
    with parts.store.write() as session:
        account = f"mailed:{sessions.account_subject(session, email)}"
        address = f"mailed:{sessions.address_subject(session, request)}"
        may_send = sessions.reserve_try(session, now, account, address)
        trainer = session.exec(
            select(Trainer).where(Trainer.email == email, col(Trainer.active).is_(True))
        ).first()
        if may_send and trainer is not None:
            token = reset(session, now, None, trainer, ends_earlier=False)
            letter = _letter(parts, email, token)
            # After the answer, so that it takes as long as without such an account.
            tasks.add_task(_send, server, letter, trainer.id)
    told = ON_ITS_WAY if may_send else sessions.SLOW_DOWN_INSIDE
    status = 200 if may_send else 429
    return sessions.page_before(request, parts, "forgotten.html", status, told=told, sent=may_send)


def _server(parts: Parts) -> MailServer:
    server = mail_server(parts.settings)
    if server is None:
        raise NotFound("This installation sends no e-mail.")
    return server


def _letter(parts: Parts, email: str, token: str) -> EmailMessage:
    letter = EmailMessage()
    letter["To"] = email
    letter["Subject"] = "A link for a new password"
    letter["Auto-Submitted"] = "auto-generated"
    letter.set_content(
        "Somebody asked on the sign-in page for a new password for this address. If it was you, "
        f"choose one here:\n\n{parts.settings.public_url}/welcome/{token}\n\n"
        "If it was not, do nothing: your password stays as it is.\n"
    )
    return letter


def _send(server: MailServer, letter: EmailMessage, trainer_id: int) -> None:
    try:
        server.send(letter)
    except NotSent as problem:
        log.warning("a link for a new password: %s", problem, extra={"trainer_id": trainer_id})
