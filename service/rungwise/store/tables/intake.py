"""The tables of what comes before practice, and of what leaves the service on paper or as a link.

Instants are UTC, dates the client's local dates.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Text
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables.types import UtcDateTime


class Screening(SQLModel, table=True):
    """What a client answered before starting, and what a clinician said where one was asked.

    `outcome`: start, ask_first, not_by_text. `clinician_allows` is None until it is recorded.
    The latest row of a client counts; earlier ones stay.
    """

    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    answers: dict[str, Any] = Field(sa_type=SealedJSON)
    outcome: str
    rules_version: int
    at: datetime = Field(sa_type=UtcDateTime)
    clinician: str | None = Field(default=None, sa_type=Sealed)
    clinician_said: str | None = Field(default=None, sa_type=Sealed)
    clinician_allows: bool | None = None
    recorded_by: int | None = Field(default=None, foreign_key="trainer.id")
    recorded_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class HomeSetup(SQLModel, table=True):
    """Where a client practises: which of the checklist's items are in place. The latest counts."""

    __tablename__ = "home_setup"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    in_place: list[str] = Field(sa_type=JSON)
    someone: str | None = Field(default=None, sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime)


class Baseline(SQLModel, table=True):
    """The four-stage balance test before the first rung, and the rung that it suggested."""

    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    held_s: list[float | None] = Field(sa_type=JSON)
    suggested_key: str
    because: str = Field(sa_type=Text)
    on: date
    at: datetime = Field(sa_type=UtcDateTime)


class PictureLink(SQLModel, table=True):
    """A page with one rung's picture that whoever has its address may see. Only a hash is kept.

    It shows the rung only while the client is on it and practises.
    """

    __tablename__ = "picture_link"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    token_hash: str = Field(unique=True)
    rung_key: str
    made_by: int | None = Field(default=None, foreign_key="trainer.id")
    made_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class TrainersWords(SQLModel, table=True):
    """What the trainer says in a client's progress summary: to colleagues, and to the client."""

    __tablename__ = "trainers_words"
    client_id: int = Field(primary_key=True, foreign_key="client.id")
    to_colleagues: str = Field(default="", sa_type=Sealed)
    to_client: str = Field(default="", sa_type=Sealed)
    set_by: int = Field(foreign_key="trainer.id")
    set_at: datetime = Field(sa_type=UtcDateTime)
