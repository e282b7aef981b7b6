"""Every route called with what schemathesis makes up, signed in and out.

The service describes its routes itself; where a form is read as plain words, the description is
completed with the names of all fields that its pages have.
"""

import re
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import schemathesis
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from httpx2 import Response
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from starlette.routing import Mount, Route
from web_world import START, World, make_world

from rungwise.coach.accounts.invitations import invite
from rungwise.coach.reviews.calendar import new_address
from rungwise.store.tables import SignIn, Trainer
from rungwise.web.http.auth import hashed
from rungwise.web.http.security import HEADERS

TEMPLATES = Path(__file__).parents[2] / "service/rungwise/web/templates"
# Not called when signed in, each with its reason.
LEFT_OUT = {("GET", "/live"): "a stream that stays open; its scope is tested in test_web_live.py"}
# What names or quotes Omar's client, and must never reach Tess.
THEIRS = ("Cy Instance", "2025550202", "zebra-striped", "quartz note")
# What names or quotes anybody, and must never reach whoever is not signed in.
ANYBODYS = (*THEIRS, "Ada Sample", "Bo Specimen", "2025550200", "Tess Example", "example.org")
WORDS = {
    "form": ["csv", "json", "fhir"],
    "kind": ["four_stage", "one_leg", "sppb", "tug"],
    "language": ["en", "es"],
    "name": ["prompt", "first", "safety_fall"],
    "carrier": ["handset", "kannel", "cloud"],
}
FIELDS_AT_ONCE = 8
OUTSIDE = {
    "/in/{carrier}": ("get", "post"),
    "/healthz": ("get",),
    "/readyz": ("get",),
    "/metrics": ("get",),
}
Operation = Any


class Found(AssertionError):
    """A route that answered as none should."""


