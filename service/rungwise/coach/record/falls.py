"""The falls that clients told of, each once, whatever way they were told.

A fall (Lamb et al. 2005): an unexpected event in which the person comes to rest on the ground,
the floor or a lower level. Counted is what the day's report says after every answer and
correction, and what was told outside of any report, by a client who gets no texts at present.
Which tellings are one fall is rungwise.evidence.falls' to say.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row
from sqlmodel import Session, col, select

from rungwise.evidence.falls import FallTold, events_of
from rungwise.store.tables import Alert, AlertMessage, Client, Message, Report
from rungwise.ticks.due import zone_named

TOLD_IN = ("fall", "emergency")
# A fall told at night joins the report of the day before or after; it is still one fall.
SAME_FALL = timedelta(days=1)


def falls_told(
    session: Session, clients: Sequence[Client], since: datetime
) -> dict[int, list[date]]:
    """The local dates of the falls that each client told of since an instant, oldest first.

    A date with two falls comes twice.
    """
    zones = {client.id: zone_named(client.time_zone) for client in clients}
    told = _in_reports(session, zones, since)
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
    row: Row[Any]
    for row in session.execute(said):
        if _fell(row.reading):
            day = row.created_at.astimezone(zones[row.client_id]).date()
            back = _refers_back(row.reading)
            told[row.client_id].append(FallTold(day - SAME_FALL, day + SAME_FALL, back))
    return {one: [event.day for event in events_of(falls)] for one, falls in told.items() if falls}


def _in_reports(
    session: Session, zones: Mapping[int, Any], since: datetime
) -> dict[int, list[FallTold]]:
    """The falls in the reports that stand, oldest first; each with whether it refers back."""
    reports = (
        select(
            col(Report.client_id), col(Report.local_date), col(Report.told), col(Report.message_ids)
        )
        .where(
            col(Report.client_id).in_(zones),
            col(Report.local_date) >= since.date(),
            col(Report.superseded_at).is_(None),
        )
        .order_by(col(Report.local_date))
    )
    rows = [row for row in session.execute(reports) if row.told["fall"] == "yes"]
    wanted = {number for row in rows for number in row.message_ids}
    texts = select(col(Message.id), col(Message.reading)).where(col(Message.id).in_(wanted))
    readings: dict[int, Mapping[str, Any] | None] = {
        row.id: row.reading for row in session.execute(texts)
    }
    told: dict[int, list[FallTold]] = defaultdict(list)
    for row in rows:
        fell = [readings.get(number) for number in row.message_ids]
        words = [reading for reading in fell if _fell(reading)]
        back = bool(words) and all(_refers_back(reading) for reading in words)
        told[row.client_id].append(FallTold(row.local_date, row.local_date, back))
    return told


def _fell(reading: Mapping[str, Any] | None) -> bool:
    return reading is not None and reading.get("fall") == "yes"


def _refers_back(reading: Mapping[str, Any] | None) -> bool:
    return reading is not None and reading.get("back_reference") is True
