"""The tables. Instants are UTC; dates are the client's local dates; lengths are mm.

An `id` is None until the row is flushed; it is typed as the int that it is from then on.
"""

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import JSON, DateTime, Dialect, Index, UniqueConstraint, literal_column, text
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field, SQLModel

from rungwise.store.crypto import Findable, Sealed, SealedJSON


class UtcDateTime(TypeDecorator[datetime]):
    """An aware UTC instant in both directions; a naive one is a mistake and is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("An instant needs a time zone.")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _only(condition: str) -> dict[str, Any]:
    """For an index that holds only the rows of which this is true."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}


PROMPTS = _only("kind = 'prompt' AND direction = 'out'")


class Practice(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    name: str = Field(sa_type=Sealed)
    phone: str = Field(sa_type=Findable, index=True, unique=True)
    country: str = "US"
    language: str = "en"
    time_zone: str = "America/New_York"
    emergency_number: str = "911"
    texts_from: str = "08:00"
    texts_until: str = "21:00"
    carrier: str = "handset"
    escalate_minutes: int = 10
    # Where picture links in texts lead; None until the lead has said what clients' phones reach.
    picture_address: str | None = None
    is_demo: bool = False
    # Whether everybody must have a second factor.
    needs_factor: bool = False
    # After how many months the words of texts are removed; None keeps them.
    keep_texts_months: int | None = None
    created_at: datetime = Field(sa_type=UtcDateTime)


class Number(SQLModel, table=True):
    """A further number that a practice texts from, by a carrier of its own.

    The practice's own `phone` and `carrier` are the first; when a carrier is down, texts leave by
    the next in the order of `place`.
    """

    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    place: int = 1
    carrier: str
    phone: str = Field(sa_type=Findable, unique=True)


class Trainer(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    name: str = Field(sa_type=Sealed)
    email: str = Field(sa_type=Findable, unique=True)
    password_hash: str
    role: str = "trainer"
    phone: str | None = Field(default=None, sa_type=Sealed)
    second_contact_name: str | None = Field(default=None, sa_type=Sealed)
    second_contact_phone: str | None = Field(default=None, sa_type=Sealed)
    # How urgent alerts reach them: text, email or both.
    page_by: str = Field(default="text", sa_column_kwargs={"server_default": "text"})
    active: bool = True
    # The second factor: asked for from `factor_since` on; `factor_step` is the last code's time.
    factor_secret: str | None = Field(default=None, sa_type=Sealed)
    factor_since: datetime | None = Field(default=None, sa_type=UtcDateTime)
    factor_step: int = 0
    created_at: datetime = Field(sa_type=UtcDateTime)


class SignIn(SQLModel, table=True):
    """One signed-in browser. Only a hash of the cookie is kept."""

    __tablename__ = "sign_in"
    id: int = Field(default=None, primary_key=True)
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    token_hash: str = Field(unique=True)
    csrf: str
    created_at: datetime = Field(sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    # To the minute; None until the first page after signing in.
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    browser: str = ""
    # The password was right and the second factor is still asked for: opens nothing yet.
    half: bool = False


class SignInFailure(SQLModel, table=True):
    """A refused sign-in, kept to slow down guessing."""

    __tablename__ = "sign_in_failure"
    id: int = Field(default=None, primary_key=True)
    subject: str = Field(index=True)
    at: datetime = Field(sa_type=UtcDateTime, index=True)


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


class Message(SQLModel, table=True):
    """One text, in or out.

    Out: queued, sending, sent, delivered, failed, unknown, cancelled, missed (was due, never sent).
    In: received, read, set_aside (unknown number), repeat, unprocessed.
    `once_key` makes a text unique however often a tick runs, e.g. one prompt a client and date.
    A queued text leaves between `not_before` and `not_after`; `lease_until` is when a process that
    took it for sending is given up. `pictures` are addresses at the carrier, not fetched.
    """

    __table_args__ = (
        UniqueConstraint("carrier", "direction", "carrier_id"),
        # Only what waits or is being sent is in these two, so they stay small for ever.
        Index("message_outbox", "carrier", "rank", "id", **_only("state = 'queued'")),
        Index("message_leased", "lease_until", **_only("state = 'sending'")),
        Index("message_thread", "client_id", "id"),
        # What is looked up for each client or practice must not cost more with every year of texts.
        Index("message_prompts", "client_id", "local_date", "created_at", **PROMPTS),
        Index("message_heard", "client_id", "created_at", **_only("direction = 'in'")),
        Index("message_kept", "practice_id", "created_at", **_only("removed_at IS NULL")),
        Index("message_others", "practice_id", **_only("client_id IS NULL")),
        # For erasing: each text that goes is looked up in what may refer to it.
        Index("message_answers", "answers_id", **_only("answers_id IS NOT NULL")),
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


class Report(SQLModel, table=True):
    """What a client told about one local date. A correction supersedes, nothing is deleted."""

    __table_args__ = (
        Index(
            "report_current",
            "client_id",
            "local_date",
            unique=True,
            **_only("superseded_at IS NULL"),
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
        Index("move_report", "report_id", **_only("report_id IS NOT NULL")),
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


class Alert(SQLModel, table=True):
    """Something the trainer must see. At most one open alert a client and kind."""

    __table_args__ = (
        Index("alert_inbox", "practice_id", "state", "urgency", "last_at"),
        Index(
            "alert_open",
            "client_id",
            "kind",
            unique=True,
            **_only("state <> 'handled'"),
        ),
        Index("alert_unread", "urgency", "last_at", **_only("state = 'new'")),
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
    pages: int = 0
    paged_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    seen_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    seen_by: int | None = Field(default=None, foreign_key="trainer.id")
    handled_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    handled_by: int | None = Field(default=None, foreign_key="trainer.id")
    what_done: str | None = Field(default=None, sa_type=Sealed)
    note: str | None = Field(default=None, sa_type=Sealed)
    resume_key: str | None = None


class AlertMessage(SQLModel, table=True):
    """The client's words behind an alert, every one kept."""

    __tablename__ = "alert_message"
    alert_id: int = Field(primary_key=True, foreign_key="alert.id")
    message_id: int = Field(primary_key=True, foreign_key="message.id", index=True)


class Question(SQLModel, table=True):
    """Something the client was asked and has not answered yet."""

    __table_args__ = (
        Index("question_open", "client_id", "answered_at"),
        Index("question_answer", "answer_id", **_only("answer_id IS NOT NULL")),
    )
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    kind: str
    local_date: date
    asked_at: datetime = Field(sa_type=UtcDateTime)
    answered_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    answer_id: int | None = Field(default=None, foreign_key="message.id")


class Due(SQLModel, table=True):
    """Something to do at an instant. Its row goes in the transaction that does it."""

    __table_args__ = (UniqueConstraint("kind", "subject_id"), Index("due_next", "at"))
    id: int = Field(default=None, primary_key=True)
    kind: str
    subject_id: int
    at: datetime = Field(sa_type=UtcDateTime)
    local_date: date | None = None


class Audit(SQLModel, table=True):
    """Who looked at or changed what. Only ever added to; each line's hash covers the one before.

    `number` counts up without a gap within a practice.
    """

    __table_args__ = (UniqueConstraint("practice_id", "number"),)
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    number: int
    trainer_id: int | None = Field(default=None, foreign_key="trainer.id")
    client_id: int | None = Field(default=None, index=True)
    action: str
    detail: dict[str, Any] = Field(sa_type=JSON)
    at: datetime = Field(sa_type=UtcDateTime)
    hash: str


class ClientNote(SQLModel, table=True):
    """What a trainer wants to remember of a client. Only ever added to."""

    __tablename__ = "client_note"
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id", index=True)
    trainer_id: int = Field(foreign_key="trainer.id")
    body: str = Field(sa_type=Sealed)
    at: datetime = Field(sa_type=UtcDateTime)


class OwnWording(SQLModel, table=True):
    """A text in the practice's own words, in place of ours of that name and language."""

    __tablename__ = "own_wording"
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    language: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    body: str = Field(sa_type=Sealed)
    set_by: int | None = Field(default=None, foreign_key="trainer.id")
    set_at: datetime = Field(sa_type=UtcDateTime)


class DemoClock(SQLModel, table=True):
    """How far the demo's clock runs ahead of the real one. Only a demo database has a row."""

    __tablename__ = "demo_clock"
    id: int = Field(default=1, primary_key=True)
    ahead_s: float = 0.0


class LastTick(SQLModel, table=True):
    """When each tick last finished well, so that a page can warn when they stop."""

    __tablename__ = "last_tick"
    name: str = Field(primary_key=True)
    at: datetime = Field(sa_type=UtcDateTime)
