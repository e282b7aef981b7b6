"""Where carriers call: texts that came in, and what became of those that went out."""

import logging
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from service.carriers.base import Callback, Forged, Heard
from service.coach.delivery import note_receipts
from service.coach.receive import receive
from service.parts import Parts
from service.store.tables import Message

log = logging.getLogger(__name__)
router = APIRouter()

LARGEST_BODY = 64 * 1024


def parts_of(request: Request) -> Parts:
    parts: Parts = request.app.state.parts
    return parts


PartsHere = Annotated[Parts, Depends(parts_of)]


@router.api_route("/in/{carrier}", methods=["GET", "POST"], include_in_schema=False)
async def called(carrier: str, request: Request, parts: PartsHere) -> Response:
    """A carrier's callback. Answered only after everything in it is stored."""
    adapter = parts.carriers.get(carrier)
    if adapter is None:
        raise HTTPException(404)
    callback = await read_callback(request)
    try:
        heard = adapter.hear(callback)
    except Forged:
        log.warning("a callback for %s without a valid signature was refused", carrier)
        raise HTTPException(403, "This callback is not signed as it should be.") from None
    await run_in_threadpool(store_heard, parts, carrier, heard)
    return Response(
        heard.answer, heard.status, media_type=heard.media_type, headers=dict(heard.headers)
    )


async def read_callback(request: Request) -> Callback:
    """The request as plain values; refused when it is larger than any text can be."""
    body = b""
    try:
        async for chunk in request.stream():
            body += chunk
            if len(body) > LARGEST_BODY:
                raise HTTPException(413, "This is larger than any text message.")
    except ClientDisconnect:
        # Nobody reads this; a caller who hangs up is no error of ours and will call again.
        raise HTTPException(400, "The request broke off.") from None
    request._body = body  # so that the form parser reads what was just read
    fields = dict(request.query_params.items())
    if request.method == "POST" and "form" in request.headers.get("content-type", ""):
        form = await request.form()
        fields |= {name: value for name, value in form.items() if isinstance(value, str)}
    return Callback(request.method, str(request.url), dict(request.headers), fields, body)


def store_heard(parts: Parts, carrier: str, heard: Heard) -> None:
    """Store texts and receipts, and everything they set off, in one transaction.

    It is done again when the database was away for a moment: some carriers call only once. Twice is
    as good as once, because the carrier's id tells a text that is stored already.
    """

    def store(session: Session) -> list[Message | None]:
        now = parts.clock.now()
        stored = [receive(session, now, carrier, text) for text in heard.texts]
        note_receipts(session, now, carrier, heard.receipts)
        return stored

    stored = parts.store.run(store)
    ids = [message.id for message in stored if message is not None]
    log.info("texts stored", extra={"carrier": carrier, "message_ids": ids})
