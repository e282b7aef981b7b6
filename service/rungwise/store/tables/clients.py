"""The tables of a client: who they are, their plan and where they stand on the ladder."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, UniqueConstraint, false
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Findable, Sealed
from rungwise.store.tables.types import UtcDateTime


class Client(SQLModel, table=True):
    """`state`: invited (no consent yet), active, resting, paused (by the trainer), stopped.

    `number_id` is the number that their texts come from; None for the practice's first.
    """

    __table_args__ = (UniqueConstraint("practice_id", "phone"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    name: str = Field(sa_type=Sealed)
    called: str = Field(sa_type=Sealed)
    phone: str = Field(sa_type=Findable, index=True)
    # Where they live, for who visits them.
    address: str | None = Field(default=None, sa_type=Sealed)
    # Whom a trainer may phone; we never text them.
    kin_name: str | None = Field(default=None, sa_type=Sealed)
    kin_phone: str | None = Field(default=None, sa_type=Sealed)
    # The client agreed that the trainer's second contact gets these numbers.
    number_to_second: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    number_id: int | None = Field(default=None, foreign_key="number.id")
    language: str = "en"
    time_zone: str
    state: str = "invited"
    state_since: datetime = Field(sa_type=UtcDateTime)
    stopped_from: str | None = None
    consent_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    consent_wording: str | None = Field(default=None, sa_type=Sealed)
    unreadable_run: int = 0
    last_reply_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    created_at: datetime = Field(sa_type=UtcDateTime)
    version: int = 1


class PlanRow(SQLModel, table=True):
    """What the trainer set for a client, one row per version, so that old moves can be replayed.

    `settings` holds prompt_at, weekdays, away, reminder_at, target_s, caution, open_gates;
    `profile` the body, equipment, limits and narrowing that the ladder is built from.
    """

    __tablename__ = "plan"
    __table_args__ = (UniqueConstraint("client_id", "version"),)
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    version: int
    settings: dict[str, Any] = Field(sa_type=JSON)
    profile: dict[str, Any] = Field(sa_type=JSON)
    set_by: int | None = Field(default=None, foreign_key="trainer.id")
    set_at: datetime = Field(sa_type=UtcDateTime)


class Placement(SQLModel, table=True):
    """Where a client is now. `since` is the local date of the last placing or practice."""

    client_id: int = Field(primary_key=True, foreign_key="client.id")
    rung_key: str
    plan_version: int
    since: date
    set_at: datetime = Field(sa_type=UtcDateTime)


class ClientNote(SQLModel, table=True):
    """What a trainer wants to remember of a client. Only ever added to.

    An edited note is a further row; `edits_id` names the note as it was first written.
    """

    __tablename__ = "client_note"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    body: str = Field(sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime)
    edits_id: int | None = Field(default=None, foreign_key="client_note.id", index=True)

    @property
    def first_id(self) -> int:
        """The note that this is a version of."""
        return self.edits_id or self.id
