"""When a client's next prompt is due, worked out and stored; and what it would say."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.conversation.day_text import is_first_day, next_prompt, reminder_of, task_body
from rungwise.coach.daily.dossier_rows import prompted_of
from rungwise.coach.record.codec import PlanSettings
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.situation import Situation, load
from rungwise.coach.record.wording import wording_of
from rungwise.ladder.rungs import Rung
from rungwise.store.due import clear_due, due_of, set_due
from rungwise.store.tables import Client, Practice
from rungwise.ticks.due import Due


def schedule_next(session: Session, after: datetime, client: Client) -> None:
    """Set when the next prompt is due, as it is now that a plan, a state or a zone has changed."""
    situation, due = load(session, client), None
    if situation is not None and client.state == "active":
        last = prompted_of(session, [client.id])[client.id].last
        quiet = quiet_hours(situation.practice)
        due = next_prompt(situation.settings, client.time_zone, quiet, after, last)
    _set(session, "prompt", client, due)


def schedule_anew(session: Session, now: datetime, client: Client) -> None:
    """Set the next prompt and a reminder that waits by another zone's clock."""
    schedule_next(session, now, client)
    situation = load(session, client)
    waits = due_of(session, "reminder", client.id)
    if situation is not None and waits is not None and waits.local_date is not None:
        due = reminder_of(situation.settings, client.time_zone, waits.local_date, now)
        _set(session, "reminder", client, due)


def _set(session: Session, kind: str, client: Client, due: Due | None) -> None:
    if due is None:
        clear_due(session, kind, client.id)
    else:
        set_due(session, kind, client.id, due.at_utc, due.local_date)


def prompt_body(
    session: Session,
    situation: Situation,
    rung: Rung,
    link: str = "",
    *,
    first_day: bool = False,
) -> str:
    """The exact text the client gets for this rung, with a link to its picture if there is one."""
    client = situation.client
    wording = wording_of(session, client.practice_id, client.language)
    body, telling = situation.measures.body, situation.telling(first_day=first_day)
    return task_body(rung, body, telling, client.language, wording, link)


def next_text(session: Session, situation: Situation, now: datetime) -> str:
    """The next day's text, as things stand, without a link."""
    due = _next(situation.settings, situation.client, situation.practice, now)
    rung = situation.rung_on(due.local_date if due else situation.local_date(now))
    last_key = prompted_of(session, [situation.client_id])[situation.client_id].last_key
    return prompt_body(session, situation, rung, first_day=is_first_day(last_key, rung.key))


def next_prompts(settings: PlanSettings, client: Client, practice: Practice, now: datetime) -> str:
    """When the next prompt would go, in the client's own time, for the trainer to read."""
    due = _next(settings, client, practice, now)
    if due is None:
        return "never"
    return f"{due.local_date:%a %d %b} {practice.measures.hour(settings.prompt_at)}"


def _next(settings: PlanSettings, client: Client, practice: Practice, now: datetime) -> Due | None:
    return next_prompt(settings, client.time_zone, quiet_hours(practice), now)
