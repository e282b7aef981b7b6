"""The falls that clients told of, each once, whatever way they were told.

A fall (Lamb et al. 2005): an unexpected event in which the person comes to rest on the ground,
the floor or a lower level. Counted is what the day's report says after every answer and
correction, and what was told outside of any report, by a client who gets no texts at present.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row
from sqlmodel import Session, col, select

from rungwise.store.tables import Alert, AlertMessage, Client, Message, Report
from rungwise.ticks.due import zone_named

TOLD_IN = ("fall", "emergency")
# A fall told at night joins the report of the day before or after; it is still one fall.
SAME_FALL_DAYS = 1


def falls_told(
    session: Session, clients: Sequence[Client], since: datetime
) -> dict[int, list[date]]:
    """The local dates of the falls that each client told of since an instant, oldest first."""
    zones = {client.id: zone_named(client.time_zone) for client in clients}
    found: dict[int, set[date]] = defaultdict(set)
    reports = select(col(Report.client_id), col(Report.local_date), col(Report.told)).where(
        col(Report.client_id).in_(zones),
        col(Report.local_date) >= since.date(),
        col(Report.superseded_at).is_(None),
    )
    row: Row[Any]
    for row in session.execute(reports):
        if row.told["fall"] == "yes":
            found[row.client_id].add(row.local_date)
    said = (
        select(col(Alert.client_id), col(Message.reading), col(Message.created_at))
        .join(AlertMessage, col(AlertMessage.alert_id) == col(Alert.id))
        .join(Message, col(Message.id) == col(AlertMessage.message_id))
        .where(
            col(Alert.client_id).in_(zones),
            col(Alert.kind).in_(TOLD_IN),
            col(Message.created_at) >= since,
        )
        .order_by(col(Message.id))
    )
    for row in session.execute(said):
        day = row.created_at.astimezone(zones[row.client_id]).date()
        if _fell(row.reading) and not _near(day, found[row.client_id]):
            found[row.client_id].add(day)
    return {client_id: sorted(days) for client_id, days in found.items() if days}


def _fell(reading: Mapping[str, Any] | None) -> bool:
    return reading is not None and reading.get("fall") == "yes"


def _near(day: date, days: set[date]) -> bool:
    return any(abs(day - one) <= timedelta(days=SAME_FALL_DAYS) for one in days)
