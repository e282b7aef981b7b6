"""The falls of clients, each once, however often and in whatever way they were told.

A fall (Lamb et al. 2005): an unexpected event in which the person comes to rest on the ground,
the floor or a lower level. Counted are the falls that a trainer recorded; what the day's report
says after every answer and correction; and what was told outside of any report, by a client who
gets no texts at present. The texts of an alert whose falls were recorded are counted by these
alone. Which tellings are one fall is rungwise.evidence.falls' to say.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row
from sqlalchemy import select as select_columns
from sqlmodel import Session, col, select

from rungwise.coach.record.told import as_corrected
from rungwise.evidence.falls import FallEvent, FallTold, events_of
from rungwise.store.tables import Alert, AlertMessage, Client, Fall, Message, Question, Report
from rungwise.time_zone import zone_named

TOLD_IN = ("fall", "emergency")
# A fall told at night joins the report of the day before or after; it is still one fall.
SAME_FALL = timedelta(days=1)
# A day that a trainer enters may be that much older than the alert which it opens.
TOLD_LATER = timedelta(days=31)


def falls_of(
    session: Session, clients: Sequence[Client], since: datetime
) -> dict[int, tuple[FallEvent, ...]]:
    """The falls of each client who had one since an instant, oldest first."""
    found = _Tellings(session, clients, since)
    found.recorded()
    found.in_reports()
    found.in_alerts()
    return {one: events for one, told in found.told.items() if (events := events_of(told))}


def falls_in(session: Session, client: Client, alert: Alert) -> tuple[FallEvent, ...]:
    """The falls that the texts of this one alert tell of, oldest first; those that are recorded
    already, here or for an earlier alert, with their record.
    """
    rows = select(AlertMessage.message_id).where(AlertMessage.alert_id == alert.id)
    found = _Tellings(
        session, [client], alert.opened_at - TOLD_LATER, set(session.exec(rows).all())
    )
    found.recorded()
    found.in_reports()
    found.in_alerts()
    events = events_of(found.told[client.id])
    return tuple(one for one in events if one.record is None or one.tellings > 1)


@dataclass(frozen=True, slots=True)
class _Asked:
    """A yes to whether they fell since `since`: the dates that the fall may be of."""

    since: date
    first: date
    last: date


class _Tellings:
    """What is known of some clients' falls, by client, in the order told; `only` by these texts."""

    def __init__(
        self,
        session: Session,
        clients: Sequence[Client],
        since: datetime,
        only: Set[int] | None = None,
    ) -> None:
        self.session, self.since, self.only = session, since, only
        self.zones = {client.id: zone_named(client.time_zone) for client in clients}
        self.told: dict[int, list[FallTold]] = defaultdict(list)
        self.counted: set[int] = set()
        self.covered = self._covered() if only is None else frozenset[int]()
        self.asked = self._asked()

    def _covered(self) -> Set[int]:
        """The texts of alerts whose falls a trainer recorded."""
        rows = (
            select(AlertMessage.message_id)
            .join(Fall, col(Fall.alert_id) == col(AlertMessage.alert_id))
            .where(col(Fall.client_id).in_(self.zones))
        )
        return set(self.session.exec(rows).all())

    def _asked(self) -> Mapping[int, _Asked]:
        """For each text that said yes to having fallen: the dates that its fall may be of."""
        rows = (
            select(Question, Message.created_at, Message.reading)
            .join(Message, col(Message.id) == col(Question.answer_id))
            .where(
                col(Question.client_id).in_(self.zones),
                col(Question.kind).in_(("fall_weekly", "fall_day")),
                col(Question.answer).is_not(None),
                col(Question.local_date) >= self.since.date(),
            )
        )
        told: dict[tuple[int, date], date] = {}
        weeks: list[Question] = []
        for row, sent_at, reading in self.session.exec(rows).all():
            place = row.client_id, row.local_date
            if row.kind == "fall_day":
                told[place] = date.fromisoformat(row.answer or "")
            elif row.answer == "yes":
                weeks.append(row)
                days_ago = (reading or {}).get("days_ago")
                if days_ago is not None:
                    today = sent_at.astimezone(self.zones[row.client_id]).date()
                    told.setdefault(place, today - timedelta(days=days_ago))
        found = {}
        for row in weeks:
            since = row.since or row.local_date
            day = told.get((row.client_id, row.local_date))
            found[row.answer_id or 0] = _Asked(since, day or since, day or row.local_date)
        return found

    def recorded(self) -> None:
        rows = (
            select(Fall)
            .where(
                col(Fall.client_id).in_(self.zones),
                col(Fall.happened),
                col(Fall.last) >= self.since.date(),
            )
            .order_by(col(Fall.first), col(Fall.id))
        )
        for row in self.session.exec(rows).all():
            injured = None if row.injury is None else row.injury != "none"
            practising = None if row.doing is None else row.doing == "practising"
            self.told[row.client_id].append(
                FallTold(
                    row.first,
                    row.last,
                    again=True,
                    injured=injured,
                    practising=practising,
                    record=row.id,
                )
            )

    def in_reports(self) -> None:
        """The falls in the reports that stand, oldest first; each with whether it refers back."""
        reports = (
            select(
                col(Report.client_id),
                col(Report.local_date),
                col(Report.told),
                col(Report.message_ids),
            )
            .where(
                col(Report.client_id).in_(self.zones),
                col(Report.local_date) >= self.since.date(),
                col(Report.superseded_at).is_(None),
            )
            .order_by(col(Report.local_date))
        )
        rows = [row for row in self.session.execute(reports) if row.told["fall"] == "yes"]
        wanted = {number for row in rows for number in row.message_ids}
        texts = select(col(Message.id), col(Message.reading)).where(col(Message.id).in_(wanted))
        said = {row.id: row.reading for row in self.session.execute(texts)}
        readings = as_corrected(self.session, said)
        for row in rows:
            if self.covered.isdisjoint(row.message_ids):
                self._in_report(row, readings)

    def _in_report(self, row: Row[Any], readings: Mapping[int, Mapping[str, Any] | None]) -> None:
        self.counted.update(row.message_ids)
        texts = [number for number in row.message_ids if self.only is None or number in self.only]
        weeks = [number for number in texts if number in self.asked]
        fell = [number for number in texts if _fell(readings.get(number))]
        own = [readings[number] for number in fell if number not in self.asked]
        for number in weeks:
            self._of_a_week(row.client_id, self.asked[number])
        if own or (not weeks and (texts or self.only is None)):
            back = bool(own) and all(_refers_back(reading) for reading in own)
            told = FallTold(row.local_date, row.local_date, back)
            self.told[row.client_id].append(told)

    def _of_a_week(self, client_id: int, week: _Asked) -> None:
        """Where a fall of that time is known, the client was asked about another one."""
        told = self.told[client_id]
        again = any(week.since <= one.last <= week.last for one in told)
        told.append(FallTold(week.first, week.last, again=again))

    def in_alerts(self) -> None:
        said = (
            select_columns(
                col(Message.id),
                col(Alert.client_id),
                col(Message.reading),
                col(Message.created_at),
                col(Message.local_date),
            )
            .join(AlertMessage, col(AlertMessage.alert_id) == col(Alert.id))
            .join(Message, col(Message.id) == col(AlertMessage.message_id))
            .where(
                col(Alert.client_id).in_(self.zones),
                col(Alert.kind).in_(TOLD_IN),
                col(Message.created_at) >= self.since,
            )
            .order_by(col(Message.id))
        )
        rows: Sequence[Row[Any]] = self.session.execute(said).all()
        right = as_corrected(self.session, {row.id: row.reading for row in rows})
        for row in rows:
            if row.id in self.covered or row.id in self.counted:
                continue
            if self.only is not None and row.id not in self.only:
                continue
            if row.id in self.asked:
                self._of_a_week(row.client_id, self.asked[row.id])
            elif _fell(right[row.id]):
                # What a trainer entered says of which date it is.
                day = row.local_date or row.created_at.astimezone(self.zones[row.client_id]).date()
                told = FallTold(day - SAME_FALL, day + SAME_FALL, _refers_back(right[row.id]))
                self.told[row.client_id].append(told)


def _fell(reading: Mapping[str, Any] | None) -> bool:
    return reading is not None and reading.get("fall") == "yes"


def _refers_back(reading: Mapping[str, Any] | None) -> bool:
    return reading is not None and reading.get("back_reference") is True
