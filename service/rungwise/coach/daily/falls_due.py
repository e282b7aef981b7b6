"""Sunday afternoon has come: asking a client whether they fell."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.conversation.falls_asked import on_falls_asked, tried_again
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.daily.falls_weekly import asked_since, schedule_falls
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.store.due import set_due
from rungwise.store.tables import Client, Due, Practice
from rungwise.ticks.due import still_worth_sending


def falls_due(session: Session, now: datetime, due: Due) -> None:
    """Ask, or try again within the evening, or look again on the next Sunday."""
    client = session.get_one(Client, due.subject_id)
    practice = session.get_one(Practice, client.practice_id)
    since = asked_since(session, practice, client, due.local_date)
    in_time = still_worth_sending(due.at, now, client.time_zone, quiet_hours(practice))
    if since is not None and in_time:
        dossier = load_many(session, now, [client])[client.id]
        later = tried_again(dossier, now)
        if later is not None:
            set_due(session, "falls", client.id, later, due.local_date)
            return
        apply(session, now, client, dossier, on_falls_asked(dossier, since, now))
    schedule_falls(session, max(now, due.at), client, due.local_date)
