"""Agreeing to texts, STOP and START. STOP works at once, always, and is confirmed once."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.daily.exchange import Exchange
from rungwise.coach.daily.prompt import schedule_next
from rungwise.coach.daily.safety import rest_client
from rungwise.coach.outbox.texts import Text, cancel_all, queue_to_client
from rungwise.coach.record import questions
from rungwise.coach.record.clearance import refuse_uncleared
from rungwise.coach.record.wording import wording_of
from rungwise.reply.reading import Reading
from rungwise.store.due import clear_due
from rungwise.store.tables import Client, Practice
from rungwise.wording.texts import language_of, render

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

    AskFirst or NotByText, and nothing happens, while the client's screening stands against it.
    """
    refuse_uncleared(session, client.id)
    client.consent_at = now
    client.consent_wording = consent_wording(practice, client.language)
    client.state = "active"
    client.state_since = now
    session.add(client)
    body = render(
        "first",
        client.language,
        wording_of(session, practice.id, client.language),
        called=client.called,
        practice=practice.name,
        number=practice.emergency_number,
    )
    queue_to_client(
        session, now, practice, client, Text("welcome", body, once_key=f"welcome:{client.id}")
    )
    schedule_next(session, now, client)


def hear(exchange: Exchange) -> None:
    """STOP, START, and whatever comes from someone who gets no texts from us."""
    reading = exchange.reading
    if alarming(reading):
        _alarm(exchange)
    if reading.kind == "opt_out":
        _stop(exchange)
    elif reading.kind == "opt_in":
        _start(exchange)
    elif not alarming(reading):
        exchange.alert("question", "No text was sent: this client gets none at present.")


def alarming(reading: Reading) -> bool:
    """Whether a text tells of harm, or may tell of a fall."""
    return reading.emergency or reading.fall != "no" or "yes" in (reading.pain, reading.dizzy)


def _alarm(exchange: Exchange) -> None:
    """A fall told by someone we may not text: the trainer is paged, and they get one answer.

    It answers their own text and can save a life, so it goes even after STOP.
    """
    reading = exchange.reading
    kind = "emergency" if reading.emergency else "fall"
    if kind == "fall" and reading.fall == "no":
        kind = "pain" if reading.pain == "yes" else "dizziness"
    rest_client(exchange.session, exchange.now, exchange.client)
    did = "Practice was stopped and the safety text sent. Please phone: texts may have ended."
    exchange.alert(kind, did, "urgent")
    if reading.kind != "opt_out":
        exchange.say("safety_emergency" if reading.emergency else "safety_fall", "safety")


def _stop(exchange: Exchange) -> None:
    session, client = exchange.session, exchange.client
    if client.state == "stopped":
        return
    client.stopped_from = client.state
    client.state = "stopped"
    client.state_since = exchange.now
    session.add(client)
    cancel_all(session, client.id)
    for kind in ("prompt", "reminder"):
        clear_due(session, kind, client.id)
    questions.close_all(session, exchange.now, client.id)
    exchange.alert("opted_out", "Texts ended at once, and that was confirmed.")
    exchange.say("stop_done", "opt_out")


def _start(exchange: Exchange) -> None:
    """Texts go on, and a client who was resting rests on: only the trainer ends a rest."""
    session, client = exchange.session, exchange.client
    if client.state == "stopped":
        client.state = client.stopped_from or "active"
        client.stopped_from = None
        client.state_since = exchange.now
        session.add(client)
    schedule_next(session, exchange.now, client)
    exchange.say("start_done" if client.state == "active" else "start_resting")
