"""For monitors: whether the service is up (/readyz) and well (/healthz). No client is named."""

from dataclasses import asdict
from datetime import UTC, datetime

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from rungwise.coach.monitoring.health import INSTALLATION, health, installation_id
from rungwise.web.callbacks.routes import PartsHere

router = APIRouter()


@router.get("/healthz", include_in_schema=False)
def healthz(parts: PartsHere) -> Response:
    """200 and the figures when all is well, 503 and the problems in sentences when not."""
    with parts.store.read() as session:
        found = health(session, parts.clock.now(), datetime.now(UTC), ticks=parts.settings.ticks)
    return JSONResponse({"well": found.well, **asdict(found)}, 200 if found.well else 503)


@router.get("/readyz", include_in_schema=False)
def readyz(parts: PartsHere) -> Response:
    """200 when the database answers."""
    with parts.store.read() as session:
        session.connection()
    whose = {INSTALLATION: installation_id(parts.settings.database_url)}
    return Response("ready\n", media_type="text/plain", headers=whose)
