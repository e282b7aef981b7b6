"""Visits to clients: planned for a day, done in one press, called off."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.record.access import client_of
from rungwise.coach.record.audit import record
from rungwise.coach.record.fields import address, hour
from rungwise.coach.reviews.retests import local_date, reviewed
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, HomeVisit, Trainer

FARTHEST_DAYS = 366
LONGEST_NOTE = 500


@dataclass(frozen=True, slots=True)
class NewVisit:
    """A visit to plan, as filled in. `begins` empty: no hour agreed."""

    day: str
    begins: str = ""
    note: str = ""
    address: str = ""


def plan_visit(
    session: Session, now: datetime, trainer: Trainer, client: Client, new: NewVisit
) -> HomeVisit:
    """Plan a visit by this trainer, and keep where the client lives."""
    day, today = _day(new.day), local_date(client, now)
    if not today <= day <= today + timedelta(days=FARTHEST_DAYS):
        raise ImpossibleValue("day", new.day, "today or a day within the next year")
    begins = hour(new.begins).isoformat("minutes") if new.begins else None
    visit = HomeVisit(
        client_id=client.id,
        trainer_id=trainer.id,
        day=day,
        begins=begins,
        note=new.note.strip()[:LONGEST_NOTE] or None,
        planned_at=now,
    )
    client.address = address(new.address) or None
    session.add(client)
    session.add(visit)
    session.flush()
    record(session, now, trainer, "visit planned", client_id=client.id, day=day.isoformat())
    return visit


def _day(given: str) -> date:
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise ImpossibleValue("day", given, "a date such as 2026-05-01") from None


def visited(session: Session, now: datetime, trainer: Trainer, client: Client) -> HomeVisit:
    """Somebody was there today: the visit planned until now is done, or one that nobody planned.

    A visit is a review. It clears nobody and moves nobody. Pressed twice, it is one visit.
    """
    today = local_date(client, now)
    rows = (
        select(HomeVisit)
        .where(
            HomeVisit.client_id == client.id,
            HomeVisit.day <= today,
            col(HomeVisit.called_off_at).is_(None),
        )
        .order_by(col(HomeVisit.day).desc(), col(HomeVisit.id).desc())
    )
    visit = session.exec(rows).first()
    if visit is not None and visit.done_at is not None and visit.day == today:
        return visit
    if visit is None or visit.done_at is not None:
        visit = HomeVisit(client_id=client.id, trainer_id=trainer.id, day=today, planned_at=now)
    # Planned for yesterday, and today they were there.
    visit.day, visit.done_at, visit.trainer_id = today, now, trainer.id
    session.add(visit)
    session.flush()
    record(session, now, trainer, "visited", client_id=client.id, day=today.isoformat())
    reviewed(session, now, trainer, client, f"Visited on {today:%d %b}.")
    return visit


def call_off(session: Session, now: datetime, trainer: Trainer, visit: HomeVisit) -> None:
    """A planned visit does not take place; one that was marked done by mistake did not either."""
    visit.called_off_at, visit.done_at = now, None
    session.add(visit)
    session.flush()
    record(
        session,
        now,
        trainer,
        "visit called off",
        client_id=visit.client_id,
        day=visit.day.isoformat(),
    )


def visit_of(session: Session, trainer: Trainer, visit_id: int) -> tuple[HomeVisit, Client]:
    """A visit to one of this trainer's clients that is not called off; NotFound otherwise."""
    visit = session.get(HomeVisit, visit_id)
    if visit is None or visit.called_off_at is not None:
        raise NotFound("There is no such visit to your clients.")
    return visit, client_of(session, trainer, visit.client_id)


def visits_between(
    session: Session, scope: Scope, first: date, last: date
) -> list[tuple[HomeVisit, Client]]:
    """The visits to clients of this scope in these days, called off ones left out, by hour."""
    rows = (
        select(HomeVisit, Client)
        .join(Client, col(Client.id) == col(HomeVisit.client_id))
        .where(
            scope.clients,
            col(HomeVisit.day).between(first, last),
            col(HomeVisit.called_off_at).is_(None),
        )
    )
    found = session.exec(rows).all()
    return sorted(found, key=lambda one: (one[0].day, one[0].begins or "~", one[1].name))


def visits_to(session: Session, client_id: int, most: int) -> Sequence[HomeVisit]:
    """The client's visits, latest first, called off ones left out."""
    rows = (
        select(HomeVisit)
        .where(HomeVisit.client_id == client_id, col(HomeVisit.called_off_at).is_(None))
        .order_by(col(HomeVisit.day).desc(), col(HomeVisit.id).desc())
        .limit(most)
    )
    return session.exec(rows).all()
