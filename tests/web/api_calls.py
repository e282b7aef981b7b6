"""A program that calls the API of the practice in web_world, with a token of its own."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from httpx2 import Response
from web_world import World

from rungwise.coach.accounts.api_tokens import SCOPES, NewToken, make_token
from rungwise.store.tables import Trainer
from rungwise.web.api import PREFIX

EVERYTHING = tuple(SCOPES)


def token_for(world: World, who: str, scopes: Collection[str] = EVERYTHING, days: int = 30) -> str:
    with world.store.write() as session:
        lead = session.get_one(Trainer, world.trainers["lena"])
        new = NewToken("Records", world.trainers[who], scopes, days)
        return make_token(session, world.clock.now(), lead, new)


@dataclass
class Program:
    """Calls with a token; every action gets a new key unless one is given."""

    world: World
    token: str

    def get(self, path: str, **query: object) -> Response:
        return self.ask("GET", path, params=query)

    def post(self, path: str, key: str | None = None, **body: object) -> Response:
        return self.ask("POST", path, json=body, headers={"Idempotency-Key": key or uuid4().hex})

    def ask(self, method: str, path: str, **more: Any) -> Response:
        headers = {"Authorization": f"Bearer {self.token}", **more.pop("headers", {})}
        return self.world.browser().request(method, PREFIX + path, headers=headers, **more)


def program(world: World, who: str = "tess", scopes: Collection[str] = EVERYTHING) -> Program:
    return Program(world, token_for(world, who, scopes))
