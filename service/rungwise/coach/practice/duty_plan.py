"""Changing the practice's duty plan; only its lead may, and it is on record."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, col, select

from rungwise.coach.alerting.duty import DAY, Hours, clock_of
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Duty, Practice, Trainer

MOST_HOURS = 200


def change_duty_plan(
    session: Session, now: datetime, lead: Trainer, hours: Sequence[Hours]
) -> None:
    """Put these hours in place of the practice's whole plan; with none there is no plan."""
    require_lead(lead)
    practice = session.get_one(Practice, lead.practice_id)
    if len(hours) > MOST_HOURS:
        raise ImpossibleValue("duty plan", f"{len(hours)} stretches", f"at most {MOST_HOURS}")
    rows = select(Trainer.id).where(
        Trainer.practice_id == practice.id, col(Trainer.active).is_(True)
    )
    known = set(session.exec(rows).all())
    if any(one.trainer_id not in known for one in hours):
        raise ImpossibleValue("who", "somebody", "a trainer of the practice who can sign in")
    session.execute(delete(Duty).where(col(Duty.practice_id) == practice.id))
    for one in sorted(set(hours)):
        session.add(_row(practice, one))
    listed = [
        [one.trainer_id, one.weekday, clock_of(one.begins), clock_of(one.ends)] for one in hours
    ]
    record(session, now, lead, "duty plan", hours=listed)


def _row(practice: Practice, hours: Hours) -> Duty:
    ends = "23:59" if hours.ends == DAY else clock_of(hours.ends)
    return Duty(
        practice_id=practice.id,
        trainer_id=hours.trainer_id,
        weekday=hours.weekday,
        begins=clock_of(hours.begins),
        ends=ends,
    )
