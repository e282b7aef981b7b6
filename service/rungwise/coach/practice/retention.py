"""How long a practice keeps the words of texts: after that, a nightly tick removes them.

What goes is the words, the pictures' addresses and the links of texts in and out. What stays: that
there was a text, when, between whom, what became of it and what it was read as; reports, moves,
alerts with what was done, notes, and the audit trail, where each removal is a line with its count.
The words behind an alert that nobody has handled stay until somebody has.
"""

from calendar import monthrange
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, delete, null, update
from sqlmodel import Session, and_, col, func, select

from rungwise.coach.record.access import require_lead
from rungwise.coach.record.audit import record, record_by_service
from rungwise.errors import ImpossibleValue
from rungwise.store.due import clear_due, set_due
from rungwise.store.tables import Alert, AlertMessage, InboundPart, Message, Practice, Trainer
from rungwise.ticks.due import next_due
from rungwise.time_zone import local_to_utc

MARK = "(words removed)"
# A progress summary looks back 12 weeks, and a trainer should be able to look behind it. Common
# practice, no source: what must be kept for how long is for the practice to find out.
SHORTEST_MONTHS = 6
LONGEST_MONTHS = 120
DUE = "retention"
AT = time(3, 0)
EVERY_DAY = frozenset(range(7))
# Bounded, so that the first night of an old practice does not hold the database.
BATCH = 2000
GO_ON_AFTER = timedelta(minutes=1)
STILL_LEAVING = ("queued", "sending")


def months_given(words: str) -> int | None:
    """The setting as the page takes it; empty keeps the words for ever. ImpossibleValue else."""
    words = words.strip()
    if not words:
        return None
    whole = words.isascii() and words.isdecimal() and len(words) <= 3
    if not whole or not SHORTEST_MONTHS <= int(words) <= LONGEST_MONTHS:
        allowed = f"empty, or a whole number from {SHORTEST_MONTHS} to {LONGEST_MONTHS}"
        raise ImpossibleValue("months", words, allowed)
    return int(words)


def keep_since(now: datetime, months: int, zone: str) -> datetime:
    """The local midnight so many calendar months ago: what is older goes."""
    today = now.astimezone(ZoneInfo(zone)).date()
    year, month = divmod(today.year * 12 + today.month - 1 - months, 12)
    _, last_day = monthrange(year, month + 1)
    day = date(year, month + 1, min(today.day, last_day))
    return local_to_utc(datetime.combine(day, time(0, 0)), zone)


def how_many_go(session: Session, now: datetime, practice: Practice, months: int) -> int:
    """How many texts would lose their words in the coming night."""
    gone = _goes(practice.id, keep_since(now, months, practice.time_zone))
    return session.exec(select(func.count(col(Message.id))).where(gone)).one()


def _goes(practice_id: int, since: datetime) -> ColumnElement[bool]:
    unhandled = (
        select(AlertMessage.message_id)
        .join(Alert, col(Alert.id) == col(AlertMessage.alert_id))
        .where(Alert.practice_id == practice_id, Alert.state != "handled")
    )
    return and_(
        col(Message.practice_id) == practice_id,
        col(Message.created_at) < since,
        col(Message.removed_at).is_(None),
        col(Message.state).not_in(STILL_LEAVING),
        col(Message.id).not_in(unhandled),
    )


def set_keeping(session: Session, now: datetime, lead: Trainer, months: int | None) -> None:
    """Keep words for so many months from now on, or for ever; the first removal is tonight."""
    require_lead(lead)
    practice = session.get_one(Practice, lead.practice_id)
    if months == practice.keep_texts_months:
        return
    practice.keep_texts_months = months
    session.add(practice)
    record(session, now, lead, "how long texts are kept", months=months)
    if months is None:
        clear_due(session, DUE, practice.id)
    else:
        _set_next(session, now, practice)


def _set_next(session: Session, now: datetime, practice: Practice) -> None:
    due = next_due(now, practice.time_zone, AT, EVERY_DAY, quiet=None)
    if due is not None:
        set_due(session, DUE, practice.id, due.at_utc)


def retention_due(session: Session, now: datetime, practice_id: int, most: int = BATCH) -> None:
    """Remove the words of `most` texts that are past their time, and set when the next go."""
    practice = session.get(Practice, practice_id)
    if practice is None or practice.keep_texts_months is None:
        return
    since = keep_since(now, practice.keep_texts_months, practice.time_zone)
    removed = _remove(session, now, practice_id, since, most)
    if removed:
        day = since.astimezone(ZoneInfo(practice.time_zone)).date().isoformat()
        record_by_service(
            session, now, practice_id, "words of texts removed", texts=removed, before=day
        )
    if removed == most:
        set_due(session, DUE, practice_id, now + GO_ON_AFTER)
    else:
        _set_next(session, now, practice)


def _remove(session: Session, now: datetime, practice_id: int, since: datetime, most: int) -> int:
    if session.get_bind().dialect.name == "sqlite":
        # Otherwise the bytes stay in the file until something is written over them.
        session.connection().exec_driver_sql("PRAGMA secure_delete = ON")
    rows = select(Message.id).where(_goes(practice_id, since)).order_by(col(Message.id))
    ids = session.exec(rows.limit(most)).all()
    if not ids:
        return 0
    session.execute(
        update(Message)
        .where(col(Message.id).in_(ids))
        .values(body=MARK, media_url=None, pictures=null(), removed_at=now)
        .execution_options(synchronize_session=False)
    )
    # The pieces in which long ones came hold the same words.
    session.execute(delete(InboundPart).where(col(InboundPart.message_id).in_(ids)))
    return len(ids)
