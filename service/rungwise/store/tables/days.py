"""The tables of what a client told of a date, what was decided, and what was asked."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed
from rungwise.store.tables.types import UtcDateTime, only


class Report(SQLModel, table=True):
    """What a client told about one local date. A correction supersedes, nothing is deleted."""

    __table_args__ = (
        Index(
            "report_current",
            "client_id",
            "local_date",
            unique=True,
            **only("superseded_at IS NULL"),
        ),
    )
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    local_date: date
    rung_key: str
    message_ids: list[int] = Field(sa_type=JSON)
    told: dict[str, Any] = Field(sa_type=JSON)
    created_at: datetime = Field(sa_type=UtcDateTime)
    superseded_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class MoveRow(SQLModel, table=True):
    """One decision, by the rule or by a trainer, with its reason and what it came from."""

    __tablename__ = "move"
    __table_args__ = (
        Index("move_history", "client_id", "id"),
        Index("move_report", "report_id", **only("report_id IS NOT NULL")),
    )
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    local_date: date
    report_id: int | None = Field(default=None, foreign_key="report.id")
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    kind: str
    from_key: str
    to_key: str
    rule: str
    because: str = Field(sa_type=Sealed)
    alerts: list[str] = Field(sa_type=JSON)
    facts: dict[str, Any] = Field(sa_type=JSON)
    rule_version: int
    plan_version: int
    resting: bool = False
    decided_at: datetime = Field(sa_type=UtcDateTime)
    superseded_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Question(SQLModel, table=True):
    """Something the client was asked, and what a text answered.

    `answer` is the code of what it was answered with, a date where one was asked for, and None
    while nobody has answered or where it is waited for no more. `since` is the first date that a
    question about a time is about; `local_date` is the last.
    """

    __table_args__ = (
        Index("question_open", "client_id", "answered_at"),
        Index("question_answer", "answer_id", **only("answer_id IS NOT NULL")),
    )
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    kind: str
    local_date: date
    since: date | None = None
    asked_at: datetime = Field(sa_type=UtcDateTime)
    answered_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    # How many answers were none.
    unclear: int = Field(default=0, sa_column_kwargs={"server_default": "0"})
    answer: str | None = None
    answer_id: int | None = Field(default=None, foreign_key="message.id")
