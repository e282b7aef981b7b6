"""What would go out until a moment, to whom and why not: for support. It changes nothing.

It reads what is due and what waits, and says of each what would come of it if nothing happened in
between: no reply, no change by a trainer, and the service running all the time.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from sqlmodel import Session, col, select

from rungwise.coach.daily.falls_weekly import why_not
from rungwise.coach.daily.prompt import DOWN, absence_move, why_no_prompt, why_no_reminder
from rungwise.coach.daily.weekly import weekly_body
from rungwise.coach.record import questions
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.situation import Situation, load, past
from rungwise.concepts.due_kinds import OF_CLIENTS
from rungwise.ladder.moves import PastDay
from rungwise.store.tables import QUEUED, Alert, Client, Due, Incident, Message, Question
from rungwise.ticks.due import next_dues, still_worth_sending

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
    situation = load(session, client) if client is not None else None
    if client is None or situation is None or due.local_date is None:
        return
    if due.kind == "prompt":
        yield from _prompts(session, now, until, due, situation)
        return
    if due.kind == "reminder":
        because = why_no_reminder(session, at, situation, due.local_date)
    elif due.kind == "falls":
        because = why_not(session, at, due, client)
    else:
        because = _weekly(session, at, due, situation)
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


def _prompts(
    session: Session, now: datetime, until: datetime, due: Due, situation: Situation
) -> Iterator[Coming]:
    """The prompt that is due, and those that follow it."""
    client, quiet = situation.client, quiet_hours(situation.practice)
    idle = "" if client.state == "active" else f"The client is {client.state}."
    in_doubt = questions.open_doubt(session, client.id) is not None
    history = past(session, client.id)
    day, at = due.local_date or now.date(), due.at
    settings = situation.settings
    later = next_dues(
        at, client.time_zone, settings.prompt_at, settings.weekdays,
        away=settings.away, quiet=quiet, after_date=day,
    )  # fmt: skip
    while at <= until:
        goes_at = max(at, now)
        because = idle or why_no_prompt(goes_at, situation, at, in_doubt=in_doubt)
        because = because or _absent(situation, history, day)
        would: Would = "no text" if because else "text"
        yield Coming(goes_at, "prompt", client.id, day, would, because)
        following = next(later, None)
        if following is None or client.state != "active":
            return
        day, at = following.local_date, following.at_utc


def _absent(situation: Situation, history: Sequence[PastDay], day: date) -> str:
    move = absence_move(situation, history, day)
    if move is not None and move.kind == "rest":
        return "Away for too long by then: a notice goes instead, and the trainer is told."
    return ""


def _weekly(session: Session, at: datetime, due: Due, situation: Situation) -> str:
    client, day = situation.client, due.local_date
    if client.state != "active":
        return f"The client is {client.state}."
    if not still_worth_sending(due.at, at, client.time_zone, quiet_hours(situation.practice)):
        return DOWN
    if day is not None and weekly_body(session, at, client, day) is None:
        return "No weekly text would be true and kind."
    return ""
