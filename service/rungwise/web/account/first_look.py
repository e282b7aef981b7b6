"""The link that opens the demo signed in: printed once by the command that serves it."""

import secrets
from threading import Lock

from fastapi import FastAPI, Request
from fastapi.responses import RedirectResponse, Response
from sqlmodel import col, select

from rungwise.parts import Parts
from rungwise.store.tables import Practice, Trainer
from rungwise.web.http import sessions
from rungwise.web.http.auth import real_now

PATH = "/first-look/"


def add_first_look(app: FastAPI) -> str:
    """Give the app an address that signs its first caller in as the demo's lead; gives the path.

    The word in it is kept in this process only. Any later caller gets the page to sign in.
    """
    word, lock = secrets.token_urlsafe(24), Lock()
    used: list[str] = []

    @app.get(PATH + "{given}")
    def first_look(request: Request, given: str) -> Response:
        parts: Parts = app.state.parts
        with lock:
            right = not used and secrets.compare_digest(given.encode(), word.encode())
            if right:
                used.append(given)
        if not right:
            return RedirectResponse("/sign-in", 303)
        leads = (
            select(Trainer)
            .join(Practice, col(Practice.id) == col(Trainer.practice_id))
            .where(col(Practice.is_demo).is_(True), Trainer.role == "lead")
        )
        with parts.store.write() as session:
            lead = session.exec(leads).first()
            if lead is None:
                return RedirectResponse("/sign-in", 303)
            token = sessions.begin(session, request, real_now(parts), lead)
        return sessions.signed_in_answer(parts, token, "/")

    return PATH + word
