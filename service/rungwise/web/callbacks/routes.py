"""Where carriers call: texts that came in, and what became of those that went out."""

import asyncio
import logging
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from starlette.requests import ClientDisconnect

from rungwise.carriers.base import Callback, Forged
from rungwise.parts import Parts
from rungwise.web.callbacks.inbound_batch import Arriving, Call

log = logging.getLogger(__name__)
router = APIRouter()

LARGEST_BODY = 64 * 1024


def parts_of(request: Request) -> Parts:
    parts: Parts = request.app.state.parts
    return parts


PartsHere = Annotated[Parts, Depends(parts_of)]


async def called(request: Request) -> Response:
    """A carrier's callback. Answered only after everything in it is stored."""
    parts, carrier = parts_of(request), request.path_params["carrier"]
    adapter = parts.carriers.get(carrier)
    if adapter is None:
        raise HTTPException(404)
    callback = await read_callback(request)
    try:
        heard = adapter.hear(callback)
    except Forged:
        log.warning("a callback for %s without a valid signature was refused", carrier)
        raise HTTPException(403, "This callback is not signed as it should be.") from None
    ids = await arriving(request, parts).store(Call(carrier, heard))
    log.info("texts stored", extra={"carrier": carrier, "message_ids": ids})
    return Response(
        heard.answer, heard.status, media_type=heard.media_type, headers=dict(heard.headers)
    )


# A plain route: what FastAPI works out for each request is nothing that a callback needs.
router.add_route("/in/{carrier}", called, methods=["GET", "POST"], include_in_schema=False)


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


def arriving(request: Request, parts: Parts) -> Arriving:
    """Where calls wait to be stored together: one for these parts and the event loop in use."""
    kept: Arriving | None = getattr(request.app.state, "arriving", None)
    loop = asyncio.get_running_loop()
    if kept is None or kept.parts is not parts or kept.loop is not loop:
        kept = request.app.state.arriving = Arriving(parts, loop)
    return kept
