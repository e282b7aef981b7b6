"""Who is paged: the client's own trainer, or whoever is on duty at this weekday and hour."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.errors import ImpossibleValue
from service.store.tables import Client, Duty, Practice, Trainer

LAST_MINUTE = time(23, 59)


def whom_to_page(
    session: Session, now: datetime, practice: Practice, client: Client
) -> list[Trainer]:
    """The trainers to page about this client now, never nobody.

    Without a duty plan it is the client's own trainer. With one, the client's trainer while on
    duty, else those who are on duty; when nobody is, the client's trainer and the practice's
    leads, for an urgent alert must reach somebody.
    """
    own = session.get_one(Trainer, client.trainer_id)
    plan = list(session.exec(select(Duty).where(Duty.practice_id == practice.id)).all())
    if not plan:
        return [own] if own.active else _leads(session, practice)
    on_duty = on_duty_at(plan, now, practice.time_zone)
    if own.id in on_duty and own.active:
        return [own]
    rows = select(Trainer).where(col(Trainer.id).in_(on_duty), col(Trainer.active).is_(True))
    found = list(session.exec(rows.order_by(col(Trainer.id))).all())
    if found:
        return found
    everyone = {own.id: own} if own.active else {}
    everyone |= {lead.id: lead for lead in _leads(session, practice)}
    return list(everyone.values()) or [own]


def on_duty_at(plan: list[Duty], now: datetime, zone: str) -> set[int]:
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


def _leads(session: Session, practice: Practice) -> list[Trainer]:
    rows = select(Trainer).where(
        Trainer.practice_id == practice.id, Trainer.role == "lead", col(Trainer.active).is_(True)
    )
    return list(session.exec(rows.order_by(col(Trainer.id))).all())


def set_duty(
    session: Session, practice: Practice, trainer: Trainer, hours: list[tuple[int, time, time]]
) -> None:
    """Replace a trainer's duty hours. Each is (weekday, begins, ends), within one day."""
    for weekday, begins, ends in hours:
        if not 0 <= weekday <= 6:  # the days of a week
            raise ImpossibleValue("weekday", weekday, "0 (Monday) to 6 (Sunday)")
        if begins >= ends:
            raise ImpossibleValue("duty hours", f"{begins:%H:%M} to {ends:%H:%M}", "in order")
    for old in session.exec(select(Duty).where(Duty.trainer_id == trainer.id)).all():
        session.delete(old)
    for weekday, begins, ends in hours:
        session.add(
            Duty(
                practice_id=practice.id,
                trainer_id=trainer.id,
                weekday=weekday,
                begins=begins.isoformat("minutes"),
                ends=ends.isoformat("minutes"),
            )
        )
