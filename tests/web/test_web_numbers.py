"""Numbers in addresses and forms that no row can have: a page that says so, never our error."""

from collections.abc import Iterable, Iterator
from itertools import product
from typing import Any

from annotated_types import Ge, Le
from fastapi.routing import APIRoute
from pydantic.fields import FieldInfo
from starlette.routing import BaseRoute
from web_world import World

from rungwise.web.http.auth import LARGEST_ID, NUMBERS_ASKED

HUGE = "9" * 30
# Beyond 32 and 64 bits, below zero, and longer than Python itself reads.
ODD = ("2147483648", "9223372036854775808", HUGE, "-1", "9" * 5000)


TOO_LARGE = (
    f"/clients/{HUGE}",
    f"/clients/-{HUGE}",
    f"/alerts/{HUGE}",
    f"/phone?client={HUGE}",
    "/phone?client=2147483648",
    f"/clients?trainer={HUGE}",
    f"/clients?page={HUGE}",
    f"/clients/1?before={HUGE}",
)


def test_a_number_too_large_for_any_row_is_not_found(world: World) -> None:
    browser = world.signed_in()
    for address in TOO_LARGE:
        assert browser.get(address).status_code in (404, 422), address


def flat(routes: Iterable[BaseRoute]) -> Iterator[APIRoute]:
    for route in routes:
        included = getattr(route, "original_router", None)
        if included:
            yield from flat(included.routes)
        elif isinstance(route, APIRoute):
            yield route


def numbers(routes: Iterable[BaseRoute]) -> Iterator[tuple[APIRoute, str, str, FieldInfo]]:
    """Every whole number that a route takes: the route, where it stands, its name and field."""
    for route in flat(routes):
        for place in ("path", "query", "body"):
            for one in getattr(route.dependant, f"{place}_params"):
                info: Any = one.field_info
                held = getattr(info.annotation, "model_fields", None) or {one.name: info}
                for name, field in held.items():
                    if "int" in str(field.annotation):
                        yield route, place, name, field


def bounded(place: str, name: str, field: FieldInfo) -> bool:
    """Whether the number is bounded as it is read, or by `ids_fit` before it is used."""
    if (place == "path" and name.endswith("_id")) or (place == "query" and name in NUMBERS_ASKED):
        return True
    # A list's items carry their own bounds in its annotation.
    known = [*field.metadata, *getattr(field.annotation, "__args__", ())]
    words = " ".join(str(one) for one in known)
    low = any(isinstance(one, Ge) for one in known) or "ge=" in words
    return low and (any(isinstance(one, Le) for one in known) or "le=" in words)


def test_every_number_that_a_page_takes_is_bounded(world: World) -> None:
    found = list(numbers(world.app.routes))
    assert len(found) > 60
    unbounded = [
        f"{sorted(route.methods or ())} {route.path} {name}"
        for route, place, name, field in found
        if not bounded(place, name, field)
    ]
    assert unbounded == []


def test_a_new_number_without_bounds_is_found(world: World) -> None:
    def look(count: int = 0) -> str:
        return str(count)

    world.app.add_api_route("/new", look)
    named = [name for _, place, name, field in numbers(world.app.routes)
             if not bounded(place, name, field)]  # fmt: skip
    assert named == ["count"]


def test_no_number_in_a_form_or_address_is_an_error_of_ours(world: World) -> None:
    browser = world.signed_in("lena")
    csrf = browser.post("/nowhere").request.content.decode().partition("csrf=")[2].partition("&")[0]
    fields = [one for one in numbers(world.app.routes) if one[1] != "path"]
    assert len(fields) > 25
    for odd, (route, place, name, _) in product(ODD, fields):
        address = route.path.replace("{client_id}", "1").replace("{form}", "csv")
        if place == "query":
            method = "GET" if "GET" in (route.methods or ()) else "POST"
            answer = browser.browser.request(method, f"{address}?{name}={odd}", data={"csrf": csrf})
        else:
            answer = browser.browser.post(address, data={"csrf": csrf, name: odd})
        told = (address, name, odd[:20], answer.status_code)
        assert answer.status_code in (200, 400, 404, 409, 422), told


AGES = (HUGE, "-1", "٧٤", "9" * 2000, "74.5", "1e3")


def test_an_age_that_cannot_be_is_told(world: World) -> None:
    browser = world.signed_in()
    for age in AGES:
        form = {"day": "2026-03-02", "age": age, "sex": "", "note": ""}
        answer = browser.post("/clients/1/retests/new/one_leg", **form)
        assert answer.status_code in (400, 404), (age[:20], answer.text[:300])


def test_the_largest_id_fits_the_column() -> None:
    assert LARGEST_ID == 2**31 - 1
