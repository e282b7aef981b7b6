"""The calendar of visits and of reviews due, at a private address to subscribe to.

Whoever has the address can read it, without a sign-in, so it holds first names and nothing else of
anybody: no number, no finding, no reason. The address can be made anew, which ends the old one.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from secrets import token_urlsafe
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.coach.record.audit import record
from rungwise.coach.reviews.home_visits import visits_between
from rungwise.coach.reviews.retests import local_date, reviews_due
from rungwise.coach.reviews.weekly_email import feed_of
from rungwise.errors import NotFound
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Client, HomeVisit, Practice, Trainer, TrainerFeed
from rungwise.time_zone import local_to_utc

TOKEN_BYTES = 32
PRODUCT = "-//Rungwise//Visits and reviews//EN"
LOOK_AGAIN = "PT12H"
LINE_OCTETS = 75
DAYS_BACK, DAYS_AHEAD = 60, 366


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
    scope = Scope(practice.id, trainer.id)
    days = review_days(session, scope, now)
    today = now.astimezone(ZoneInfo(practice.time_zone)).date()
    shown = (today - timedelta(days=DAYS_BACK), today + timedelta(days=DAYS_AHEAD))
    planned = visits_between(session, scope, *shown)
    return calendar(practice.name, days, now, address, planned)


def calendar(
    name: str,
    days: Iterable[ReviewDay],
    now: datetime,
    address: str,
    visits: Iterable[tuple[HomeVisit, Client]] = (),
) -> bytes:
    """The visits and the days as an iCalendar (RFC 5545, RFC 7986); what moves keeps its UID."""
    title = _text(f"{name}: visits and reviews due")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}"]
    lines += [f"NAME:{title}", f"X-WR-CALNAME:{title}"]
    lines.append(f"REFRESH-INTERVAL;VALUE=DURATION:{LOOK_AGAIN}")
    for visit, client in visits:
        done = " (done)" if visit.done_at else ""
        page = f"{address}/clients/{client.id}/visits"
        uid, title = f"visit-{visit.id}", f"Visit: {client.called}{done}"
        lines += _event(now, uid, title, page, _visit_time(visit, client), busy=True)
    for one in days:
        late = " (overdue)" if one.overdue else ""
        page = f"{address}/clients/{one.client.id}/retests"
        uid = f"review-{one.client.id}-{one.day.isoformat()}"
        title = f"Retest or call: {one.client.called}{late}"
        lines += _event(now, uid, title, page, _all_day(one.day), busy=False)
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _event(
    now: datetime, uid: str, title: str, page: str, when: Iterable[str], *, busy: bool
) -> list[str]:
    return [
        "BEGIN:VEVENT",
        f"UID:{uid}@rungwise",
        f"DTSTAMP:{_utc(now)}",
        *when,
        f"SUMMARY:{_text(title)}",
        f"URL:{page}",
        f"TRANSP:{'OPAQUE' if busy else 'TRANSPARENT'}",
        "END:VEVENT",
    ]


def _visit_time(visit: HomeVisit, client: Client) -> list[str]:
    """An hour from when it begins, common practice; the whole day where no hour was agreed."""
    if visit.begins is None:
        return _all_day(visit.day)
    begins = datetime.combine(visit.day, time.fromisoformat(visit.begins))
    return [f"DTSTART:{_utc(local_to_utc(begins, client.time_zone))}", "DURATION:PT1H"]


def _all_day(day: date) -> list[str]:
    after = day + timedelta(days=1)
    return [f"DTSTART;VALUE=DATE:{day:%Y%m%d}", f"DTEND;VALUE=DATE:{after:%Y%m%d}"]


def _utc(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


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
