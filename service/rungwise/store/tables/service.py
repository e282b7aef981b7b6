"""The tables of the service itself: what is due, the audit trail, the ticks and clock."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from rungwise.store.tables.types import UtcDateTime


class Due(SQLModel, table=True):
    """Something to do at an instant. Its row goes in the transaction that does it."""

    __table_args__ = (UniqueConstraint("kind", "subject_id"), Index("due_next", "at"))
    id: int = Field(default=None, primary_key=True)
    kind: str
    subject_id: int
    at: datetime = Field(sa_type=UtcDateTime)
    local_date: date | None = None


class Audit(SQLModel, table=True):
    """Who looked at or changed what. Only ever added to; each line's hash covers the one before.

    `number` counts up without a gap within a practice. `detail_hash` covers the client and the
    detail, so that these can be erased and the rest still checked; `key` names the key of the
    hashes, empty for none. Both are None in lines of before there were either.
    """

    __table_args__ = (UniqueConstraint("practice_id", "number"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    number: int
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    client_id: int | None = Field(default=None, index=True)
    action: str
    detail: dict[str, Any] = Field(sa_type=JSON)
    at: datetime = Field(sa_type=UtcDateTime)
    hash: str
    detail_hash: str | None = None
    key: str | None = None


class AuditHead(SQLModel, table=True):
    """Where a practice's audit trail ends: how many lines, and the last one's hash.

    `mac` is the hash of `words` with the key that `key` names.
    """

    __tablename__ = "audit_head"
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    count: int
    hash: str
    key: str = ""
    mac: str

    @property
    def words(self) -> str:
        """What the head says, for hashing."""
        return f"head\n{self.practice_id}\n{self.count}\n{self.hash}"


class DaySeal(SQLModel, table=True):
    """Hashes of what was stored of one client on one day (UTC): of the rows, and of their words.

    The audit trail holds the hash of a practice's seals of a day, in the order of `place`. When a
    client is erased, the hashes stay and `client_id` goes.
    """

    __tablename__ = "day_seal"
    __table_args__ = (UniqueConstraint("practice_id", "day", "place"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    day: date
    place: int
    client_id: int | None = Field(default=None, index=True)
    rows_hash: str
    words_hash: str


class DemoClock(SQLModel, table=True):
    """How far the demo's clock runs ahead of the real one. Only a demo database has a row."""

    __tablename__ = "demo_clock"
    id: int = Field(default=1, primary_key=True)
    ahead_s: float = 0.0


class LastTick(SQLModel, table=True):
    """When each tick last finished well, so that a page can warn when they stop."""

    __tablename__ = "last_tick"
    name: str = Field(primary_key=True)
    at: datetime = Field(sa_type=UtcDateTime)
