"""The API's own description, as OpenAPI 3.1: from the routes, with what they may answer."""

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from rungwise.web.api.caller import Needs
from rungwise.web.api.problems import KINDS, MEDIA_TYPE, OTHERS, OTHERWISE, TYPES, Problem

PROBLEM = "#/components/schemas/Problem"
ANSWERS = {
    "400": "The body is not JSON.",
    "401": "No token, or one that does not work.",
    "403": "The token lacks the scope.",
    "404": "There is no such thing, or it is not yours to see.",
    "409": "It cannot be done as things stand; `type` says which case it is.",
    "422": "Some values cannot be used as they are.",
    "429": "Too many calls; Retry-After says how long to wait.",
}


def document(app: FastAPI, routes: list[APIRoute]) -> dict[str, Any]:
    """The description of these routes of the API."""
    # The application keeps what it gives, so that completing it twice would say things twice.
    found: dict[str, Any] = deepcopy(app.openapi())
    schemas = found["components"]["schemas"]
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    shape = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas |= shape.pop("$defs")
    schemas["Problem"] = shape
    for route in routes:
        for method in route.methods or ():
            _complete(found["paths"][route.path][method.lower()], method, route)
    kinds = sorted({name for _, name in (*KINDS.values(), OTHERWISE)} | set(OTHERS))
    shape["properties"]["type"]["examples"] = [TYPES + name for name in kinds]
    return found


def _complete(operation: dict[str, Any], method: str, route: APIRoute) -> None:
    scopes = list(_scopes(route.dependant))
    answers = operation["responses"]
    answers.pop("422", None)
    expected = ["404", "422"] if not scopes else ["401", "422", "429"]
    if any(scopes):
        expected.append("403")
        operation["description"] += f"\n\nScope: `{scopes[0]}`."
    if "{client_id}" in route.path or "{alert_id}" in route.path:
        expected.append("404")
    if route.path == "/changes":
        expected.append("409")
    if method in ("POST", "PATCH"):
        looks_only = "preview" in route.path and "plan" not in route.path
        expected += ["400"] if looks_only else ["400", "409"]
    for status in sorted(expected):
        answers[status] = {
            "description": ANSWERS[status],
            "content": {MEDIA_TYPE: {"schema": {"$ref": PROBLEM}}},
        }


def _scopes(dependant: Dependant) -> Iterator[str | None]:
    """The scopes asked for; None is a token without any; nothing is no token at all."""
    if isinstance(dependant.call, Needs):
        yield dependant.call.scope
    for inner in dependant.dependencies:
        yield from _scopes(inner)
