"""The local hours in which a practice writes to nobody of its own accord."""

from datetime import time

from rungwise.coach.record.codec import PlanSettings
from rungwise.errors import ImpossibleValue
from rungwise.store.tables import Practice
from rungwise.ticks.due import (
    Quiet,
    quiet_between,
)


def quiet_hours(practice: Practice) -> Quiet:
    return quiet_between(practice.texts_until, practice.texts_from)


def refuse_quiet_hour(practice: Practice, settings: PlanSettings) -> None:
    """A prompt or reminder in quiet hours would never go; better to hear of it now."""
    quiet = quiet_hours(practice)
    hour = practice.measures.hour
    begins, ends = time.fromisoformat(practice.texts_from), time.fromisoformat(practice.texts_until)
    allowed = f"from {hour(begins)} to before {hour(ends)}"
    if quiet.covers(settings.prompt_at):
        raise ImpossibleValue("prompt hour", hour(settings.prompt_at), allowed)
    if settings.reminder_at is not None and quiet.covers(settings.reminder_at):
        raise ImpossibleValue("reminder hour", hour(settings.reminder_at), allowed)
