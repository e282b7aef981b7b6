"""The day's texts and their reminders, for any number of clients whose hour has come."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Effects, SetDue
from rungwise.coach.conversation.evolve import evolve
from rungwise.coach.conversation.on_due import on_prompt, on_reminder
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.dossiers import load_many
from rungwise.store.tables import Client, Due
from rungwise.ticks.due import Due as Moment

KINDS = ("prompt", "reminder")


def day_texts_due(session: Session, now: datetime, dues: Sequence[Due]) -> None:
    """Decide on all of these in memory, then store what follows."""
    clients = {due.subject_id: session.get_one(Client, due.subject_id) for due in dues}
    prompted = {
        due.subject_id: due.local_date
        for due in dues
        if due.kind == "prompt" and due.local_date is not None
    }
    dossiers = dict(load_many(session, now, list(clients.values()), prompted=prompted))
    decided = []
    for due in dues:
        dossier = dossiers[due.subject_id]
        effects = _on_due(dossier, due, now)
        decided.append((clients[due.subject_id], dossier, effects))
        if len(dues) > len(clients):  # some have both
            dossiers[due.subject_id] = evolve(dossier, effects)
    for client, dossier, effects in decided:
        apply(session, now, client, dossier, effects)


def _on_due(dossier: Dossier, due: Due, now: datetime) -> Effects:
    if due.local_date is None:
        return Effects(now, (SetDue(due.kind, None),))
    if due.kind == "prompt":
        return on_prompt(dossier, Moment(due.local_date, due.at), now)
    return on_reminder(dossier, due.local_date, now)
