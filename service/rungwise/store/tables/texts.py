"""The table of texts, in and out."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint, literal_column
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables.types import UtcDateTime, only

PROMPTS = only("kind = 'prompt' AND direction = 'out'")


class Message(SQLModel, table=True):
    """One text, in or out.

    Out: queued, sending, sent, delivered, failed, unknown, cancelled, missed (was due, never sent).
    In: received, read, set_aside (unknown number), repeat, unprocessed.
    `once_key` makes a text unique however often a tick runs, e.g. one prompt a client and date.
    A queued text leaves between `not_before` and `not_after`; `lease_until` is when a process that
    took it for sending is given up; `tried_at` is when a carrier was last asked to take it.
    `pictures` are addresses at the carrier, not fetched.
    """

    __table_args__ = (
        UniqueConstraint("carrier", "direction", "carrier_id"),
        # Only what waits or is being sent is in these two, so they stay small for ever.
        Index("message_outbox", "carrier", "rank", "id", **only("state = 'queued'")),
        Index("message_leased", "lease_until", **only("state = 'sending'")),
        Index("message_thread", "client_id", "id"),
        # What is looked up for each client or practice must not cost more with every year of texts.
        Index("message_prompts", "client_id", "local_date", "created_at", **PROMPTS),
        Index("message_heard", "client_id", "created_at", **only("direction = 'in'")),
        Index("message_kept", "practice_id", "created_at", **only("removed_at IS NULL")),
        Index("message_others", "practice_id", **only("client_id IS NULL")),
        # For erasing: each text that goes is looked up in what may refer to it.
        Index("message_answers", "answers_id", **only("answers_id IS NOT NULL")),
    )
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    client_id: int | None = Field(default=None, foreign_key="client.id")
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    direction: str
    kind: str
    body: str = Field(sa_type=Sealed)
    from_phone: str = Field(sa_type=Sealed)
    to_phone: str = Field(sa_type=Sealed)
    carrier: str
    carrier_id: str | None = None
    once_key: str | None = Field(default=None, unique=True)
    state: str
    rank: int = 2
    problem: str | None = Field(default=None, sa_type=Sealed)
    # Which of our texts it is, by the name in the catalogue.
    name: str | None = None
    media_url: str | None = Field(default=None, sa_type=Sealed)
    pictures: list[str] | None = Field(default=None, sa_type=SealedJSON)
    local_date: date | None = None
    rung_key: str | None = None
    answers_id: int | None = Field(default=None, foreign_key="message.id")
    created_at: datetime = Field(sa_type=UtcDateTime)
    not_before: datetime | None = Field(default=None, sa_type=UtcDateTime)
    not_after: datetime | None = Field(default=None, sa_type=UtcDateTime)
    lease_until: datetime | None = Field(default=None, sa_type=UtcDateTime)
    attempts: int = 0
    # After how many tries the carrier may have taken it, and did not say so.
    maybe_taken: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    tried_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    sent_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    settled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    context: dict[str, Any] | None = Field(default=None, sa_type=JSON)
    reading: dict[str, Any] | None = Field(default=None, sa_type=JSON)
    reader_version: int | None = None
    # When the words were removed because the practice keeps them no longer.
    removed_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


# Written out, not bound as values: only so do the databases see that their small index holds it.
QUEUED = literal_column("message.state") == literal_column("'queued'")


BEING_SENT = literal_column("message.state") == literal_column("'sending'")
