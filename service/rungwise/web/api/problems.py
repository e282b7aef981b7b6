"""Everything that goes wrong, as application/problem+json (RFC 9457), each kind in one place."""

import logging
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.routing import Match

from rungwise.coach.alerting.alerts import AlertHandled
from rungwise.coach.daily.told_days import SignStillOpen
from rungwise.coach.daily.write_to_client import GetsNoTexts, NightThere
from rungwise.coach.outbox.change_feed import ReadAnew
from rungwise.coach.plan.placement import ALandmarkLower, NoReason, NotSoHigh, StillOpen
from rungwise.coach.plan.placement_preview import ManyLandmarks
from rungwise.coach.record.access import OnlyTheLead
from rungwise.coach.record.after_fall import ChecklistFirst, NotBefore, ScreenFirst, WordFirst
from rungwise.coach.record.clearance import AskFirst, NotByText
from rungwise.coach.record.fields import Unfinished
from rungwise.errors import EditedMeanwhile, ImpossibleValue, NotFound, ServiceError

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
PREFIX = "/api/v1"
TYPES = f"{PREFIX}/problems/"


class NoToken(ServiceError):
    """Send a token that works: Authorization: Bearer rungwise_… The practice lead makes them."""


class ScopeMissing(ServiceError):
    """The token lacks a scope."""

    def __init__(self, scope: str) -> None:
        super().__init__(f"This token may not do that: it lacks the scope {scope}.")


class TooOften(ServiceError):
    """The token called more often than it may."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = max(int(wait_s + 0.999), 1)
        super().__init__(f"Too many calls. Wait {self.wait_s} s before the next.")


class KeyReused(ServiceError):
    """This Idempotency-Key was used for another request. Take a new key for each action."""


class LookedAtOther(ServiceError):
    """What would follow is not what was looked at. Look at the preview again."""

    def __init__(self, problems: Mapping[str, str] | None = None) -> None:
        self.problems = problems or {}
        super().__init__(self.__doc__)


# Error: its status and its name in the API, which never changes within a version.
KINDS: Mapping[type[ServiceError], tuple[int, str]] = {
    NoToken: (401, "no-token"),
    ScopeMissing: (403, "scope-missing"),
    OnlyTheLead: (403, "only-the-lead"),
    NotFound: (404, "not-found"),
    EditedMeanwhile: (409, "edited-meanwhile"),
    LookedAtOther: (409, "looked-at-other"),
    AlertHandled: (409, "alert-handled"),
    StillOpen: (409, "still-open"),
    SignStillOpen: (409, "sign-still-open"),
    NotSoHigh: (409, "not-so-high"),
    ALandmarkLower: (409, "a-landmark-lower"),
    ChecklistFirst: (409, "checklist-first"),
    WordFirst: (409, "word-first"),
    NotBefore: (409, "not-before"),
    ScreenFirst: (409, "screen-first"),
    ManyLandmarks: (409, "many-landmarks"),
    AskFirst: (409, "ask-first"),
    NotByText: (409, "not-by-text"),
    GetsNoTexts: (409, "gets-no-texts"),
    NightThere: (409, "night-there"),
    KeyReused: (409, "key-reused"),
    ReadAnew: (409, "read-anew"),
    ImpossibleValue: (422, "impossible-value"),
    NoReason: (422, "impossible-value"),
    Unfinished: (422, "impossible-value"),
    TooOften: (429, "too-often"),
}
# As RFC 9110 has them; Python's own changed with its versions.
TITLES = {413: "Content Too Large", 422: "Unprocessable Content"}
# Where a page's own sentence speaks of a box to tick.
SENTENCES: Mapping[type[Exception], str] = {
    ManyLandmarks: "This goes up past more than one landmark. To confirm it, send meant as true.",
    NightThere: "It is outside the practice's texting hours where the client is. Send it later, or "
    "with at_night as true.",
}
MEANINGS: Mapping[type[Exception], str] = {
    **SENTENCES,
    ImpossibleValue: "A value can't be used as it is; errors says which, and what it must be.",
}
OTHERWISE = (409, "refused")
OTHERS = {
    "malformed": "The body is not JSON.",
    "not-allowed": "This address does not take this method.",
    "too-large": "The body is larger than anything the API takes.",
    "our-mistake": "Something went wrong on our side, and nothing was stored.",
    "refused": "It cannot be done as things stand; the detail says why.",
}


class FieldProblem(BaseModel):
    """One field that cannot be used as it is."""

    field: str
    message: str


class Problem(BaseModel):
    """What went wrong. `type` tells programs which kind it is, `detail` tells people what to do."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[FieldProblem] = Field(default=[])


