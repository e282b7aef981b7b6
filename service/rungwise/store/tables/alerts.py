"""The tables of alerts: what a trainer must see, in whose words, and who was paged."""

from datetime import datetime

from sqlalchemy import Index, false
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed
from rungwise.store.tables.types import UtcDateTime, only


class Alert(SQLModel, table=True):
    """Something the trainer must see. At most one open alert a client and kind."""

    __table_args__ = (
        Index("alert_inbox", "practice_id", "state", "urgency", "last_at"),
        Index(
            "alert_open",
            "client_id",
            "kind",
            unique=True,
            **only("state <> 'handled'"),
        ),
        Index("alert_unread", "urgency", "last_at", **only("state = 'new'")),
    )
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    client_id: int = Field(foreign_key="client.id", index=True)
    kind: str
    urgency: str
    state: str = "new"
    system_did: str = Field(sa_type=Sealed)
    opened_at: datetime = Field(sa_type=UtcDateTime)
    last_at: datetime = Field(sa_type=UtcDateTime)
    incident_id: int | None = Field(default=None, foreign_key="incident.id", index=True)
    # The chain of pages is the incident's: earlier versions counted here.
    pages: int = 0
    paged_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    seen_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    seen_by: int | None = Field(default=None, foreign_key="trainer.id")
    handled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    handled_by: int | None = Field(default=None, foreign_key="trainer.id")
    what_done: str | None = Field(default=None, sa_type=Sealed)
    note: str | None = Field(default=None, sa_type=Sealed)
    resume_key: str | None = None
    # The words were misread: nothing of the kind happened.
    misread: bool = Field(default=False, sa_column_kwargs={"server_default": false()})


class AlertMessage(SQLModel, table=True):
    """The client's words behind an alert, every one kept."""

    __tablename__ = "alert_message"
    alert_id: int = Field(primary_key=True, foreign_key="alert.id")
    message_id: int = Field(primary_key=True, foreign_key="message.id", index=True)


class AlertPage(SQLModel, table=True):
    """A page that went out about an alert; one page may be about several of one client."""

    __tablename__ = "alert_page"
    alert_id: int = Field(primary_key=True, foreign_key="alert.id")
    message_id: int = Field(primary_key=True, foreign_key="message.id", index=True)


class WatchNotice(SQLModel, table=True):
    """Something that fails for a practice, and when its leads were told.

    `what` is a carrier's name, or "ticks"; `told_at` is None while no way to tell them has worked.
    """

    __tablename__ = "watch_notice"
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    what: str = Field(primary_key=True)
    since: datetime = Field(sa_type=UtcDateTime)
    told_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Duty(SQLModel, table=True):
    """When a trainer is on duty, in the practice's own time. `weekday` counts Monday as 0."""

    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    weekday: int
    begins: str
    ends: str
