"""Server-sent events: a page kept open learns that it is out of date, and renews itself."""

import asyncio
from collections.abc import AsyncIterator, Callable
from time import monotonic

from fastapi import APIRouter, Response
from fastapi.responses import StreamingResponse
from sqlmodel import Session, select
from starlette.concurrency import run_in_threadpool

from rungwise.coach.record.access import client_of
from rungwise.store.queries import page_version
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import SignIn
from rungwise.web.http.auth import Signed, Visit, alive, idle_of, real_now

router = APIRouter()

LOOK_EVERY_S = 2.0
SAY_SOMETHING_EVERY_S = 20.0
# Browsers come back by themselves; ending streams lets a server that stops wait for none of them.
LONGEST_S = 300.0


@router.get("/live")
async def live(visit: Signed, client: int = 0) -> Response:
    """A stream with one event now and one whenever the alerts, or a client's texts, change."""
    if client:
        await run_in_threadpool(_check_client, visit, client)
    events = _events(lambda: _look(visit, client))
    headers = {"X-Accel-Buffering": "no"}
    return StreamingResponse(events, media_type="text/event-stream", headers=headers)


def _check_client(visit: Visit, client_id: int) -> None:
    with visit.parts.store.read() as session:
        client_of(session, visit.trainer, client_id)


def _look(visit: Visit, client_id: int) -> str | None:
    """The page's signature now; None when the trainer has signed out meanwhile."""
    with visit.parts.store.read() as session:
        if not _still_signed_in(session, visit):
            return None
        if client_id:
            return page_version.of_texts(session, client_id)
        alerts = page_version.of_alerts(session, Scope.of(visit.trainer))
    played = visit.parts.share_played
    return alerts if played is None else f"{alerts}-{played:.1f}"


def _still_signed_in(session: Session, visit: Visit) -> bool:
    lives = alive(real_now(visit.parts), idle_of(visit.parts))
    kept = select(SignIn.id).where(SignIn.id == visit.sign_in.id, lives)
    return session.exec(kept).first() is not None


async def _events(look: Callable[[], str | None]) -> AsyncIterator[str]:
    begun = said = monotonic()
    shown = None
    yield "retry: 3000\n\n"
    while monotonic() - begun < LONGEST_S:
        now = await run_in_threadpool(look)
        if now is None:
            return
        if now != shown:
            yield f"data: {now}\n\n"
            shown, said = now, monotonic()
        elif monotonic() - said > SAY_SOMETHING_EVERY_S:
            yield ": still here\n\n"
            said = monotonic()
        await asyncio.sleep(LOOK_EVERY_S)
