"""The calendar of reviews due, at a private address that a calendar program can subscribe to.

Whoever has the address can read it, without a sign-in, so it holds first names and nothing else of
anybody: no number, no finding, no reason. The address can be made anew, which ends the old one.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from secrets import token_urlsafe

from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.coach.reviews.retests import local_date, reviews_due
from rungwise.coach.reviews.weekly_email import feed_of
from rungwise.errors import NotFound
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, Practice, Trainer, TrainerFeed

TOKEN_BYTES = 32
PRODUCT = "-//Rungwise//Reviews due//EN"
LOOK_AGAIN = "PT12H"
LINE_OCTETS = 75


@dataclass(frozen=True, slots=True)
class ReviewDay:
    """One client's next review. `overdue` by the client's own date."""

    client: Client
    day: date
    overdue: bool


def review_days(session: Session, scope: Scope, now: datetime) -> list[ReviewDay]:
    """The next review of every client of the scope who has one, earliest first."""
    clients = session.exec(select(Client).where(scope.clients)).all()
    due = reviews_due(session, clients)
    found = [
        ReviewDay(client, due[client.id], due[client.id] < local_date(client, now))
        for client in clients
        if client.id in due
    ]
    return sorted(found, key=lambda one: (one.day, one.client.name))


def new_address(session: Session, now: datetime, trainer: Trainer) -> str:
    """A new private address's token, in place of an earlier one. Only its hash is kept."""
    token = token_urlsafe(TOKEN_BYTES)
    feed = feed_of(session, trainer.id)
    feed.calendar_hash, feed.calendar_at = hashed(token), now
    session.add(feed)
    record(session, now, trainer, "calendar address made")
    return token


def end_address(session: Session, now: datetime, trainer: Trainer) -> None:
    """No address leads to this trainer's calendar any more."""
    feed = feed_of(session, trainer.id)
    feed.calendar_hash = feed.calendar_at = None
    session.add(feed)
    record(session, now, trainer, "calendar address ended")


def calendar_at(session: Session, now: datetime, token: str, address: str) -> bytes:
    """The calendar of this private address; NotFound when it leads nowhere (any more)."""
    rows = (
        select(Trainer, Practice)
        .join(TrainerFeed, col(TrainerFeed.trainer_id) == col(Trainer.id))
        .join(Practice, col(Practice.id) == col(Trainer.practice_id))
        .where(TrainerFeed.calendar_hash == hashed(token), col(Trainer.active).is_(True))
    )
    found = session.exec(rows).first()
    if found is None:
        raise NotFound("There is no such calendar.")
    trainer, practice = found
    days = review_days(session, Scope(practice.id, trainer.id), now)
    return calendar(practice.name, days, now, address)


def calendar(name: str, days: Iterable[ReviewDay], now: datetime, address: str) -> bytes:
    """The days as an iCalendar (RFC 5545, RFC 7986) of all-day entries; a date keeps its UID."""
    title = _text(f"{name}: reviews due")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}"]
    lines += [f"NAME:{title}", f"X-WR-CALNAME:{title}"]
    lines.append(f"REFRESH-INTERVAL;VALUE=DURATION:{LOOK_AGAIN}")
    for one in days:
        late = " (overdue)" if one.overdue else ""
        lines += [
            "BEGIN:VEVENT",
            f"UID:review-{one.client.id}-{one.day.isoformat()}@rungwise",
            f"DTSTAMP:{now.astimezone(UTC):%Y%m%dT%H%M%SZ}",
            f"DTSTART;VALUE=DATE:{one.day:%Y%m%d}",
            f"DTEND;VALUE=DATE:{one.day + timedelta(days=1):%Y%m%d}",
            f"SUMMARY:{_text(f'Retest or call: {one.client.called}{late}')}",
            f"URL:{address}/clients/{one.client.id}/retests",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _text(value: str) -> str:
    """A TEXT value: RFC 5545, 3.3.11. A control character has no place in one."""
    plain = "".join(letter for letter in value if letter.isprintable() or letter == "\n")
    for letter in "\\;,":
        plain = plain.replace(letter, f"\\{letter}")
    return plain.replace("\n", "\\n")


def _folded(line: str) -> bytes:
    """A content line, in pieces of at most 75 octets that split no letter: RFC 5545, 3.1."""
    pieces = [b""]
    for letter in line:
        octets = letter.encode()
        if len(pieces[-1]) + len(octets) > LINE_OCTETS:
            pieces.append(b" ")
        pieces[-1] += octets
    return b"\r\n".join(pieces) + b"\r\n"


def hashed(token: str) -> str:
    return sha256(token.encode()).hexdigest()
