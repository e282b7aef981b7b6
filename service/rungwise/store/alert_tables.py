"""Tables about reaching somebody: the pages behind an alert, what a practice lead was told."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from rungwise.store.tables import UtcDateTime


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
