"""The jobs that watch the service itself: carriers that fail, and the heartbeat.

They are not noted with the ticks that act: trouble with them is no reason to call texts stopped.
"""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from apscheduler.schedulers.background import BackgroundScheduler

from rungwise.coach.monitoring.outage_notices import watch_carriers
from rungwise.parts import Parts
from rungwise.ticks.heartbeat import EVERY_S, heartbeat_client, heartbeat_tick

WATCH_EVERY_S = 20.0
ONE_AT_A_TIME: dict[str, Any] = {"misfire_grace_time": None, "coalesce": True, "max_instances": 1}


def add_watching(scheduler: BackgroundScheduler, parts: Parts) -> Callable[[], None]:
    """Add them; what is returned frees what they hold, once the scheduler has stopped."""
    patience = timedelta(minutes=parts.settings.watch_minutes)

    def watch() -> None:
        watch_carriers(parts.store, parts.clock.now(), parts.carriers.keys(), patience)

    scheduler.add_job(watch, "interval", seconds=WATCH_EVERY_S, id="watch", **ONE_AT_A_TIME)
    url = parts.settings.heartbeat_url
    if url is None:
        return lambda: None
    http = heartbeat_client()
    scheduler.add_job(
        heartbeat_tick,
        "interval",
        args=[parts.store, parts.clock, http, url],
        seconds=EVERY_S,
        id="heartbeat",
        **ONE_AT_A_TIME,
    )
    return http.close
