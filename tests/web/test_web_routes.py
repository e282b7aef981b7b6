"""Every route: closed when signed out, closed to forms of others, and to other trainers' ids."""

import re
from collections.abc import Iterable, Iterator

import pytest
from fastapi import Request
from fastapi.routing import APIRoute
from starlette.routing import BaseRoute, Mount, Route
from web_world import World

from rungwise.store.tables import Client
from rungwise.web.http.auth import PartsHere, Signed, SignInFirst, find_sign_in, real_now
from rungwise.web.http.security import HEADERS, LARGEST_FORM

# Open on purpose, each with its reason.
PUBLIC = {
    "/sign-in": "how one gets in",
    "/sign-in/code": "the second step of it; opens only after the password was right",
    "/sign-in/passkey": "a way in; what is not signed by a passkey of a trainer's is refused",
    "/sign-in/passkey/options": "what a browser is given to sign, once and soon",
    "/sign-in/organisation": "on to an organisation's own sign-in, where one is set up",
    "/sign-in/organisation/back": "back from there; what is not signed by it is refused",
    "/sign-in/forgotten": "a link by e-mail, where mail is set up; answers all addresses alike",
    "/welcome/{token}": "an invitation or a new password; the address is the secret",
    "/in/{carrier}": "carriers call here; each checks its own signature",
    "/healthz": "monitors look here; figures and sentences without any name",
    "/metrics": "not there unless asked from this machine or with its own token: test_metrics.py",
    "/readyz": "monitors look here; says only that the database answers",
    "/p/{token}": "a text's link; shows a stance and nothing of anybody",
    "/p/{token}.png": "the same as a picture",
    "/calendar/{token}.ics": "calendar programs cannot sign in; the address is the secret",
}


def routes(world: World, below: str = "/") -> Iterator[tuple[str, str]]:
    """Method and path of everything that is mounted, under the path `below`."""
    for route in flat(world.app.routes):
        if isinstance(route, Mount):
            # The API asks for a token: test_api.py.
            assert route.path in ("/static", "/api/v1")
            continue
        assert isinstance(route, Route | APIRoute), route
        for method in sorted(route.methods or set()):
            if method != "HEAD" and route.path.startswith(below):
                yield method, route.path


def flat(routes: Iterable[BaseRoute]) -> Iterator[BaseRoute]:
    for route in routes:
        included = getattr(route, "original_router", None)
        yield from flat(included.routes) if included else [route]


def filled(path: str, client: int = 1) -> str:
    return re.sub(r"\{(\w+)\}", str(client), path)


# --- the walks: each names the routes that fail it ------------------------------------------------


def open_to_strangers(world: World, below: str = "/") -> list[str]:
    """Routes that do not send whoever is signed out to the sign-in page."""
    found = []
    for method, path in routes(world, below):
        if path in PUBLIC:
            continue
        answer = world.browser().request(method, filled(path))
        to = answer.headers.get("location", "")
        if answer.status_code != 303 or not to.startswith("/sign-in"):
            found.append(f"{method} {path}")
    return found


def changed_without_the_token(world: World, below: str = "/") -> list[str]:
    """Routes that take a change from a signed-in browser without the form's token."""
    browser = world.signed_in().browser
    found = []
    for method, path in routes(world, below):
        if method == "GET" or path in PUBLIC:
            continue
        forms: list[dict[str, str]] = [{}, {"csrf": ""}, {"csrf": "made-up"}]
        answers = [browser.request(method, filled(path), data=form) for form in forms]
        answers.append(browser.request(method, filled(path), json={"csrf": "x"}))
        if any(answer.status_code != 403 for answer in answers):
            found.append(f"{method} {path}")
    return found


def shown_to_another_trainer(
    world: World, client_id: int, alert_id: int, below: str = "/"
) -> list[str]:
    """Routes with an id in them that Tess may use for Omar's client or alert."""
    browser = world.signed_in("tess")
    found = []
    for method, path in routes(world, below):
        if "{" not in path or path in PUBLIC:
            continue
        address = filled(path, alert_id if "alert" in path else client_id)
        answer = browser.get(address) if method == "GET" else browser.post(address)
        if answer.status_code != 404:
            found.append(f"{method} {path}")
    return found


def test_signed_out_every_route_leads_to_the_sign_in_page(world: World) -> None:
    assert open_to_strangers(world) == []
    assert len([path for _, path in routes(world) if path not in PUBLIC]) >= 80


def test_signed_in_no_change_without_the_forms_token(world: World) -> None:
    assert changed_without_the_token(world) == []
    browser = world.signed_in().browser
    assert browser.post("/in/handset", data={"text": "x"}).status_code == 403


def test_every_route_with_a_clients_id_is_not_found_for_another_trainer(world: World) -> None:
    world.reply("cy", "I fell over")
    (alert,) = world.alerts("cy")
    theirs = world.clients["cy"]
    assert shown_to_another_trainer(world, theirs, alert.id) == []
    browser = world.signed_in("tess")
    assert browser.get(f"/phone?client={theirs}").status_code == 404
    assert world.alerts("cy")[0].state == "new"


# --- the walks would name a route that lacks what they look for -----------------------------------

NEW = "/newly-made"


def test_a_new_route_without_sign_in_is_named(world: World) -> None:
    world.app.add_api_route(NEW, lambda: "everybody's clients")
    world.app.add_api_route(NEW, lambda: "done", methods=["POST"])
    assert open_to_strangers(world, NEW) == ["GET /newly-made", "POST /newly-made"]


def test_a_new_form_without_the_token_is_named(world: World) -> None:
    def delete_it(request: Request, parts: PartsHere) -> str:
        """Asks for a sign-in, and for nothing else: what a route of another router would do."""
        with parts.store.read() as session:
            token = request.cookies.get("rungwise", "")
            if find_sign_in(session, token, real_now(parts)) is None:
                raise SignInFirst("/")
        return "deleted"

    world.app.add_api_route(NEW, delete_it, methods=["POST"])
    assert open_to_strangers(world, NEW) == []
    assert changed_without_the_token(world, NEW) == ["POST /newly-made"]


def test_a_new_page_of_any_client_is_named(world: World) -> None:
    def show(visit: Signed, client_id: int) -> str:
        """Asks for a sign-in, and not whose client it is."""
        with visit.parts.store.read() as session:
            return session.get_one(Client, client_id).name

    world.app.add_api_route(f"{NEW}/{{client_id}}", show)
    world.reply("cy", "I fell over")
    (alert,) = world.alerts("cy")
    named = shown_to_another_trainer(world, world.clients["cy"], alert.id, NEW)
    assert named == ["GET /newly-made/{client_id}"]
    assert open_to_strangers(world, NEW) == []
    assert changed_without_the_token(world, NEW) == []


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
