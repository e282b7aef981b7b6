"""Benches of the carriers, and a practice whose callbacks arrive at the real route."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from benches import BENCHES, WIRED, Bench, WiredBench, bench_of
from carrier_site import START, Site, fill
from fastapi import FastAPI
from starlette.testclient import TestClient

from rungwise.clock import HandClock
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.web.callbacks import routes


@pytest.fixture(params=BENCHES)
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    with bench_of(request.param) as bench:
        yield bench


@pytest.fixture(params=WIRED)
def wired(request: pytest.FixtureRequest) -> Iterator[WiredBench]:
    with bench_of(request.param) as bench:
        assert isinstance(bench, WiredBench)
        yield bench


@pytest.fixture
def site(bench: Bench, tmp_path: Path) -> Iterator[Site]:
    store = Store(f"sqlite:///{tmp_path / 'site.sqlite3'}")
    fill(store, bench.carrier.name)
    app = FastAPI()
    app.include_router(routes.router)
    carriers = {bench.carrier.name: bench.carrier}
    app.state.parts = Parts(Settings(ticks=False), store, HandClock(START), carriers)
    with TestClient(app) as web:
        yield Site(store, web)
    store.close()