def add_problems(app: FastAPI) -> None:
    app.add_exception_handler(ServiceError, service_error)
    app.add_exception_handler(RequestValidationError, unreadable)
    app.add_exception_handler(HTTPException, http_error)
    app.add_exception_handler(Exception, our_mistake)


def problem(
    status: int,
    kind: str,
    detail: str,
    errors: list[FieldProblem] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Response:
    title = TITLES.get(status) or HTTPStatus(status).phrase
    body = Problem(
        type=TYPES + kind, title=title, status=status, detail=detail, errors=errors or []
    )
    return JSONResponse(body.model_dump(), status, dict(headers or {}), media_type=MEDIA_TYPE)


def service_error(_request: Request, error: Exception) -> Response:
    status, kind = next((found for at, found in KINDS.items() if isinstance(error, at)), OTHERWISE)
    errors: list[FieldProblem] = []
    headers = {}
    if isinstance(error, ImpossibleValue):
        errors = [FieldProblem(field=error.field, message=f"It must be {error.allowed}.")]
    elif isinstance(error, Unfinished | LookedAtOther):
        errors = [FieldProblem(field=name, message=told) for name, told in error.problems.items()]
    elif isinstance(error, NoToken):
        headers["WWW-Authenticate"] = "Bearer"
    elif isinstance(error, TooOften):
        headers["Retry-After"] = str(error.wait_s)
    told = SENTENCES.get(type(error), str(error))
    return problem(status, kind, told, errors, headers)


def unreadable(request: Request, error: Exception) -> Response:
    found: list[Any] = list(error.errors()) if isinstance(error, RequestValidationError) else []
    if any(one["type"] == "json_invalid" for one in found):
        return problem(400, "malformed", OTHERS["malformed"])
    if any(one["loc"][:1] == ("path",) for one in found):
        if request.method not in _methods(request):
            return http_error(request, HTTPException(HTTPStatus.METHOD_NOT_ALLOWED))
        return problem(404, "not-found", "There is no such address.")
    errors = [
        FieldProblem(
            field=".".join(str(part) for part in one["loc"][1:]) or str(one["loc"][0]),
            message=str(one["msg"]),
        )
        for one in found
    ]
    return problem(422, "impossible-value", "Some values cannot be used as they are.", errors)


def http_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    headers = error.headers if isinstance(error, HTTPException) else None
    if status == HTTPStatus.METHOD_NOT_ALLOWED:
        headers = {"Allow": ", ".join(sorted(_methods(request)))}
    kinds = {404: "not-found", 405: "not-allowed", 413: "too-large"}
    kind = kinds.get(status, "malformed")
    detail = OTHERS.get(kind, "There is no such address.")
    return problem(status, kind, detail, headers=headers)


def _methods(request: Request) -> set[str]:
    """The methods that this address takes, of all its routes."""
    routes: list[APIRoute] = request.app.state.routes
    fitting = [one for one in routes if one.matches(request.scope)[0] is not Match.NONE]
    # An address of its own is no id of another's: /clients/preview is no /clients/{client_id}.
    exact = [one for one in fitting if not one.param_convertors]
    return {method for route in exact or fitting for method in route.methods or ()}


def our_mistake(_request: Request, _error: Exception) -> Response:
    return problem(500, "our-mistake", OTHERS["our-mistake"])


def sentence_of(kind: str) -> str | None:
    """What a kind of problem means, for whoever follows its address."""
    if kind in OTHERS:
        return OTHERS[kind]
    found = next((error for error, (_, name) in KINDS.items() if name == kind), None)
    if found is None:
        return None
    return MEANINGS.get(found) or " ".join((found.__doc__ or "").split())
