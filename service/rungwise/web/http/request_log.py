"""Every request: its id in and out, one line in the log, and its time among the metrics.

The line names the route, never the address: addresses hold clients' ids and links that open.
"""

import logging
from time import monotonic

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rungwise.logs import about, request_id
from rungwise.meters import Meters

log = logging.getLogger(__name__)

HEADER = "X-Request-ID"
# Asked every few seconds by monitors: worth counting, not worth a line each.
UNTOLD = ("/healthz", "/readyz", "/metrics", "/static")
AREAS = (("/api/", "api"), ("/in/", "callback"), ("/static/", "static"))


class Asked:
    """The outermost part of the application."""

    def __init__(self, app: ASGIApp, *, meters: Meters) -> None:
        self.app = app
        self.meters = meters

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = monotonic()
        called = request_id(Headers(scope=scope).get(HEADER))
        scope.setdefault("state", {})["request_id"] = called
        answered = False

        async def send_with_id(message: Message) -> None:
            nonlocal answered
            if message["type"] == "http.response.start":
                answered = True
                MutableHeaders(scope=message)[HEADER] = called
                self._note(scope, int(message["status"]), monotonic() - begun)
            await send(message)

        with about(request=called):
            try:
                await self.app(scope, receive, send_with_id)
            except Exception:
                log.exception("a request failed", extra={"route": route_of(scope)})
                if not answered:
                    self._note(scope, 500, monotonic() - begun)
                raise

    def _note(self, scope: Scope, status: int, seconds: float) -> None:
        path = str(scope["path"])
        area = next((area for begins, area in AREAS if path.startswith(begins)), "page")
        self.meters.requests.labels(area, f"{status // 100}xx").observe(seconds)
        level = logging.DEBUG if path.startswith(UNTOLD) else logging.INFO
        what = {"method": scope["method"], "route": route_of(scope), "status": status}
        log.log(level, "answered", extra={**what, "ms": round(seconds * 1000, 1)})


def route_of(scope: Scope) -> str:
    """The route's pattern, such as /clients/{client_id}; `-` where there is none."""
    path = getattr(scope.get("route"), "path", None)
    return f"{scope.get('root_path', '')}{path}" if path else "-"
