"""Errors become pages, each kind in one place: a sentence that says what to do, and a status."""

import logging

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import PlainTextResponse, RedirectResponse
from starlette.exceptions import HTTPException

from rungwise.coach.accounts.passwords import TooBusy
from rungwise.coach.alerting.alerts import AlertHandled
from rungwise.errors import EditedMeanwhile, NotFound, ServiceError
from rungwise.web.api.problems import PREFIX
from rungwise.web.api.problems import http_error as http_problem
from rungwise.web.http.auth import (
    FACTOR_PAGE,
    FactorFirst,
    NotFromOurForm,
    SignInFirst,
    sign_in_address,
)
from rungwise.web.http.request_log import HEADER
from rungwise.web.http.security import HEADERS
from rungwise.web.ui.templating import page

log = logging.getLogger(__name__)

STATUS: tuple[tuple[type[ServiceError], int], ...] = (
    (NotFound, 404),
    (EditedMeanwhile, 409),
    (AlertHandled, 409),
    (NotFromOurForm, 403),
    (TooBusy, 503),
)
HEADINGS = {
    400: "That could not be done",
    403: "Not from our form",
    404: "Nothing here",
    405: "Not this way",
    409: "Changed meanwhile",
    413: "Too large",
    408: "Too slow",
    421: "Not this address",
    500: "Our mistake",
    503: "Busy",
}
NOWHERE = "There is no such page, or it is not yours to see."


def add_error_pages(app: FastAPI) -> None:
    app.add_exception_handler(SignInFirst, to_sign_in)
    app.add_exception_handler(FactorFirst, to_second_factor)
    app.add_exception_handler(ServiceError, service_error)
    app.add_exception_handler(RequestValidationError, unreadable_form)
    app.add_exception_handler(HTTPException, http_error)
    app.add_exception_handler(Exception, our_mistake)


def to_sign_in(_request: Request, error: Exception) -> Response:
    back_to = error.back_to if isinstance(error, SignInFirst) else "/"
    return RedirectResponse(sign_in_address(back_to), 303)


def to_second_factor(_request: Request, _error: Exception) -> Response:
    return RedirectResponse(FACTOR_PAGE, 303)


def service_error(_request: Request, error: Exception) -> Response:
    return error_page(status_of(error), str(error))


def status_of(error: Exception) -> int:
    return next((status for kind, status in STATUS if isinstance(error, kind)), 400)


def unreadable_form(_request: Request, error: Exception) -> Response:
    problems = error.errors() if isinstance(error, RequestValidationError) else []
    if any(problem["loc"][:1] == ("path",) for problem in problems):
        return error_page(404, NOWHERE)
    names = sorted({str(problem["loc"][-1]).replace("_", " ") for problem in problems})
    fields = f" Look at: {', '.join(names)}." if names else ""
    return error_page(400, f"The form could not be read. Go back and fill it in again.{fields}")


def http_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    detail = str(error.detail) if isinstance(error, HTTPException) else ""
    if request.url.path.startswith(f"{PREFIX}/"):
        # Not even a path of the API, such as one with a line break in it.
        return http_problem(request, error)
    if request.url.path.startswith("/in/"):
        return PlainTextResponse(detail, status)
    sentence = NOWHERE if status == 404 else f"{detail.rstrip('.')}."
    answer = error_page(status, sentence)
    if isinstance(error, HTTPException) and error.headers:
        answer.headers.update(error.headers)
    return answer


def our_mistake(request: Request, _error: Exception) -> Response:
    called = str(request.scope.get("state", {}).get("request_id", "unknown"))
    sentence = (
        "Something went wrong on our side, and what you sent was not stored. Try once more; if it "
        "happens again, tell whoever runs this installation; the log has it under the number "
        f"{called}. Texts and alerts go on meanwhile."
    )
    answer = error_page(500, sentence)
    # This answer is made outside of everything that would add them.
    answer.headers.update({**HEADERS, HEADER: called})
    return answer


def error_page(status: int, sentence: str) -> Response:
    return page("error.html", status, heading=HEADINGS.get(status, HEADINGS[400]), told=sentence)
