"""Tables about the carriers themselves: how each is doing, and what came in pieces or too early."""

from datetime import datetime

from sqlalchemy import JSON, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Findable, Sealed
from rungwise.store.tables.types import UtcDateTime


class CarrierState(SQLModel, table=True):
    """How fast a carrier is used now, shared by every process and practice: one account, one rate.

    `tokens` may be spent, one a text, and come back with time. The other columns are what the last
    release kept of the circuit; that is kept by practice now.
    """

    __tablename__ = "carrier_state"
    name: str = Field(primary_key=True)
    tokens: float = 0.0
    filled_at: datetime = Field(sa_type=UtcDateTime)
    failures: int = 0
    retry_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    down_since: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Circuit(SQLModel, table=True):
    """Whether a practice's texts may leave by a carrier now, shared by every process.

    `failures` counts those in a row; `failing` names one text of each number that failed since the
    last success. While `down_since` is set, the carrier is left alone until `retry_at`.
    """

    carrier: str = Field(primary_key=True)
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    failures: int = 0
    failing: list[int] = Field(default_factory=list, sa_type=JSON)
    retry_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    down_since: datetime | None = Field(default=None, sa_type=UtcDateTime)


class EarlyReceipt(SQLModel, table=True):
    """A receipt for a text whose carrier's id we don't know yet, kept until we do."""

    __tablename__ = "early_receipt"
    __table_args__ = (Index("early_receipt_text", "carrier", "carrier_id"),)
    id: int = Field(default=None, primary_key=True)
    carrier: str
    carrier_id: str
    state: str
    detail: str = Field(default="", sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime, index=True)


class InboundPart(SQLModel, table=True):
    """One part of a long text, as it came. `message_id` is the text it was joined into."""

    __tablename__ = "inbound_part"
    __table_args__ = (
        UniqueConstraint("carrier", "carrier_id"),
        Index("inbound_part_whole", "from_phone", "reference", "total"),
    )
    id: int = Field(default=None, primary_key=True)
    carrier: str
    carrier_id: str
    from_phone: str = Field(sa_type=Findable)
    to_phone: str = Field(sa_type=Findable)
    reference: int
    total: int
    number: int
    body: str = Field(sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime)
    message_id: int | None = Field(default=None, foreign_key="message.id")