def call_with(
    operation: Operation, mode: Any, examples: int, seed: int, act: Callable[[Any], None]
) -> None:
    """Give `act` so many cases of the operation, valid or invalid by `mode`."""

    @seeded(seed)
    @settings(
        max_examples=examples,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def call(case: Any) -> None:
        act(case)

    try:
        call()
    except Unsatisfiable:
        # What takes nothing cannot be given anything wrong.
        if mode is GenerationMode.POSITIVE:
            raise


@dataclass
class Fuzzed:
    """A practice under fire: `tess`'s browser, a stranger's, and how many calls there were."""

    world: World
    document: dict[str, Any]
    calls: int = 0
    statuses: dict[int, int] = field(default_factory=dict)

    def operations(self) -> Iterator[Operation]:
        for result in schemathesis.openapi.from_dict(self.document).get_all_operations():
            yield result.ok()

    def attack(self, operation: Operation, examples: int, seed: int = 0) -> None:
        """Call one operation with valid and invalid values, and signed out; Found or nothing."""
        half = max(examples // 2, 1)
        if (operation.method.upper(), operation.path) not in LEFT_OUT:
            self._run(operation, GenerationMode.POSITIVE, examples, seed, signed_in=True)
            self._run(operation, GenerationMode.NEGATIVE, half, seed, signed_in=True)
        self._run(operation, GenerationMode.POSITIVE, half, seed, signed_in=False)

    def _run(
        self, operation: Operation, mode: Any, examples: int, seed: int, *, signed_in: bool
    ) -> None:
        call_with(operation, mode, examples, seed, partial(self._call, signed_in=signed_in))

    def _call(self, case: Any, *, signed_in: bool) -> None:
        browser = TestClient(self.world.app, follow_redirects=False, raise_server_exceptions=False)
        headers = {}
        if signed_in:
            token, csrf = sign_in(self.world, "tess")
            browser.cookies.set("rungwise", token)
            headers["x-csrf-token"] = csrf
        asked = as_request(case)
        asked["headers"] = {**asked.get("headers", {}), **headers}
        try:
            answer = browser.request(**asked)
        except (UnicodeError, ValueError, TypeError) as impossible:
            # No HTTP client can send it, so no server gets it.
            if type(impossible).__module__.startswith("rungwise"):
                raise
            return
        self.calls += 1
        self.statuses[answer.status_code] = self.statuses.get(answer.status_code, 0) + 1
        check(case, answer, signed_in=signed_in)


def as_request(case: Any) -> dict[str, Any]:
    """A case as arguments for our client, whose forms and bodies are named otherwise."""
    asked = case.as_transport_kwargs(base_url="http://testserver")
    data = asked.get("data")
    if data is not None and not isinstance(data, dict):
        asked["content"] = asked.pop("data")
    return {name: value for name, value in asked.items() if value is not None and name != "cookies"}


def sign_in(world: World, who: str) -> tuple[str, str]:
    """A new sign-in without the form, which is throttled: the cookie and the CSRF token."""
    token, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(24)
    now = world.clock.now()
    with world.store.write() as session:
        session.add(
            SignIn(
                trainer_id=world.trainers[who],
                token_hash=hashed(token),
                csrf=csrf,
                created_at=now,
                expires_at=now + timedelta(hours=1),
            )
        )
    return token, csrf


def check(case: Any, answer: Response, *, signed_in: bool) -> None:
    """Found when it is our mistake, tells what it must not, or lacks what every answer has."""
    where = f"{case.method} {case.path} ({'signed in' if signed_in else 'signed out'})"
    well = case.path == "/healthz" and answer.status_code == 503
    if answer.status_code >= 500 and not well:
        raise Found(f"{where}: {answer.status_code}\n{case.as_curl_command()}")
    text = answer.content.decode("utf-8", "replace")
    for words in (*(THEIRS if signed_in else ANYBODYS), "Traceback (most recent"):
        if words in text:
            raise Found(f"{where}: tells {words!r}\n{case.as_curl_command()}")
    lacking = [name for name in HEADERS if name not in answer.headers]
    if lacking:
        raise Found(f"{where}: lacks {lacking}")
    to = answer.headers.get("location", "/")
    if not to.startswith("/") or to.startswith(("//", "/\\")):
        raise Found(f"{where}: leads to {to!r}")


def make_fuzzed(folder: Path, seed: int = 0) -> Fuzzed:
    """A practice where another trainer's client has said and been told things of their own."""
    world = make_world(folder)
    world.reply("cy", "my zebra-striped knee hurts")
    world.reply("ada", "I fell over")
    omar = world.signed_in("omar")
    note = omar.post(f"/clients/{world.clients['cy']}/notes", body="a quartz note")
    assert note.status_code == 303, note.text
    with world.store.write() as session:
        invite(session, START, session.get_one(Trainer, world.trainers["lena"]), "Nia", "n@x.test")
        token = new_address(session, START, session.get_one(Trainer, world.trainers["omar"]))
    assert token
    return Fuzzed(world, complete(world, seed))


def complete(world: World, seed: int) -> dict[str, Any]:
    """The service's own description, with the forms and the routes that it leaves out.

    A form gets some of the fields that pages have, others with another seed.
    """
    chosen = Random(seed)
    document = world.app.openapi()
    for path, methods in OUTSIDE.items():
        names = re.findall(r"\{(\w+)\}", path)
        parameters = [
            {"name": name, "in": "path", "required": True, "schema": {}} for name in names
        ]
        document["paths"][path] = {
            method: {"parameters": parameters, "responses": {}} for method in methods
        }
    names = sorted({name for file in TEMPLATES.glob("*.html") for name in field_names(file)})
    assert len(names) > 30
    for operations in document["paths"].values():
        for method, operation in operations.items():
            for parameter in operation.get("parameters", ()):
                if parameter["in"] == "path":
                    parameter["schema"] = of_path(parameter["name"])
            if method == "post" and "requestBody" not in operation:
                some = chosen.sample(names, FIELDS_AT_ONCE)
                content = {"application/x-www-form-urlencoded": {"schema": form_of(some)}}
                operation["requestBody"] = {"content": content}
    return document


def form_of(names: list[str]) -> dict[str, Any]:
    words = {"type": "string", "maxLength": 60}
    properties = dict.fromkeys(names, words)
    return {"type": "object", "properties": properties, "additionalProperties": False}


def field_names(file: Path) -> list[str]:
    text = file.read_text(encoding="utf-8")
    given = re.findall(r'name="(\w+)"', text) + re.findall(r'fields\.\w+\("(\w+)"', text)
    return [name for name in given if name != "csrf"]


def of_path(name: str) -> dict[str, Any]:
    """What may stand in a path: what there is, and anything else."""
    if name.endswith("_id"):
        return {"anyOf": [{"enum": [1, 2, 3]}, {"type": "integer"}]}
    return {"anyOf": [{"enum": WORDS.get(name, ["x" * 43])}, {"type": "string", "minLength": 1}]}


def routes_of(world: World) -> set[tuple[str, str]]:
    """Every method and path that the service answers, as it is mounted."""
    found = set()
    waiting = list(world.app.routes)
    while waiting:
        route = waiting.pop()
        included = getattr(route, "original_router", None)
        if included is not None:
            waiting += included.routes
        elif isinstance(route, Route | APIRoute):
            found |= {(method, route.path) for method in route.methods or () if method != "HEAD"}
        else:
            assert isinstance(route, Mount)
    return found
