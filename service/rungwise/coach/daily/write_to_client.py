"""A text to a client in the trainer's own words."""

from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from rungwise.coach.outbox.texts import Text, queue_to_client
from rungwise.coach.record.audit import record
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.store.tables import Client, Message, Practice, Trainer
from rungwise.ticks.due import is_quiet
from rungwise.wording.segments import segments, to_gsm7

MOST_SEGMENTS = 4


class GetsNoTexts(ServiceError):
    """This client gets no texts: they stopped them, or have not agreed to them. Phone instead."""


class NightThere(ServiceError):
    """It is outside your practice's texting hours where the client is."""

    def __init__(self, hour: str) -> None:
        super().__init__(
            f"It is {hour} where the client is, outside your practice's texting hours. "
            "Tick the box to send it all the same."
        )


def tidy(body: str) -> str:
    """The text as it will leave: curly quotes and the like made plain, so that it costs less."""
    return to_gsm7(body.replace("\r\n", "\n").strip())


def refuse_text(client: Client, body: str) -> None:
    """Raise what stands against sending this text at all."""
    if client.state in ("stopped", "invited"):
        raise GetsNoTexts
    if not body:
        raise ImpossibleValue("text", "", "some words")
    size = segments(body)
    if size.count > MOST_SEGMENTS:
        allowed = f"at most {MOST_SEGMENTS} segments; this takes {size.count}"
        raise ImpossibleValue("text", f"{body[:20]}…", allowed)


def write_to_client(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    body: str,
    *,
    once: str,
    at_night: bool = False,
) -> Message | None:
    """Queue the text; None when the same form was sent before. The audit trail keeps no words."""
    body = tidy(body)
    refuse_text(client, body)
    practice = session.get_one(Practice, client.practice_id)
    if not at_night and is_quiet(now, client.time_zone, quiet_hours(practice)):
        local = now.astimezone(ZoneInfo(client.time_zone))
        raise NightThere(practice.measures.hour(local.time()))
    text = Text("own", body, once_key=f"own:{client.id}:{once}")
    message = queue_to_client(session, now, practice, client, text)
    if message is not None:
        record(session, now, trainer, "wrote to client", client_id=client.id, text=message.id)
    return message
