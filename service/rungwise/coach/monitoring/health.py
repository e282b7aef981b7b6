"""How the service itself is: do the ticks run, do texts leave, was every urgent alert paged?"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from shutil import disk_usage

from sqlalchemy import make_url
from sqlmodel import Session, col, func, select

from rungwise.store.index_conditions import UNREAD
from rungwise.store.tables import QUEUED, Alert, Due, LastTick, Message, Stranger, WatchNotice

# A tick notes itself every 10 seconds; a minute without one is no hiccup.
TICKS_LATE = timedelta(minutes=1)
TEXTS_LATE = timedelta(minutes=5)
DUE_LATE = timedelta(minutes=5)
TELLS_OF_HARM = col(Stranger.sign).is_not(None)


# On a full disk nothing is kept; below this somebody must make room.
LITTLE_ROOM_MB = 500
# The header by which `rungwise check` knows whose service answers.
INSTALLATION = "X-Rungwise-Installation"


def installation_id(database_url: str) -> str:
    """A name for the installation with this database, from which nothing can be read."""
    address = make_url(database_url)
    named = [address.host or "", str(address.port or ""), address.database or ""]
    if address.get_backend_name() == "sqlite":
        named = [str(Path(address.database or "").absolute())]
    return sha256("\n".join(["rungwise installation", *named]).encode()).hexdigest()[:16]


def free_mb(database_url: str) -> int:
    """What is free where the database's file lies; with PostgreSQL, where the service works."""
    address = make_url(database_url)
    lite = address.get_backend_name() == "sqlite"
    place = Path(address.database or "").absolute().parent if lite else Path.cwd()
    return disk_usage(place).free // 1_000_000


@dataclass(frozen=True, slots=True)
class Health:
    """What a monitor needs to know; `problems` in whole sentences, empty when all is well."""

    ticks_age_s: float | None
    oldest_queued_s: float
    oldest_due_s: float
    urgent_unseen: int
    urgent_unpaged: int
    free_mb: int
    problems: tuple[str, ...]

    @property
    def well(self) -> bool:
        return not self.problems


def health(session: Session, now: datetime, real_now: datetime, *, ticks: bool) -> Health:
    """`now` is the practice's clock, `real_now` the machine's: ticks are noted by the latter."""
    age = _ticks_age(session, real_now)
    queued = select(func.min(Message.not_before)).where(QUEUED)
    oldest_text = _age(session.exec(queued).one(), now)
    oldest_due = _age(session.exec(select(func.min(Due.at))).one(), now)
    unseen = session.exec(select(func.count(col(Alert.id))).where(UNREAD)).one()
    unpaged = session.exec(
        select(func.count(col(Alert.id))).where(UNREAD, col(Alert.paged_at).is_(None))
    ).one()
    problems: list[str] = []
    if ticks and (age is None or age > TICKS_LATE):
        problems.append("The ticks have stopped: no text leaves and nothing due is acted on.")
    if oldest_text > TEXTS_LATE:
        problems.append("Texts wait in the outbox and do not leave. Look at the carrier.")
    if oldest_due > DUE_LATE:
        problems.append("Things that are due are not acted on. Look at the log.")
    problems += _failing(session)
    if unpaged:
        problems.append(f"Urgent alerts of which no page was handed over yet: {unpaged}.")
    unknown = session.exec(select(func.count(col(Stranger.id))).where(TELLS_OF_HARM)).one()
    if unknown:
        problems.append(f"Unknown numbers that tell of harm and nobody has dealt with: {unknown}.")
    room = free_mb(session.get_bind().engine.url.render_as_string(hide_password=False))
    if room < LITTLE_ROOM_MB:
        problems.append(f"Only {room} MB are free on the disk. Make room.")
    return Health(
        ticks_age_s=None if age is None else age.total_seconds(),
        oldest_queued_s=oldest_text.total_seconds(),
        oldest_due_s=oldest_due.total_seconds(),
        urgent_unseen=unseen,
        urgent_unpaged=unpaged,
        free_mb=room,
        problems=tuple(problems),
    )


def _ticks_age(session: Session, real_now: datetime) -> timedelta | None:
    """How long ago the tick that is furthest behind last finished; None before the first."""
    last = session.exec(select(func.min(LastTick.at))).one()
    return None if last is None else real_now - last


def _failing(session: Session) -> list[str]:
    """A sentence for each carrier by which nothing leaves, and whether every lead was told."""
    untold = func.count() - func.count(col(WatchNotice.told_at))
    rows = select(WatchNotice.what, untold).where(WatchNotice.what != "ticks")
    found = session.exec(rows.group_by(WatchNotice.what).order_by(WatchNotice.what)).all()
    return [
        f"Nothing leaves by {what}. The practice lead "
        f"{'could not be told' if practices else 'is told another way'}."
        for what, practices in found
    ]


def _age(at: datetime | None, now: datetime) -> timedelta:
    return max(now - at, timedelta(0)) if at is not None else timedelta(0)
