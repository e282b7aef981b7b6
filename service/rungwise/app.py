"""Wires settings, store, carriers, pages and ticks; nothing else."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI

from rungwise.parts import Parts, assemble
from rungwise.settings import Settings
from rungwise.ticks.liveness import Liveness
from rungwise.ticks.scheduler import start_ticks
from rungwise.ticks.watchdog import start_watchdog, watchdog_of
from rungwise.web import mount


def create_app(settings: Settings | None = None, parts: Parts | None = None) -> FastAPI:
    """The ASGI application. `parts` replaces what would be assembled from the settings."""
    here = parts or assemble(settings or Settings.from_environment())

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        liveness = Liveness()
        stop = start_ticks(here, liveness) if here.settings.ticks else None
        # Also where no ticks run: a process of pages notices when the one with ticks is gone.
        unwatch = start_watchdog(watchdog_of(here), liveness)
        yield
        unwatch()
        if stop is not None:
            stop()

    app = FastAPI(title="Rungwise", lifespan=lifespan, openapi_url=None)
    app.state.parts = here
    mount(app)
    return app
