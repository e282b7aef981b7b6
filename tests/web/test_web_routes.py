"""Every route: closed when signed out, closed to forms of others, and to other trainers' ids."""

import re
from collections.abc import Iterable, Iterator

import pytest
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute, Mount, Route
from web_world import World

from service.web.security import HEADERS, LARGEST_FORM

# Open on purpose, each with its reason.
PUBLIC = {
    "/sign-in": "how one gets in",
    "/sign-in/code": "the second step of it; opens only after the password was right",
    "/welcome/{token}": "an invitation or a new password; the address is the secret",
    "/in/{carrier}": "carriers call here; each checks its own signature",
    "/healthz": "monitors look here; figures and sentences without any name",
    "/readyz": "monitors look here; says only that the database answers",
    "/p/{token}": "a text's link; shows a stance and nothing of anybody",
    "/p/{token}.png": "the same as a picture",
    "/calendar/{token}.ics": "calendar programs cannot sign in; the address is the secret",
    "/openapi.json": "lists routes and nothing of anybody",
}


def routes(world: World) -> Iterator[tuple[str, str]]:
    for route in flat(world.app.routes):
        if isinstance(route, Mount):
            assert route.path == "/static"
            continue
        assert isinstance(route, Route | APIRoute), route
        for method in sorted(route.methods or set()):
            if method != "HEAD":
                yield method, route.path


def flat(routes: Iterable[BaseRoute]) -> Iterator[BaseRoute]:
    for route in routes:
        included = getattr(route, "original_router", None)
        yield from flat(included.routes) if included else [route]


def filled(path: str, client: int = 1) -> str:
    return re.sub(r"\{(\w+)\}", str(client), path)


def test_signed_out_every_route_leads_to_the_sign_in_page(world: World) -> None:
    checked = 0
    for method, path in routes(world):
        if path in PUBLIC:
            continue
        answer = world.browser().request(method, filled(path))
        assert answer.status_code == 303, (method, path, answer.status_code)
        assert answer.headers["location"].startswith("/sign-in"), (method, path)
        checked += 1
    assert checked >= 10


def test_signed_in_no_change_without_the_forms_token(world: World) -> None:
    browser = world.signed_in().browser
    for method, path in routes(world):
        if method == "GET" or path in PUBLIC:
            continue
        for form in ({}, {"csrf": ""}, {"csrf": "made-up"}):
            answer = browser.request(method, filled(path), data=form)
            assert answer.status_code == 403, (method, path, form, answer.status_code)
        answer = browser.request(method, filled(path), json={"csrf": "x"})
        assert answer.status_code == 403, (method, path)
    assert browser.post("/in/handset", data={"text": "x"}).status_code == 403


def test_every_route_with_a_clients_id_is_not_found_for_another_trainer(world: World) -> None:
    world.reply("cy", "I fell over")
    (alert,) = world.alerts("cy")
    theirs = world.clients["cy"]
    browser = world.signed_in("tess")
    for method, path in routes(world):
        if "{" not in path or path in PUBLIC:
            continue
        one = alert.id if "alert" in path else theirs
        address = filled(path, one)
        answer = browser.get(address) if method == "GET" else browser.post(address)
        assert answer.status_code == 404, (method, path, answer.status_code)
    assert browser.get(f"/phone?client={theirs}").status_code == 404
    assert world.alerts("cy")[0].state == "new"


def test_a_practice_lead_sees_every_clients_pages(world: World) -> None:
    browser = world.signed_in("lena")
    for who in world.clients:
        browser.page(f"/clients/{world.clients[who]}")


@pytest.mark.parametrize("path", ["/", "/sign-in", "/nowhere", "/clients/abc", "/static/mark.svg"])
def test_every_answer_has_the_secure_headers(world: World, path: str) -> None:
    answer = world.signed_in().get(path)
    for name in HEADERS:
        assert name in answer.headers, (path, name)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "base-uri 'none'" in policy
    assert "form-action 'self'" in policy
    assert "unsafe" not in policy


def test_static_files_may_be_kept_and_pages_may_not(world: World) -> None:
    browser = world.signed_in()
    sheet = re.search(r'href="(/static/rungwise\.css\?v=\w+)"', browser.page("/"))
    assert sheet
    assert "immutable" in browser.get(sheet[1]).headers["cache-control"]
    assert browser.get("/").headers["cache-control"] == "no-store"


def test_no_page_has_script_or_style_inside_it(world: World) -> None:
    browser = world.signed_in()
    client = world.clients["ada"]
    for path in ("/", "/clients", f"/clients/{client}", f"/clients/{client}/override", "/phone"):
        page = browser.page(path)
        assert "<style" not in page
        assert " style=" not in page
        assert not re.search(r"<script(?! src=)", page)
        assert not re.search(r"\son\w+=", page)


def test_a_form_too_large_is_refused(world: World) -> None:
    browser = world.signed_in()
    answer = browser.post("/sign-out", more="x" * LARGEST_FORM)
    assert answer.status_code == 413


@pytest.mark.parametrize("path", ["/nowhere", "/clients/999999", "/clients/abc", "/alerts/0"])
def test_what_is_not_there_is_a_page_that_says_so(world: World, path: str) -> None:
    page = world.signed_in().page(path, 404)
    assert "<h1>Nothing here</h1>" in page
    assert "Traceback" not in page
