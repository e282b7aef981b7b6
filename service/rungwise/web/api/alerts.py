"""Alerts: going through them, one of them, and handling it.

Asking for an alert here does not mark it as seen: a program that reads is no person who has read,
and the trainer is paged until somebody has.
"""

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query, Response
from sqlmodel import Session

from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.situation import load
from rungwise.store.queries import pagination
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.inbox import with_texts
from rungwise.store.tables import Alert, Client
from rungwise.web.api.caller import Caller, Id, Needs
from rungwise.web.api.pagination import Cursor, Limit, Page, last_id, page_of
from rungwise.web.api.shapes import AlertOut, HandleGiven
from rungwise.web.api.writes import Done, Key, once
from rungwise.web.looks import alert_of

router = APIRouter(tags=["alerts"])

Reading = Annotated[Caller, Depends(Needs("alerts:read"))]


@router.get("/alerts")
def alerts(
    called: Reading,
    state: Literal["open", "handled", "all"] = "open",
    urgency: Literal["any", "urgent", "today", "note"] = "any",
    kind: Annotated[str, Query(max_length=20)] = "",
    limit: Limit = 50,
    cursor: Cursor = "",
) -> Page[AlertOut]:
    """Alerts, latest opened first."""
    wanted = pagination.AlertsWanted(state, "" if urgency == "any" else urgency, kind)
    with called.parts.store.read() as session:
        rows = pagination.alerts_before(
            session, Scope.of(called.trainer), wanted, limit + 1, last_id(cursor)
        )
    return page_of(rows, limit, lambda row: row.alert.id, AlertOut.of)


@router.get("/alerts/{alert_id}")
def one_alert(called: Reading, alert_id: Id) -> AlertOut:
    """One alert with the client's words. This does not mark it as seen: only a person can."""
    with called.parts.store.read() as session:
        return _out(session, *alert_of(session, called.trainer, alert_id))


def _out(session: Session, alert: Alert, client: Client) -> AlertOut:
    (entry,) = with_texts(session, [(alert, client)])
    return AlertOut.of(entry)


@router.post("/alerts/{alert_id}/handle", response_model=AlertOut)
def handle_alert(
    called: Annotated[Caller, Depends(Needs("alerts:write"))],
    alert_id: Id,
    key: Key,
    given: HandleGiven,
) -> Response:
    """Close an alert with what was done about it, and say where a resting client goes on.

    Paging stops with it, so call it only for what a person did. A fall needs the answers of its
    checklist, once for all of its incident.
    """

    def act(session: Session) -> Done:
        alert, client = alert_of(session, called.trainer, alert_id)
        handling = Handling(
            given.what_done,
            given.note,
            given.resume_key or None,
            given.after_fall,
            misread=given.misread,
            fall=given.fall,
        )
        situation = load(session, client)
        handle(session, called.now, called.trainer, alert, situation, handling)
        session.flush()
        return Done(_out(session, alert, client), client.id)

    return once(called, key, f"handle alert {alert_id}", given.model_dump(), act)
