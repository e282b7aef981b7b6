"""A trainer's hours on duty, put straight into the plan."""

from collections.abc import Sequence

from sqlmodel import Session

from rungwise.store.tables import Duty, Trainer

ALWAYS = [(day, "00:00", "23:59") for day in range(7)]


def put_on_duty(session: Session, trainer: Trainer, hours: Sequence[tuple[int, str, str]]) -> None:
    """Each of the hours is (weekday, begins, ends), Monday 0."""
    for weekday, begins, ends in hours:
        row = Duty(practice_id=trainer.practice_id, trainer_id=trainer.id, weekday=weekday)
        row.begins, row.ends = begins, ends
        session.add(row)
    session.flush()
