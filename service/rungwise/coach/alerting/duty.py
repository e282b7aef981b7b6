"""Who is paged: the client's own trainer, or whoever is on duty at this weekday and hour.

The duty plan is a week in the practice's own time. Where nobody is on duty, the client's own
trainer and the practice leads are paged, for an urgent alert must reach somebody.
"""

import logging
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, select

from rungwise.errors import ImpossibleValue
from rungwise.store.salvage import salvage, salvage_one
from rungwise.store.tables import Client, Duty, Practice, Trainer

log = logging.getLogger(__name__)

LAST_MINUTE = time(23, 59)
DAY = 24 * 60
WEEK = 7 * DAY


@dataclass(frozen=True, slots=True, order=True)
class Hours:
    """A trainer's hours on one weekday, Monday 0: minutes of the day, `ends` 1440 for midnight."""

    weekday: int
    begins: int
    ends: int
    trainer_id: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Minutes of the week from Monday 0:00, and who is on duty in them. `ends` may lie beyond
    Sunday's midnight.
    """

    begins: int
    ends: int
    who: tuple[int, ...] = ()


def whom_to_page(
    session: Session, now: datetime, practice: Practice, client: Client
) -> list[Trainer]:
    """The trainers to page about this client now, never nobody.

    Without a duty plan it is the client's own trainer. With one, the client's trainer while on
    duty, else those who are on duty; when nobody is, the client's trainer and the practice's
    leads, for an urgent alert must reach somebody.
    """
    own = salvage_one(session, Trainer, client.trainer_id).row
    plan = duty_plan(session, practice)
    if not plan:
        return [own] if own.active else leads_of(session, practice) or [own]
    found = _on_duty(session, now, practice, plan)
    if own in found:
        return [own]
    if found:
        return found
    everyone = {own.id: own} if own.active else {}
    everyone |= {lead.id: lead for lead in leads_of(session, practice)}
    return list(everyone.values()) or [own]


def on_duty_now(session: Session, now: datetime, practice: Practice) -> list[Trainer]:
    """The trainers to page about what is nobody's client: those on duty and every lead."""
    found = _on_duty(session, now, practice, duty_plan(session, practice))
    everyone = {one.id: one for one in (*found, *leads_of(session, practice))}
    return list(everyone.values()) or _active(session, col(Trainer.practice_id) == practice.id)


def _on_duty(
    session: Session, now: datetime, practice: Practice, plan: Sequence[Duty]
) -> list[Trainer]:
    try:
        ids = on_duty_at(plan, now, practice.time_zone)
    except (ValueError, KeyError, OSError) as problem:
        # A wrong zone or hour in the plan must not leave an alert unpaged: as when nobody is on.
        log.error("the duty plan of practice %s cannot be read: %s", practice.id, problem)
        return []
    return _active(session, col(Trainer.id).in_(ids))


def _active(session: Session, which: ColumnElement[bool]) -> list[Trainer]:
    rows = select(Trainer.id).where(which, col(Trainer.active).is_(True))
    ids = session.exec(rows.order_by(col(Trainer.id))).all()
    return [each.row for each in salvage(session, Trainer, ids)]


def duty_plan(session: Session, practice: Practice) -> list[Duty]:
    return list(session.exec(select(Duty).where(Duty.practice_id == practice.id)).all())


def on_duty_at(plan: Iterable[Duty], now: datetime, zone: str) -> set[int]:
    """The ids of the trainers whose hours hold this instant; `ends` 23:59 means until midnight."""
    local = now.astimezone(ZoneInfo(zone))
    at = local.time()
    return {
        duty.trainer_id
        for duty in plan
        if duty.weekday == local.weekday()
        and time.fromisoformat(duty.begins) <= at
        and (at < time.fromisoformat(duty.ends) or time.fromisoformat(duty.ends) == LAST_MINUTE)
    }


def leads_of(session: Session, practice: Practice) -> list[Trainer]:
    """The practice's leads who may sign in."""
    lead = and_(col(Trainer.practice_id) == practice.id, col(Trainer.role) == "lead")
    return _active(session, lead)


# --- the plan as hours, and what it covers --------------------------------------------------------


def hours_of(plan: Iterable[Duty]) -> list[Hours]:
    """The stored plan, Monday first."""
    return sorted(
        Hours(duty.weekday, _minute(duty.begins), _end(duty.ends), duty.trainer_id) for duty in plan
    )


def _minute(words: str) -> int:
    at = time.fromisoformat(words)
    return at.hour * 60 + at.minute


def _end(words: str) -> int:
    return DAY if time.fromisoformat(words) == LAST_MINUTE else _minute(words)


def stretches(hours: Sequence[Hours]) -> list[Stretch]:
    """The week cut where anybody begins or ends, each with who is on duty; nothing is left out."""
    edges = sorted(
        {0, WEEK}
        | {one.weekday * DAY + one.begins for one in hours}
        | {one.weekday * DAY + one.ends for one in hours}
    )
    found: list[Stretch] = []
    for begins, ends in pairwise(edges):
        who = tuple(
            sorted(
                {
                    one.trainer_id
                    for one in hours
                    if one.weekday * DAY + one.begins <= begins < one.weekday * DAY + one.ends
                }
            )
        )
        if found and found[-1].who == who:
            found[-1] = Stretch(found[-1].begins, ends, who)
        else:
            found.append(Stretch(begins, ends, who))
    if len(found) > 1 and found[0].who == found[-1].who:
        # The week goes round: what ends on Sunday night goes on on Monday morning.
        first, last = found[0], found.pop()
        found[0] = Stretch(last.begins, WEEK + first.ends, first.who)
        found.append(found.pop(0))
    return found


def gaps(hours: Sequence[Hours]) -> list[Stretch]:
    """When nobody is on duty."""
    return [one for one in stretches(hours) if not one.who]


def overlaps(hours: Sequence[Hours]) -> list[Stretch]:
    """When several are on duty: all of them are paged, unless the client's own trainer is there."""
    return [one for one in stretches(hours) if len(one.who) > 1]


def stretch_at(hours: Sequence[Hours], now: datetime, zone: str) -> Stretch:
    """The stretch of the plan that holds this instant."""
    local = now.astimezone(ZoneInfo(zone))
    at = local.weekday() * DAY + local.hour * 60 + local.minute
    for one in stretches(hours):
        if one.begins <= at < one.ends or one.begins <= at + WEEK < one.ends:
            return one
    raise AssertionError("the stretches cover the whole week")


def overnight(weekday: int, begins: int, ends: int, trainer_id: int) -> list[Hours]:
    """Hours as people say them: 22:00 to 7:00 goes on the next morning, 0:00 to 0:00 all day.

    ImpossibleValue for hours that end as they begin, or lie outside a day or a week.
    """
    if not 0 <= weekday <= 6:  # the days of a week
        raise ImpossibleValue("weekday", weekday, "0 (Monday) to 6 (Sunday)")
    if not (0 <= begins < DAY and 0 <= ends <= DAY):
        raise ImpossibleValue("duty hours", f"{begins} to {ends}", "minutes within a day")
    ends = DAY if ends == 0 else ends
    if begins == ends:
        raise ImpossibleValue("duty hours", clock_of(begins), "from one time until another")
    if begins < ends:
        return [Hours(weekday, begins, ends, trainer_id)]
    evening = Hours(weekday, begins, DAY, trainer_id)
    return [evening, Hours((weekday + 1) % 7, 0, ends, trainer_id)]


def clock_of(minute: int) -> str:
    """A minute of the day as 08:00; midnight at its end as 24:00."""
    return f"{minute // 60:02}:{minute % 60:02}"
