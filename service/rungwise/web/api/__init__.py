"""The JSON API under /api/v1: the same actions as the pages, for other programs."""

from functools import cache, partial
from typing import Any

from fastapi import Depends, FastAPI
from fastapi.routing import APIRoute

from rungwise.parts import Parts
from rungwise.web.api import about, actions, alerts, changes, clients, days, edits, plans
from rungwise.web.api.caller import only_known
from rungwise.web.api.document import document
from rungwise.web.api.limits import Limits
from rungwise.web.api.problems import PREFIX, add_problems

__all__ = ["PREFIX", "ROUTERS", "describe", "make_api"]

ROUTERS = (
    *(about.router, clients.router, edits.router, plans.router, actions.router),
    *(days.router, alerts.router, changes.router),
)
DESCRIPTION = """\
The same actions as the pages, through the same code, for other programs of a practice: a records
system, a waiting-room screen, a script of one's own.
"""


def make_api(parts: Parts) -> FastAPI:
    """The API as an application of its own, to be mounted under PREFIX."""
    app = FastAPI(
        title="Rungwise",
        version="1",
        description=DESCRIPTION,
        servers=[{"url": PREFIX}],
        root_path_in_servers=False,
        openapi_url=None,
        separate_input_output_schemas=False,
        generate_unique_id_function=lambda route: route.name,
    )
    app.state.parts = parts
    app.state.limits = Limits(parts.settings.api_per_minute)
    for router in ROUTERS:
        app.include_router(router, dependencies=[Depends(only_known)])
    add_problems(app)
    app.state.routes = own_routes()
    app.state.described = cache(partial(describe, app))
    return app


def describe(app: FastAPI) -> dict[str, Any]:
    """The API as an OpenAPI document."""
    return document(app, own_routes())


def own_routes() -> list[APIRoute]:
    return [route for router in ROUTERS for route in router.routes if isinstance(route, APIRoute)]
