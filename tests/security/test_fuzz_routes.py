"""Every route with made-up values, a few of each here; `fuzz_routes.py` calls them for longer."""

from collections.abc import Iterator

import pytest
from fastapi import Response
from fuzzing import Found, Fuzzed, make_fuzzed, routes_of
from sqlmodel import select

from rungwise.store.tables import Client
from rungwise.web.http.security import SecureHeaders

EXAMPLES = 2


@pytest.fixture
def fuzzed(tmp_path) -> Iterator[Fuzzed]:
    made = make_fuzzed(tmp_path)
    yield made
    made.world.store.close()


def test_every_route_is_called(fuzzed: Fuzzed) -> None:
    called = {(operation.method.upper(), operation.path) for operation in fuzzed.operations()}
    assert routes_of(fuzzed.world) - called == set()


@pytest.mark.parametrize("half", [0, 1])
def test_no_route_breaks_or_tells_of_others(fuzzed: Fuzzed, half: int) -> None:
    operations = list(fuzzed.operations())[half::2]
    for operation in operations:
        fuzzed.attack(operation, EXAMPLES)
    assert fuzzed.calls > 2 * len(operations)
    assert fuzzed.statuses.keys() >= {200, 303, 400, 404}
    with fuzzed.world.store.read() as session:
        names = {client.name for client in session.exec(select(Client))}
    assert "Cy Instance" in names


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (lambda: 1 / 0, "500"),
        (lambda: Response("Hello Cy Instance"), "tells 'Cy Instance'"),
        (lambda: Response(status_code=303, headers={"location": "//x.test"}), "leads to"),
        (lambda: Response(status_code=502), "502"),
    ],
)
def test_it_would_find_a_route_that_does(fuzzed: Fuzzed, answer, told: str) -> None:
    fuzzed.world.app.add_api_route("/wrong", answer, methods=["GET"])
    fuzzed.document["paths"] = {"/wrong": {"get": {"responses": {}}}}
    (operation,) = fuzzed.operations()
    with pytest.raises(Found, match=told):
        fuzzed.attack(operation, EXAMPLES)


def test_it_would_find_an_answer_without_the_secure_headers(
    fuzzed: Fuzzed, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def bare(self, scope, receive, send) -> None:
        await self.app(scope, receive, send)

    monkeypatch.setattr(SecureHeaders, "__call__", bare)
    operation = next(one for one in fuzzed.operations() if one.path == "/sign-in")
    with pytest.raises(Found, match="lacks"):
        fuzzed.attack(operation, EXAMPLES)
