"""The tables of an incident: its chain of pages, the checklist after a fall, a clinician's word."""

from datetime import date, datetime
from typing import Any

from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables.types import UtcDateTime


class Incident(SQLModel, table=True):
    """One episode of a client: every sign told in one text or while it is open, with one chain of
    pages and one handling. Its alerts name it.

    `pages` counts the steps of the chain since it last began. `code` is in every page, for the
    answer by a digit; `link` ends the short address in them, good until `link_until`. While
    somebody has it (`held_until`, by `held_by`) no page goes. `closed_at`: every sign is handled;
    `cleared_at`: practice went on after it.
    """

    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    code: str
    link: str = Field(unique=True)
    link_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    pages: int = 0
    held_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    held_by: int | None = Field(default=None, foreign_key="trainer.id")
    opened_at: datetime = Field(sa_type=UtcDateTime)
    closed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    cleared_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class FallCheck(SQLModel, table=True):
    """The checklist after a fall, as it was answered. The latest of an incident counts."""

    __tablename__ = "fall_check"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    incident_id: int = Field(foreign_key="incident.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    answers: dict[str, Any] = Field(sa_type=SealedJSON)
    rules_version: int
    at: datetime = Field(sa_type=UtcDateTime)


class ClinicianWord(SQLModel, table=True):
    """What a clinician said after an incident: who, when, by which way, what was examined, and what
    may be practised from when. The latest of an incident counts.
    """

    __tablename__ = "clinician_word"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    incident_id: int = Field(foreign_key="incident.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    clinician: str = Field(sa_type=Sealed)
    said_on: date
    by: str
    examined: str = Field(sa_type=Sealed)
    allows: bool
    from_day: date | None = None
    limits: str = Field(sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime)
