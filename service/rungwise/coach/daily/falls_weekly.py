"""When clients are asked on the calendar whether they fell.

How often is the practice's choice; who does not want it is not asked.
"""

from datetime import date, datetime

from sqlmodel import Session, col, func, select

from rungwise.coach.conversation.falls_asked import asks_about, next_asked, why_not_asked
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.rhythm import rhythm_of, set_wanted
from rungwise.store.due import clear_due, set_due
from rungwise.store.tables import Client, Due, Practice, Question, Trainer
from rungwise.ticks.due import still_worth_sending
from rungwise.time_zone import zone_named

DOWN = "The service was down when it was due."
NOT_YET = "It is not time to ask again."
NOT_WANTED = "The client is not asked about falls."


def schedule_falls(
    session: Session, after: datetime, client: Client, after_date: date | None = None
) -> None:
    """Set when it is next looked whether to ask; nothing where it is not wanted."""
    practice = session.get_one(Practice, client.practice_id)
    wanted = practice.falls_every_weeks > 0 and rhythm_of(session, client.id).falls_asked
    begun = client.consent_at is not None
    due = next_asked(after, client.time_zone, quiet_hours(practice), after_date)
    if wanted and begun and due is not None:
        set_due(session, "falls", client.id, due.at_utc, due.local_date)
    else:
        clear_due(session, "falls", client.id)


def schedule_practice(session: Session, now: datetime, practice: Practice) -> None:
    """The practice asks more or less often from now on."""
    rows = select(Client).where(Client.practice_id == practice.id, Client.state != "invited")
    for client in session.exec(rows).all():
        schedule_falls(session, now, client)


def set_falls_asked(
    session: Session, now: datetime, trainer: Trainer, client: Client, wanted: bool
) -> None:
    """Whether this client is asked about falls."""
    set_wanted(session, now, trainer, client, "falls_asked", wanted)
    schedule_falls(session, now, client)


def why_not(session: Session, at: datetime, due: Due, client: Client) -> str | None:
    """Why nothing would be asked at this due moment; None when it would."""
    practice = session.get_one(Practice, client.practice_id)
    if not rhythm_of(session, client.id).falls_asked or practice.falls_every_weeks == 0:
        return NOT_WANTED
    if asked_since(session, practice, client, due.local_date) is None:
        return NOT_YET
    if not still_worth_sending(due.at, at, client.time_zone, quiet_hours(practice)):
        return DOWN
    return why_not_asked(load_many(session, at, [client])[client.id], at)


def asked_since(
    session: Session, practice: Practice, client: Client, day: date | None
) -> date | None:
    """The first date to be asked about; None where it is not time."""
    if day is None or client.consent_at is None or practice.falls_every_weeks == 0:
        return None
    began = client.consent_at.astimezone(zone_named(client.time_zone)).date()
    last = select(func.max(Question.local_date)).where(
        Question.client_id == client.id, col(Question.kind) == "fall_weekly"
    )
    return asks_about(day, practice.falls_every_weeks, began, session.exec(last).one())
