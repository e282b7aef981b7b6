"""/metrics for Prometheus: what this process counted, and what the database knows now.

No label names or numbers a client, a trainer or a practice. What the database knows is the same in
every process; what a process counted is its own, and several are added up.
"""

import ipaddress
from collections.abc import Iterable

from fastapi import APIRouter, HTTPException, Request, Response
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from rungwise.coach.monitoring.health import free_mb
from rungwise.coach.monitoring.metrics import Figures, figures
from rungwise.parts import Parts
from rungwise.web.callbacks.routes import PartsHere
from rungwise.web.http.auth import same

router = APIRouter()

# Field of Figures: its name here, and what it means.
SINGLE = {
    "due_lag_s": ("due_lag_seconds", "How late the oldest due thing is; 0 when nothing is."),
    "due_waiting": ("due_waiting", "Things due and not acted on yet."),
    "urgent_unread": ("urgent_alerts_unread", "Urgent alerts nobody has opened."),
    "urgent_oldest_s": ("urgent_alerts_oldest_seconds", "How long the oldest of them waits."),
    "urgent_unpaged": ("urgent_alerts_unpaged", "Of them, those nobody could be paged about."),
    "unknown_share": ("reader_unknown_share", "Share of the latest replies not understood."),
    "replies": ("reader_replies", "How many latest replies that share is of."),
    "hooks_waiting": ("webhook_calls_waiting", "Calls of webhooks still to be made."),
    "hooks_oldest_s": ("webhook_oldest_seconds", "How long the oldest of them waits."),
}


@router.get("/metrics", include_in_schema=False)
def metrics(request: Request, parts: PartsHere) -> Response:
    """404 for whoever may not know that there is anything here."""
    if not _may_see(request, parts):
        raise HTTPException(404)
    own = generate_latest(parts.meters.registry)
    with parts.store.read() as session:
        found = figures(session, parts.clock.now(), parts.carriers)
    room = GaugeMetricFamily(
        "rungwise_disk_free_bytes",
        "What is free where the database's file lies, or where the service works.",
        free_mb(parts.settings.database_url) * 1_000_000,
    )
    here = generate_latest(_Once([room]))
    return Response(own + exposed(found) + here, media_type=CONTENT_TYPE_LATEST)


def _may_see(request: Request, parts: Parts) -> bool:
    """Whoever shows the token; without one, whoever asks from this machine and for nobody else."""
    token = parts.settings.metrics_token
    if token is not None:
        return same(request.headers.get("authorization", ""), f"Bearer {token}")
    if any(name in request.headers for name in ("forwarded", "x-forwarded-for", "via")):
        return False
    try:
        return ipaddress.ip_address(request.client.host if request.client else "").is_loopback
    except ValueError:
        return False


def exposed(found: Figures) -> bytes:
    """The database's figures in the text format."""
    return generate_latest(_Once(gauges(found)))


class _Once(Collector):
    """Figures read already, as a registry of their own."""

    def __init__(self, families: Iterable[Metric]) -> None:
        self._families = list(families)

    def collect(self) -> Iterable[Metric]:
        return self._families


def gauges(found: Figures) -> Iterable[Metric]:
    """Each figure with its name and what it means."""
    for name, (metric, meaning) in SINGLE.items():
        yield GaugeMetricFamily(f"rungwise_{metric}", meaning, getattr(found, name))
    waiting = GaugeMetricFamily(
        "rungwise_outbox_waiting", "Texts that may leave and have not.", labels=["carrier"]
    )
    oldest = GaugeMetricFamily(
        "rungwise_outbox_oldest_seconds", "How long the oldest of them waits.", labels=["carrier"]
    )
    down = GaugeMetricFamily(
        "rungwise_carrier_down", "1 while a carrier fails and is left alone.", labels=["carrier"]
    )
    for carrier in found.carriers:
        waiting.add_metric([carrier.name], carrier.waiting)
        oldest.add_metric([carrier.name], carrier.oldest_s)
        down.add_metric([carrier.name], float(carrier.down))
    ticks = GaugeMetricFamily(
        "rungwise_tick_last_run_timestamp_seconds",
        "When a tick last finished well.",
        labels=["tick"],
    )
    for name, at in sorted(found.ticks.items()):
        ticks.add_metric([name], at.timestamp())
    yield from (waiting, oldest, down, ticks)
