"""What would go out until a moment, to whom and why not: for support. It changes nothing.

It reads what is due and what waits, and says of each what would come of it if nothing happened in
between: no reply, no change by a trainer, and the service running all the time.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from sqlmodel import Session, col, select

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Missed, Say
from rungwise.coach.conversation.evolve import evolve
from rungwise.coach.conversation.on_due import DOWN, on_prompt, why_no_reminder
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.daily.falls_weekly import why_not
from rungwise.coach.daily.weekly import weekly_body
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.concepts.client_states import State
from rungwise.concepts.due_kinds import OF_CLIENTS
from rungwise.store.tables import (
    QUEUED,
    Alert,
    Client,
    Due,
    Incident,
    Message,
    Placement,
    Practice,
    Question,
)
from rungwise.ticks.due import Due as Moment
from rungwise.ticks.due import still_worth_sending

# What acting on a due row of this kind does, where that is no text to the client.
ELSE: Mapping[str, str] = {
    "doubt": "the trainer is paged: a question about safety was not answered",
    "chain": "the trainer and the second contact are paged again, unless it was handled",
    "escalate": "the trainer and the second contact are paged again, unless the alert was handled",
    "stranger": "whoever is on duty is paged again about an unknown number",
    "retest": "a note to the trainer that a retest or call is due",
    "new_phone": "the trainer is told: the new phone has not answered whether texts go there",
    "reread": "a text that we failed on is tried again",
    "parts": "a long text is read without the parts that did not come",
    "unsent": "an alert to the trainer if a text that must arrive has not left",
    "retention": "words of texts that the practice keeps no longer are removed",
    "unsettled": "an alert to the trainer if a text's fate is still unknown",
}

AWAY = "Away for too long by then: a notice goes instead, and the trainer is told."
Would = Literal["text", "no text", "else"]


@dataclass(frozen=True, slots=True)
class Coming:
    """One thing to come. `at` in UTC; `because` says why there is no text, or what happens else.

    `waiting` when the text is in the outbox already.
    """

    at: datetime
    kind: str
    client_id: int | None
    local_date: date | None
    would: Would
    because: str = ""
    waiting: bool = False


def outlook(session: Session, now: datetime, until: datetime) -> list[Coming]:
    """Everything up to `until`, earliest first; what is overdue counts as coming now."""
    found = list(_waiting(session, now, until))
    rows = select(Due).where(Due.at <= until).order_by(col(Due.at), col(Due.id))
    for due in session.exec(rows).all():
        found += _coming(session, now, until, due)
    return sorted(found, key=lambda each: (each.at, each.client_id or 0, each.kind))


def _waiting(session: Session, now: datetime, until: datetime) -> Iterator[Coming]:
    rows = select(Message).where(QUEUED, Message.not_before <= until)  # type: ignore[operator]
    for message in session.exec(rows).all():
        at = max(message.not_before or message.created_at, now)
        late = message.not_after is not None and at >= message.not_after
        yield Coming(
            at,
            message.kind,
            message.client_id,
            message.local_date,
            "no text" if late else "text",
            "It could not be sent in time." if late else "",
            waiting=True,
        )


def _coming(session: Session, now: datetime, until: datetime, due: Due) -> Iterator[Coming]:
    at = max(due.at, now)
    client = _client_of(session, due)
    if due.kind in ELSE:
        yield Coming(at, due.kind, client.id if client else None, None, "else", ELSE[due.kind])
        return
    if client is None or due.local_date is None or session.get(Placement, client.id) is None:
        return
    if due.kind == "prompt":
        dossier = load_many(session, at, [client])[client.id]
        yield from _prompts(dossier, now, until, Moment(due.local_date, due.at))
        return
    if due.kind == "reminder":
        dossier = load_many(session, at, [client])[client.id]
        because = why_no_reminder(dossier, due.local_date, at)
    elif due.kind == "falls":
        because = why_not(session, at, due, client)
    else:
        because = _weekly(session, at, due, client)
    would: Would = "no text" if because else "text"
    yield Coming(at, due.kind, client.id, due.local_date, would, because or "")


def _client_of(session: Session, due: Due) -> Client | None:
    """The client whom a due row is about, by way of what its subject is."""
    owner: Alert | Incident | Question | Message | None = None
    if due.kind in OF_CLIENTS:
        return session.get(Client, due.subject_id)
    if due.kind == "doubt":
        owner = session.get(Question, due.subject_id)
    elif due.kind == "chain":
        owner = session.get(Incident, due.subject_id)
    elif due.kind == "escalate":
        owner = session.get(Alert, due.subject_id)
    elif due.kind in ("reread", "unsent", "unsettled"):
        owner = session.get(Message, due.subject_id)
    if owner is None or owner.client_id is None:
        return None
    return session.get(Client, owner.client_id)


def _prompts(dossier: Dossier, now: datetime, until: datetime, due: Moment) -> Iterator[Coming]:
    """The prompt that is due, and those that follow it, by the handler that will act on them."""
    upcoming: Moment | None = due
    while upcoming is not None and upcoming.at_utc <= until:
        due, at = upcoming, max(upcoming.at_utc, now)
        idle = "" if dossier.state == State.ACTIVE else f"The client is {dossier.state}."
        effects = on_prompt(dossier, due, at)
        goes = any(isinstance(step, Say) and step.kind == "prompt" for step in effects.steps)
        missed = [step.because for step in effects.steps if isinstance(step, Missed)]
        because = "" if goes else next(iter([*missed, idle or AWAY]))
        would: Would = "text" if goes else "no text"
        yield Coming(at, "prompt", dossier.client_id, due.local_date, would, because)
        dossier = evolve(dossier, effects)
        upcoming = dossier.due.get("prompt")


def _weekly(session: Session, at: datetime, due: Due, client: Client) -> str:
    day, practice = due.local_date, session.get_one(Practice, client.practice_id)
    if client.state != "active":
        return f"The client is {client.state}."
    if not still_worth_sending(due.at, at, client.time_zone, quiet_hours(practice)):
        return DOWN
    if day is not None and weekly_body(session, at, client, day) is None:
        return "No weekly text would be true and kind."
    return ""
