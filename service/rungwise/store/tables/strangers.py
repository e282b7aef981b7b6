"""Phones that are no client's own: strangers who text, and second phones of clients."""

from datetime import datetime

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Findable, Sealed
from rungwise.store.tables.types import UtcDateTime


class ClientPhone(SQLModel, table=True):
    """A second phone from which somebody texts about a client. `whose` says who, as "daughter".

    Signs told from it count as the client's; it gets answers and nothing else, none after
    `stopped_at`. While `asked_at` is set, it was asked whether it is the client's own from now on.
    """

    __tablename__ = "client_phone"
    __table_args__ = (UniqueConstraint("practice_id", "phone"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    client_id: int = Field(foreign_key="client.id", index=True)
    phone: str = Field(sa_type=Findable)
    whose: str = Field(sa_type=Sealed)
    added_by: int | None = Field(default=None, foreign_key="trainer.id")
    added_at: datetime = Field(sa_type=UtcDateTime)
    stopped_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    asked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Stranger(SQLModel, table=True):
    """A phone that nobody knows and that texted a practice, until somebody has dealt with it.

    `sign` is the gravest that a text of it told surely, as an alert's kind; `pages` counts how
    often somebody was paged about it.
    """

    __table_args__ = (UniqueConstraint("practice_id", "phone"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    phone: str = Field(sa_type=Findable)
    sign: str | None = None
    pages: int = 0
    first_at: datetime = Field(sa_type=UtcDateTime)
    last_at: datetime = Field(sa_type=UtcDateTime)


class StrangerText(SQLModel, table=True):
    """Which texts came from that phone."""

    __tablename__ = "stranger_text"
    stranger_id: int = Field(primary_key=True, foreign_key="stranger.id")
    message_id: int = Field(primary_key=True, foreign_key="message.id", index=True)
