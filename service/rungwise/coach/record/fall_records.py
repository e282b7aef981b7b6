"""Falls as a trainer records them: when, and what is known of each."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.coach.record.falls import falls_in
from rungwise.coach.record.fields import day_of
from rungwise.concepts.fall_facts import FALL_FACTS, facts_told
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.store.tables import Alert, AlertMessage, Client, Fall, Message, Trainer
from rungwise.time_zone import zone_named

OLDEST = timedelta(days=366)
LONGEST_NOTE = 2000


@dataclass(frozen=True, slots=True)
class FallRecord:
    """What a trainer knows of a fall: the client's dates between which it was, and facts by name.

    `happened` is false where what was told turned out to be no fall.
    """

    first: date
    last: date
    facts: Mapping[str, str] = field(default_factory=dict)
    happened: bool = True
    note: str = ""


def record_fall(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    told: FallRecord,
    alert: Alert | None = None,
) -> Fall:
    """Keep a fall that was told in `alert`, or outside of any. ImpossibleValue for no such answer,
    and for dates that are to come, over a year old or the wrong way round.
    """
    _check(now, client, told)
    row = Fall(
        client_id=client.id,
        alert_id=alert.id if alert is not None else None,
        first=told.first,
        last=told.last,
        recorded_by=trainer.id,
        recorded_at=now,
    )
    _take(row, now, trainer, told)
    session.add(row)
    session.flush()
    record(session, now, trainer, "fall recorded", client_id=client.id, fall=row.id)
    return row


def change_fall(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    fall_id: int,
    told: FallRecord,
) -> Fall:
    """Put right what was recorded of a fall; a fact that is not given is not known."""
    row = session.get(Fall, fall_id)
    if row is None or row.client_id != client.id:
        raise NotFound("There is no such fall of this client.")
    _check(now, client, told)
    _take(row, now, trainer, told)
    session.add(row)
    record(session, now, trainer, "fall changed", client_id=client.id, fall=row.id)
    return row


def _take(row: Fall, now: datetime, trainer: Trainer, told: FallRecord) -> None:
    row.first, row.last, row.happened = told.first, told.last, told.happened
    row.note = told.note.strip()[:LONGEST_NOTE] or None
    for name in FALL_FACTS:
        setattr(row, name, told.facts.get(name))
    row.recorded_by, row.recorded_at = trainer.id, now


def record_told(
    session: Session,
    now: datetime,
    trainer: Trainer,
    client: Client,
    alert: Alert,
    answers: Mapping[str, str],
    beside: Mapping[str, str],
) -> None:
    """Keep the falls told in an alert, each once, with what the checklist tells of the latest.

    `beside` is what was asked beside it: facts, and `first` and `last` where the dates are known
    better than they were told. What an earlier record has of the same fall stays.
    """
    strange = sorted(set(beside) - {"first", "last", *FALL_FACTS})
    if strange:
        raise ImpossibleValue("fact of a fall", strange[0], " or ".join(FALL_FACTS))
    facts = facts_told(answers, {name: beside.get(name, "") for name in FALL_FACTS})
    today = now.astimezone(zone_named(client.time_zone)).date()
    told = falls_in(session, client, alert)
    for one in told[:-1]:
        if one.record is None:
            dates = FallRecord(one.first, min(one.last, today))
            record_fall(session, now, trainer, client, dates, alert)
    first, last = (told[-1].first, told[-1].last) if told else (today, today)
    first = day_of(beside["first"]) if beside.get("first") else first
    last = day_of(beside["last"]) if beside.get("last") else max(first, last)
    known = told[-1].record if told else None
    if known is None:
        fall = FallRecord(first, min(last, today), facts)
        record_fall(session, now, trainer, client, fall, alert)
        return
    row = session.get_one(Fall, known)
    row.alert_id = row.alert_id or alert.id
    before = {name: code for name in FALL_FACTS if (code := getattr(row, name))}
    if not (beside.get("first") or beside.get("last")):
        first, last = row.first, row.last
    fall = FallRecord(first, min(last, today), {**before, **facts}, note=row.note or "")
    change_fall(session, now, trainer, client, known, fall)


def told_otherwise(
    session: Session, now: datetime, trainer: Trainer, client: Client, text: Message
) -> None:
    """A text was put right: where its alert's texts tell of no fall any more, there was none."""
    of_text = select(AlertMessage.alert_id).where(AlertMessage.message_id == text.id)
    rows = select(Fall).where(col(Fall.alert_id).in_(of_text), col(Fall.happened))
    for row in session.exec(rows).all():
        if not falls_in(session, client, session.get_one(Alert, row.alert_id)):
            row.happened, row.recorded_by, row.recorded_at = False, trainer.id, now
            session.add(row)
            record(session, now, trainer, "fall changed", client_id=client.id, fall=row.id)


def fall_records(session: Session, client_id: int) -> list[Fall]:
    """The client's recorded falls, latest first, with those that were none."""
    rows = select(Fall).where(Fall.client_id == client_id)
    return list(session.exec(rows.order_by(col(Fall.first).desc(), col(Fall.id).desc())).all())


def _check(now: datetime, client: Client, told: FallRecord) -> None:
    for name, code in told.facts.items():
        if name not in FALL_FACTS:
            raise ImpossibleValue("fact of a fall", name, " or ".join(FALL_FACTS))
        if code not in FALL_FACTS[name].answers:
            raise ImpossibleValue(name, code, " or ".join(FALL_FACTS[name].answers))
    today = now.astimezone(zone_named(client.time_zone)).date()
    if not today - OLDEST <= told.first <= told.last <= today:
        shown = f"{told.first} to {told.last}"
        raise ImpossibleValue("dates of a fall", shown, "within the last year, the earlier first")
