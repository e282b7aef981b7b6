"""Every call of the API with made-up values, a few of each; `fuzz_routes.py` makes many."""

from collections.abc import Iterator

import pytest
from fastapi import Request
from fastapi.responses import JSONResponse
from fuzzing import Found
from fuzzing_api import Called, make_called
from schemathesis.core.failures import FailureGroup
from starlette.routing import Route

from rungwise.web.api import ROUTERS

EXAMPLES = 2


@pytest.fixture(scope="module")
def called(tmp_path_factory) -> Iterator[Called]:
    made = make_called(tmp_path_factory.mktemp("called"))
    yield made
    made.world.store.close()


def test_no_call_breaks_answers_otherwise_than_described_or_tells_of_others(called: Called) -> None:
    operations = called.operations()
    for operation in operations:
        called.attack(operation, EXAMPLES)
    described = {(one.method.upper(), one.path) for one in operations}
    assert described == {
        (method, route.path) for router in ROUTERS for route in router.routes
        for method in route.methods
    }  # fmt: skip
    assert {(method, path) for method, path, _ in called.calls} == described
    statuses = {status for _, _, status in called.calls}
    assert statuses >= {200, 404, 422}
    assert called.calls["GET", "/token", 200] >= EXAMPLES


@pytest.mark.parametrize(
    ("answer", "problem"),
    [
        (lambda: JSONResponse({"x": "Cy Instance"}), Found),
        (lambda: JSONResponse({"scopes": "all"}), FailureGroup),
        (lambda: JSONResponse({}, 418), FailureGroup),
        (lambda: JSONResponse({}, 500), FailureGroup),
    ],
)
def test_it_would_find_a_call_that_does(called: Called, answer, problem) -> None:
    def wrong(_request: Request) -> JSONResponse:
        return answer()

    (operation,) = [one for one in called.operations() if one.path == "/token"]
    routes = called.world.app.router.routes
    routes.insert(0, Route("/api/v1/token", wrong))
    try:
        with pytest.raises(problem):
            called.attack(operation, EXAMPLES)
    finally:
        del routes[0]
