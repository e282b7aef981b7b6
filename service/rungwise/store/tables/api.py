"""Tables about other programs: tokens they call with, what they did, and webhooks they are told by.

Of a token only a hash is kept. A webhook's secret signs every call, so it is kept, sealed.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed, SealedJSON
from rungwise.store.tables.types import UtcDateTime


class ApiToken(SQLModel, table=True):
    """One program's way in, with some of the rights of the trainer it acts for."""

    __tablename__ = "api_token"
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    name: str = Field(sa_type=Sealed)
    token_hash: str = Field(unique=True)
    scopes: list[str] = Field(sa_type=JSON)
    made_by: int = Field(foreign_key="trainer.id")
    made_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    last_used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class ApiAct(SQLModel, table=True):
    """Something done by a token under its caller's key, so that asking again does it once.

    `answer` is what was answered; `client_id` whom it was about, once that is known.
    """

    __tablename__ = "api_act"
    __table_args__ = (UniqueConstraint("token_id", "key_hash"),)
    id: int = Field(default=None, primary_key=True)
    token_id: int = Field(foreign_key="api_token.id")
    key_hash: str
    request_hash: str
    client_id: int | None = Field(default=None, foreign_key="client.id", index=True)
    status: int = 0
    answer: dict[str, Any] | None = Field(default=None, sa_type=SealedJSON)
    at: datetime = Field(sa_type=UtcDateTime, index=True)


class Webhook(SQLModel, table=True):
    """An address that is told of a practice's alerts. `urgent_only` leaves the others out;
    `topics` are what it is told of besides.
    """

    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    address: str = Field(sa_type=Sealed)
    secret: str = Field(sa_type=Sealed)
    urgent_only: bool = False
    topics: list[str] = Field(
        default_factory=list, sa_type=JSON, sa_column_kwargs={"server_default": "[]"}
    )
    made_by: int = Field(foreign_key="trainer.id")
    made_at: datetime = Field(sa_type=UtcDateTime)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    why_ended: str | None = None


class WebhookCall(SQLModel, table=True):
    """One thing to tell a webhook. `state`: waiting, calling, taken, given_up.

    Stored in the transaction of what it tells of. `body` is what is sent, the same at every try;
    `at` the next try's time, also while it is being called: a process may die over it.
    """

    __tablename__ = "webhook_call"
    __table_args__ = (
        # Only what is still to be told is in it, so it stays small for ever.
        Index(
            "webhook_due",
            "at",
            sqlite_where=text("settled_at IS NULL"),
            postgresql_where=text("settled_at IS NULL"),
        ),
    )
    id: int = Field(default=None, primary_key=True)
    webhook_id: int = Field(foreign_key="webhook.id", index=True)
    alert_id: int | None = Field(default=None, foreign_key="alert.id", index=True)
    client_id: int | None = Field(default=None, foreign_key="client.id", index=True)
    kind: str
    called: str = Field(unique=True)
    body: str
    state: str = "waiting"
    made_at: datetime = Field(sa_type=UtcDateTime)
    at: datetime = Field(sa_type=UtcDateTime)
    attempts: int = 0
    problem: str | None = None
    settled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class ChangeFeed(SQLModel, table=True):
    """A practice whose changes are kept, because a program asks for them or a webhook is told.

    `last_number` was given to a change last; changes up to `forgotten_to` are kept no longer.
    """

    __tablename__ = "change_feed"
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    asked_at: datetime = Field(sa_type=UtcDateTime)
    last_number: int = 0
    forgotten_to: int = 0


class Change(SQLModel, table=True):
    """Something of a client became another, or new. `what` it became, where one word says it.

    Stored in the transaction of the change. Its number is given later, once it can be seen: then
    who asks after a number misses none, in whatever order transactions end.
    """

    __table_args__ = (
        Index("change_numbered", "practice_id", "number"),
        Index(
            "change_new",
            "practice_id",
            sqlite_where=text("number IS NULL"),
            postgresql_where=text("number IS NULL"),
        ),
    )
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id")
    client_id: int | None = Field(default=None, foreign_key="client.id", index=True)
    kind: str
    subject_id: int
    what: str | None = None
    number: int | None = None
    numbered_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
