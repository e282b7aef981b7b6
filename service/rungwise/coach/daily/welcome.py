"""Agreeing to texts: what a client agrees to, and the first text."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.alerting.page_test import refuse_unreached
from rungwise.coach.daily.falls_weekly import schedule_falls
from rungwise.coach.daily.schedule import schedule_next
from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.record.clearance import refuse_uncleared
from rungwise.coach.record.wording import text_for
from rungwise.store.tables import Client, Practice
from rungwise.wording.texts import language_of

CONSENT_WORDING = {
    "en": (
        "I agree to get practice texts from {practice} on this phone. I can end them at any time "
        "by replying STOP. I know that this is not an emergency service."
    ),
    "es": (
        "Acepto recibir mensajes de práctica de {practice} en este teléfono. Puedo terminarlos en "
        "cualquier momento respondiendo STOP. Sé que este no es un servicio de emergencias."
    ),
}


def consent_wording(practice: Practice, language: str) -> str:
    """What a client agrees to, as it is read to them and kept."""
    return CONSENT_WORDING[language_of(language)].format(practice=practice.name)


def welcome(session: Session, now: datetime, practice: Practice, client: Client) -> None:
    """Record consent given to the trainer, send the first text and set the first due time.

    AskFirst or NotByText, and nothing happens, while the client's screening stands against it;
    NotReached while nobody has answered a test page to their trainer.
    """
    refuse_uncleared(session, client.id)
    refuse_unreached(session, client)
    client.consent_at = now
    client.consent_wording = consent_wording(practice, client.language)
    client.state = "active"
    client.state_since = now
    session.add(client)
    body = text_for(session, practice, client, "first")
    text = Text("welcome", body, once_key=f"welcome:{client.id}", name="first")
    queue_to_client(session, now, practice, client, text)
    schedule_next(session, now, client)
    schedule_falls(session, now, client)
