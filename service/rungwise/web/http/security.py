"""Headers that every answer carries, and the largest body that is read."""

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "script-src 'self'",
        "connect-src 'self'",
        "img-src 'self' data:",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), interest-cohort=()",
    # Pages hold what clients said; nothing of them stays in a shared browser's cache.
    "Cache-Control": "no-store",
}
A_YEAR_S = 31_536_000
ON_THIS_MACHINE = frozenset({"127.0.0.1", "localhost", "::1"})
# Carriers, monitors, and pictures in texts, which may have an address of their own.
BY_ANY_NAME = ("/in/", "/healthz", "/readyz", "/metrics", "/p/", "/static/")
LARGEST_FORM = 128 * 1024


class SecureHeaders:
    """Adds HEADERS to every answer that doesn't set one of them itself."""

    def __init__(self, app: ASGIApp, *, https: bool) -> None:
        self.app = app
        self.headers = dict(HEADERS)
        if https:
            self.headers["Strict-Transport-Security"] = f"max-age={A_YEAR_S}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self.headers.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, send_with_headers)


class OwnHost:
    """Refuses pages and the API under any other name than the service's own.

    Only where its address is known to others: this machine itself may be called by many names.
    """

    def __init__(self, app: ASGIApp, *, public_url: str) -> None:
        self.app = app
        host = (urlsplit(public_url).hostname or "").lower()
        self.names = frozenset() if host in ON_THIS_MACHINE else {host, *ON_THIS_MACHINE}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and self.names and not scope["path"].startswith(BY_ANY_NAME):
            given = Headers(scope=scope).get("host", "").lower()
            # With its port or without; an address of IPv6 stands in brackets.
            name = given if given.endswith("]") else given.rpartition(":")[0] or given
            if name.strip("[]") not in self.names:
                answer = PlainTextResponse("This service has another address.\n", 421)
                await answer(scope, receive, send)
                return
        await self.app(scope, receive, send)


class LimitBody:
    """Refuses a body that is larger than any form of ours, before it is held in memory."""

    def __init__(self, app: ASGIApp, *, largest: int = LARGEST_FORM) -> None:
        self.app = app
        self.largest = largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        # Carriers' callbacks have a limit of their own.
        if scope["type"] != "http" or scope["path"].startswith("/in/"):
            await self.app(scope, receive, send)
            return
        had = 0
        stated = Headers(scope=scope).get("content-length", "0")
        too_large = stated.isdigit() and int(stated) > self.largest

        async def receive_within_limit() -> Message:
            nonlocal had
            message = await receive()
            had += len(message.get("body", b""))
            if too_large or had > self.largest:
                raise HTTPException(413, "This form holds more than any of ours can.")
            return message

        await self.app(scope, receive_within_limit, send)
