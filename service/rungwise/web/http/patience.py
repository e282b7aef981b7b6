"""How long the server waits for a caller: for the head of a request, and for its body.

Callers who send a little now and then would otherwise hold a connection each for ever, until
nobody else gets one.
"""

import asyncio
from typing import Any

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.auto import AutoHTTPProtocol

HEAD_WITHIN_S = 15.0
BODY_WITHIN_S = 20.0
# Open connections of one process; beyond it callers are told to come back (503). A browser has
# up to six, and a reverse proxy keeps some tens.
MOST_CONNECTIONS = 400
TOO_SLOW = "The request took too long to arrive. Send it again."


class Impatient(AutoHTTPProtocol):  # type: ignore[misc, valid-type]  # chosen as it starts
    """Closes a connection on which no request begins within seconds."""

    head_within_s = HEAD_WITHIN_S

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._look_again(waited=False)

    def _look_again(self, *, waited: bool) -> None:
        if self.transport.is_closing():
            return
        waits = self._waits_for_a_head()
        if waits and waited:
            self.transport.close()
            return
        self.loop.call_later(self.head_within_s / 2, lambda: self._look_again(waited=waits))

    def _waits_for_a_head(self) -> bool:
        """Between requests, the server's own keep-alive time is running instead."""
        between = self.cycle is None or self.cycle.response_complete
        return between and self.timeout_keep_alive_task is None


class LimitTime:
    """Refuses a body that has not arrived within seconds."""

    def __init__(self, app: ASGIApp, *, within_s: float = BODY_WITHIN_S) -> None:
        self.app = app
        self.within_s = within_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        until = asyncio.get_running_loop().time() + self.within_s
        arrived = False

        async def receive_in_time() -> Message:
            nonlocal arrived
            if arrived:  # only whether the caller hangs up is still waited for
                return await receive()
            try:
                async with asyncio.timeout_at(until):
                    message = await receive()
            except TimeoutError:
                raise HTTPException(408, TOO_SLOW, {"Connection": "close"}) from None
            arrived = not message.get("more_body", False)
            return message

        await self.app(scope, receive_in_time, send)
