"""The weekly e-mail to a trainer: counts and where to look. No name and no client's words.

E-mail passes through others' machines, so what is about a client stays behind the sign-in.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from email.message import EmailMessage
from zoneinfo import ZoneInfo

from sqlalchemy import select as columns
from sqlalchemy import update
from sqlmodel import Session, col, func, select

from rungwise.coach.record.audit import record
from rungwise.coach.reviews.retests import reviews_due
from rungwise.coach.reviews.visits import day_seen, who_needs_a_visit
from rungwise.evidence import VISIT_RULES
from rungwise.store import Store
from rungwise.store.idempotent_inserts import rows_updated
from rungwise.store.index_conditions import IS_PROMPT
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import (
    Alert,
    Client,
    Message,
    MoveRow,
    Practice,
    Report,
    Trainer,
    TrainerFeed,
)
from rungwise.ticks.due import next_due

MONDAY = 0
AT = time(7, 0)
WEEK = timedelta(days=7)
ENOUGH_DAYS = 3  # WHO 2020, 65 and over
MOST_TRIES = 5
FIRST_WAIT = timedelta(minutes=15)
LEFT = ("sent", "delivered", "unknown")
RULE_WORDS = {
    "fall": "a fall told in the last four weeks",
    "resting": "resting, until you clear them",
    "decline": "getting worse",
    "stuck": "stuck on one rung",
    "told_too_well": "told steadier than anybody stands",
    "silent": "silent",
    "adherence": "practising less",
    "gate": "at a closed gate",
    "review": "due for a retest or a call",
}


@dataclass(frozen=True, slots=True)
class Digest:
    """One trainer's last full week, Monday first, and where things stand now."""

    monday: date
    clients: int
    asked_days: int
    practised_days: int
    enough: int
    moves: dict[str, int]
    alerts: dict[str, int]
    visits: int
    reasons: dict[str, int]
    due_soon: int


def digest_of(session: Session, practice: Practice, trainer: Trainer, now: datetime) -> Digest:
    """What the e-mail counts: the trainer's own clients, whatever their role."""
    zone = ZoneInfo(practice.time_zone)
    today = now.astimezone(zone).date()
    monday = today - timedelta(days=today.weekday()) - WEEK
    own = Scope(practice.id, trainer.id)
    clients = session.exec(select(Client).where(own.clients)).all()
    ids = [client.id for client in clients]
    in_week = (monday, monday + timedelta(days=6))
    asked = session.exec(
        select(func.count(col(Message.id))).where(
            col(Message.client_id).in_(ids),
            IS_PROMPT,
            col(Message.state).in_(LEFT),
            col(Message.local_date).between(*in_week),
        )
    ).one()
    practised = _practised(session, ids, in_week)
    moves = session.exec(
        select(MoveRow.kind, func.count(col(MoveRow.id)))
        .where(
            col(MoveRow.client_id).in_(ids),
            col(MoveRow.superseded_at).is_(None),
            col(MoveRow.local_date).between(*in_week),
        )
        .group_by(col(MoveRow.kind))
    ).all()
    alerts = session.exec(
        select(Alert.urgency, func.count(col(Alert.id)))
        .where(col(Alert.client_id).in_(ids), col(Alert.state) != "handled")
        .group_by(col(Alert.urgency))
    ).all()
    needed = who_needs_a_visit(session, own, now)
    due = reviews_due(session, clients).values()
    return Digest(
        monday=monday,
        clients=sum(client.state not in ("invited", "stopped") for client in clients),
        asked_days=asked,
        practised_days=practised.total(),
        enough=sum(days >= ENOUGH_DAYS for days in practised.values()),
        moves=dict(moves),
        alerts=dict(alerts),
        visits=len(needed),
        reasons=dict(Counter(reason.rule for one in needed for reason in one.reasons)),
        due_soon=sum(today < day <= today + WEEK for day in due),
    )


def _practised(session: Session, ids: list[int], in_week: tuple[date, date]) -> Counter[int]:
    rows = columns(col(Report.client_id), col(Report.local_date), col(Report.told)).where(
        col(Report.client_id).in_(ids),
        col(Report.local_date).between(*in_week),
        col(Report.superseded_at).is_(None),
    )
    counted: Counter[int] = Counter()
    for client_id, day, told in session.execute(rows):
        counted[client_id] += day_seen(day, told, None).practised
    return counted


def digest_message(
    practice: Practice, trainer: Trainer, digest: Digest, address: str
) -> EmailMessage:
    """The e-mail as text; `address` is the service's own, for the links."""
    message = EmailMessage()
    first, last = digest.monday, digest.monday + timedelta(days=6)
    name = " ".join(practice.name.split())
    message["To"] = trainer.email
    message["Subject"] = f"{name}: your week, {first:%-d %b} to {last:%-d %b}"
    message.set_content("\n".join(_lines(trainer, digest, address)) + "\n")
    return message


