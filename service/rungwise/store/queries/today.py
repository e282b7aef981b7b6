"""What today is for each client, as the database tells it in one query."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, String, and_, case, cast, func, literal, or_, select
from sqlmodel import Session, col

from rungwise.concepts.questions import DOUBTS
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Alert, Client, Due, Message, Question, Report

# What a client's day can be; those that may need the trainer come first.
TODAY = (
    *("silent", "wobbly", "resting", "not_arrived", "held", "missed", "stopped"),
    *("skipped", "replied", "sent", "due", "steady", "none", "paused", "invited"),
)
# Clients who get no texts at present: their state says all there is to say.
IDLE = ("resting", "paused", "stopped", "invited")


def day_of(session: Session, scope: Scope, now: datetime) -> dict[str, list[int]]:
    """The clients by what today is for them, one of TODAY, those first added first."""
    days = Days.at(session, scope, now)
    asked = select(today_is(days), col(Client.id)).where(scope.clients).order_by(col(Client.id))
    found: dict[str, list[int]] = defaultdict(list)
    for state, client_id in session.execute(asked):
        found[state].append(client_id)
    return found


@dataclass(frozen=True, slots=True)
class Days:
    """Today's date in the clients' own calendars: the usual one, and by zone the others."""

    usual: date
    others: tuple[tuple[date, tuple[str, ...]], ...]

    @classmethod
    def at(cls, session: Session, scope: Scope, now: datetime) -> "Days":
        zones = session.execute(select(col(Client.time_zone)).where(scope.clients).distinct())
        here: dict[date, list[str]] = defaultdict(list)
        for zone in sorted(zones.scalars()):
            here[now.astimezone(ZoneInfo(zone)).date()].append(zone)
        usual = max(here, key=lambda day: len(here[day]), default=now.date())
        others = sorted((day, tuple(zones)) for day, zones in here.items() if day != usual)
        return cls(usual, tuple(others))

    def of(self, zone: str) -> date:
        return next((day for day, zones in self.others if zone in zones), self.usual)

    @property
    def as_date(self) -> ColumnElement[date]:
        return self._choose(lambda day: day)

    @property
    def as_text(self) -> ColumnElement[str]:
        return self._choose(date.isoformat)

    def _choose(self, shown: Callable[[date], Any]) -> ColumnElement[Any]:
        usual = literal(shown(self.usual))
        if not self.others:
            return usual
        zones = ((col(Client.time_zone).in_(zones), day) for day, zones in self.others)
        return case(*((there, literal(shown(day))) for there, day in zones), else_=usual)


@lru_cache(maxsize=16)
def today_is(days: Days, *, as_place: bool = False) -> ColumnElement[Any]:
    """What today is for each client, one of TODAY or its place.

    The day's report, open silence, prompt and due time are each looked up by a unique index, and
    only where the one before did not say it all: most clients need one of the four. Kept for the
    day: putting the words of a query together takes longer than most queries.
    """
    values = {code: place if as_place else code for place, code in enumerate(TODAY)}
    idle = ((col(Client.state) == state, values[state]) for state in IDLE)
    looked_up = (
        select(_of_report(values)).where(*todays_report(days)),
        select(literal(values["silent"])).where(
            col(Alert.client_id) == col(Client.id),
            col(Alert.kind) == "silence",
            col(Alert.state) != "handled",
        ),
        select(_of_prompt(values)).where(
            col(Message.once_key)
            == literal("prompt:") + cast(col(Client.id), String) + literal(":") + days.as_text
        ),
        select(literal(values["due"])).where(*todays_due(days)),
    )
    found = (each.correlate(Client).scalar_subquery() for each in looked_up)
    return case(*idle, else_=func.coalesce(*found, literal(values["none"])))


def _of_report(values: dict[str, Any]) -> ColumnElement[Any]:
    told = col(Report.told)
    steadiness = told["steadiness"].as_string()
    wobbly = or_(
        steadiness == "wobbly",
        told[("steadiness_by_side", "left")].as_string() == "wobbly",
        told[("steadiness_by_side", "right")].as_string() == "wobbly",
    )
    return case(
        (told["skipped"].as_boolean(), values["skipped"]),
        (wobbly, values["wobbly"]),
        (steadiness == "steady", values["steady"]),
        else_=values["replied"],
    )


def _of_prompt(values: dict[str, Any]) -> ColumnElement[Any]:
    return case(
        (col(Client.last_reply_at) > col(Message.created_at), values["replied"]),
        (col(Message.state).in_(("failed", "unknown")), values["not_arrived"]),
        (and_(col(Message.state) == "missed", _IN_DOUBT), values["held"]),
        (col(Message.state) == "missed", values["missed"]),
        else_=values["sent"],
    )


# A question about safety is open, so that no prompt goes.
_OPEN = (col(Question.client_id) == col(Client.id), col(Question.answered_at).is_(None))
_DOUBTS = select(col(Question.id)).where(*_OPEN, col(Question.kind).in_(DOUBTS))
_IN_DOUBT = _DOUBTS.correlate(Client).exists()


def todays_report(days: Days) -> tuple[ColumnElement[bool], ...]:
    return (
        col(Report.client_id) == col(Client.id),
        col(Report.local_date) == days.as_date,
        col(Report.superseded_at).is_(None),
    )


def todays_due(days: Days) -> tuple[ColumnElement[bool], ...]:
    return (
        col(Due.kind) == "prompt",
        col(Due.subject_id) == col(Client.id),
        col(Due.local_date) == days.as_date,
    )
