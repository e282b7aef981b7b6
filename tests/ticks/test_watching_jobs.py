"""What watches is really started with the service, and ends with it."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from apscheduler.schedulers.background import BackgroundScheduler
from fastapi.testclient import TestClient
from sqlmodel import SQLModel

from rungwise.app import create_app
from rungwise.carriers.handset import Handset
from rungwise.clock import SystemClock
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.ticks.monitoring_jobs import add_watching


@pytest.fixture
def parts(tmp_path: Path) -> Iterator[Parts]:
    store = Store(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    SQLModel.metadata.create_all(store.engine)
    settings = Settings(
        database_url=store.url, ticks=False, heartbeat_url="http://127.0.0.1:9/ping"
    )
    yield Parts(settings, store, SystemClock(), {"handset": Handset("x" * 20)})
    store.close()


def watchdogs() -> list[str]:
    return [one.name for one in threading.enumerate() if one.name == "watchdog"]


@pytest.mark.parametrize("ticks", [True, False])
def test_the_watchdog_lives_as_long_as_the_service(parts: Parts, ticks: bool) -> None:
    """Also in a process that only serves pages: it notices when the one with ticks is gone."""
    parts = replace(parts, settings=parts.settings.model_copy(update={"ticks": ticks}))
    with TestClient(create_app(parts=parts)):
        assert watchdogs() == ["watchdog"]
    assert watchdogs() == []


@pytest.mark.parametrize(
    ("url", "jobs"), [("http://127.0.0.1:9/ping", {"watch", "heartbeat"}), (None, {"watch"})]
)
def test_the_jobs_that_watch_are_added_and_run_however_late(parts: Parts, url, jobs) -> None:
    settings = parts.settings.model_copy(update={"heartbeat_url": url})
    scheduler = BackgroundScheduler(timezone="UTC")
    end = add_watching(scheduler, replace(parts, settings=settings))
    scheduler.start(paused=True)
    found = {job.id: job for job in scheduler.get_jobs()}
    assert set(found) == jobs
    for job in found.values():
        assert (job.misfire_grace_time, job.coalesce, job.max_instances) == (None, True, 1)
        job.func(*job.args)
    scheduler.shutdown()
    end()