def _lines(trainer: Trainer, digest: Digest, address: str) -> list[str]:
    moves, alerts = digest.moves, digest.alerts
    lines = [f"Dear {trainer.name},", "", f"This is the week of {digest.clients} clients of yours."]
    lines += [
        "",
        f"Practised on {digest.practised_days} of {digest.asked_days} days asked for; "
        f"{digest.enough} clients on 3 days or more.",
        f"Moves: {moves.get('up', 0)} up, {moves.get('back', 0)} back, "
        f"{moves.get('rest', 0)} to rest; you placed {moves.get('override', 0)}.",
        f"Open alerts: {alerts.get('urgent', 0)} urgent, {alerts.get('today', 0)} for today, "
        f"{alerts.get('note', 0)} notes.",
        f"Due for a retest or a call in the next seven days: {digest.due_soon}.",
        "",
        f"Who needs a visit: {digest.visits}",
    ]
    counted = [(name, digest.reasons.get(name, 0)) for name in VISIT_RULES]
    lines += [f"  {count} {RULE_WORDS[name]}" for name, count in counted if count]
    lines += [
        "",
        f"Who they are and why: {address}/visits",
        f"Alerts: {address}/",
        "",
        "This e-mail names nobody, because e-mail is not private. You can end it on the week's",
        f"page: {address}/week",
    ]
    return lines


# --- when it goes ---------------------------------------------------------------------------------


def feed_of(session: Session, trainer_id: int) -> TrainerFeed:
    """What the trainer has asked to get, or nothing yet."""
    return session.get(TrainerFeed, trainer_id) or TrainerFeed(trainer_id=trainer_id)


def set_digest(
    session: Session, now: datetime, practice: Practice, trainer: Trainer, wanted: bool
) -> None:
    """Whether the trainer gets the weekly e-mail."""
    feed = feed_of(session, trainer.id)
    if (feed.digest_due is not None) != wanted:
        record(session, now, trainer, "weekly e-mail", wanted=wanted)
    feed.digest_due = _next_monday(practice, now) if wanted else None
    feed.digest_tries = 0
    session.add(feed)


def _next_monday(practice: Practice, now: datetime) -> datetime | None:
    due = next_due(now, practice.time_zone, AT, frozenset({MONDAY}), quiet=None)
    return None if due is None else due.at_utc


def claim_digest(store: Store, now: datetime, address: str) -> tuple[int, EmailMessage] | None:
    """Take one e-mail that is due; its next Monday is set before it is sent, so that none goes
    twice however many processes look. Gives the trainer's id and the message, or None.
    """
    with store.read() as session:
        due = select(TrainerFeed.trainer_id).where(col(TrainerFeed.digest_due) <= now)
        if session.exec(due.limit(1)).first() is None:
            return None
    with store.write() as session:
        rows = (
            select(TrainerFeed, Trainer, Practice)
            .join(Trainer, col(Trainer.id) == col(TrainerFeed.trainer_id))
            .join(Practice, col(Practice.id) == col(Trainer.practice_id))
            .where(col(TrainerFeed.digest_due) <= now)
            .order_by(col(TrainerFeed.digest_due))
            .limit(1)
        )
        found = session.exec(rows).first()
        if found is None:
            return None
        feed, trainer, practice = found
        won = rows_updated(
            session,
            update(TrainerFeed)
            .where(
                col(TrainerFeed.trainer_id) == trainer.id,
                col(TrainerFeed.digest_due) == feed.digest_due,
            )
            .values(digest_due=_next_monday(practice, now))
            .execution_options(synchronize_session=False),
        )
        if won != 1 or not trainer.active:
            return None
        digest = digest_of(session, practice, trainer, now)
        return trainer.id, digest_message(practice, trainer, digest, address)


def put_back(store: Store, now: datetime, trainer_id: int, *, again: bool) -> None:
    """The e-mail was not taken: try again after a while, each time longer, or wait for Monday."""
    with store.write() as session:
        feed = session.get(TrainerFeed, trainer_id)
        if feed is None or feed.digest_due is None:
            return
        feed.digest_tries += 1
        if again and feed.digest_tries < MOST_TRIES:
            feed.digest_due = now + FIRST_WAIT * 2 ** (feed.digest_tries - 1)
        else:
            feed.digest_tries = 0
        session.add(feed)


def taken(store: Store, trainer_id: int) -> None:
    """The e-mail was taken: the next one starts with a clean count of tries."""
    with store.write() as session:
        session.execute(
            update(TrainerFeed)
            .where(col(TrainerFeed.trainer_id) == trainer_id, col(TrainerFeed.digest_tries) > 0)
            .values(digest_tries=0)
        )
