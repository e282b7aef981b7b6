"""The tables of two settings compared by lot.

Instants are UTC, dates the client's local dates.
"""

from datetime import date, datetime

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed
from rungwise.store.tables.types import UtcDateTime


class ComparisonRow(SQLModel, table=True):
    """What was written down of a comparison before its first lot, as evidence.comparison has it.

    Never changed but for its end and how many lots are drawn. The seed is sealed, so that nobody
    reads the next lot.
    """

    __tablename__ = "comparison"
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    first: str
    second: str
    outcome: str
    days: int
    lots: int
    falls_apart: int
    ethics: str = Field(sa_type=Sealed)
    seed: str = Field(sa_type=Sealed)
    drawn: int = 0
    locked_by: int = Field(foreign_key="trainer.id")
    locked_at: datetime = Field(sa_type=UtcDateTime)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    ended_why: str | None = Field(default=None, sa_type=Sealed)


class ComparedClient(SQLModel, table=True):
    """A client who agreed on `agreed_on`, and the setting drawn for them at `place`, from 0.

    Who withdraws counts until the day before.
    """

    __tablename__ = "compared_client"
    __table_args__ = (Index("compared_client_place", "comparison_id", "place", unique=True),)
    comparison_id: int = Field(primary_key=True, foreign_key="comparison.id")
    client_id: int = Field(primary_key=True, foreign_key="client.id", index=True)
    place: int
    arm: str
    agreed_on: date
    drawn_by: int = Field(foreign_key="trainer.id")
    drawn_on: date
    drawn_at: datetime = Field(sa_type=UtcDateTime)
    withdrawn_on: date | None = None
