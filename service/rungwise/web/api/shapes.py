"""What the API takes and gives, field by field."""

from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, RootModel

from rungwise.coach.enrolment.intake_form import FIELDS
from rungwise.coach.record.situation import Situation
from rungwise.coach.record.trend import rung_of_key
from rungwise.concepts.measures import Lengths
from rungwise.store.queries.inbox import Entry
from rungwise.store.queries.pagination import Listed
from rungwise.store.tables import Client, MoveRow, Report
from rungwise.wording.rung_words import rung_short

Words = dict[str, str]
State = Literal["invited", "active", "resting", "paused", "stopped"]


class Given(BaseModel):
    """What a program sends: nothing that is not named here."""

    model_config = ConfigDict(extra="forbid", str_max_length=2000)


class Taken(BaseModel):
    """What is given as it is stored, by the same names."""

    model_config = ConfigDict(from_attributes=True)


# --- clients --------------------------------------------------------------------------------------


class RungOut(BaseModel):
    """One exact task. `key` is what an override names; `words` are for people."""

    key: str
    words: str


class ClientOut(BaseModel):
    """One client. Lists leave out nothing; `next_text_at` is null where none is due."""

    id: int
    name: str
    called: str
    phone: str
    language: str
    time_zone: str
    state: State
    state_since: datetime
    trainer_id: int
    version: int = Field(description="Goes up with every change; sent back with an action.")
    rung: RungOut | None
    next_text_at: datetime | None
    last_reply_at: datetime | None
    created_at: datetime

    @classmethod
    def of(cls, client: Client, rung: RungOut | None, next_at: datetime | None) -> "ClientOut":
        return cls(
            id=client.id,
            name=client.name,
            called=client.called,
            phone=client.phone,
            language=client.language,
            time_zone=client.time_zone,
            state=client.state,  # type: ignore[arg-type]  # stored as one of them
            state_since=client.state_since,
            trainer_id=client.trainer_id,
            version=client.version,
            rung=rung,
            next_text_at=next_at,
            last_reply_at=client.last_reply_at,
            created_at=client.created_at,
        )

    @classmethod
    def listed(cls, row: Listed, lengths: Lengths) -> "ClientOut":
        rung = rung_of_key(row.rung_key, row.body or {}) if row.rung_key else None
        words = rung_short(rung, lengths=lengths) if rung else row.rung_key or ""
        shown = RungOut(key=row.rung_key, words=words) if row.rung_key else None
        return cls.of(row.client, shown, row.next_at)


class UsualPainOut(BaseModel):
    """A pain that is the client's normal: where, and how bad on a usual day, of 10."""

    place: str
    score: int


class PlanOut(BaseModel):
    """What the trainer set. Times of day and dates are the client's."""

    prompt_at: str
    weekdays: list[int] = Field(description="Monday is 0.")
    reminder_at: str | None
    target_s: int
    sets: int = Field(description="How often a day's hold is done.")
    keeps_up: bool = Field(description="At the top, the day's rung goes round.")
    caution: str
    away: list[tuple[date, date]]
    ceiling_key: str | None
    open_gates: list[str]
    rule_version: int
    usual_pain: UsualPainOut | None

    @classmethod
    def of(cls, situation: Situation) -> "PlanOut":
        settings = situation.settings
        stored = settings.to_json()
        return cls(
            prompt_at=stored["prompt_at"],
            weekdays=stored["weekdays"],
            reminder_at=stored["reminder_at"],
            target_s=settings.target_s,
            sets=settings.sets,
            keeps_up=settings.keeps_up,
            caution=settings.caution.name,
            away=list(settings.away),
            ceiling_key=situation.measures.limits.ceiling_key,
            open_gates=stored["open_gates"],
            rule_version=settings.rule_version,
            usual_pain=UsualPainOut(**usual) if (usual := stored["usual_pain"]) else None,
        )


class OneClientOut(ClientOut):
    """One client with the plan; null before there is one."""

    plan: PlanOut | None


class IntakeGiven(Given):
    """A new client's form: the fields of the page, and of a line of a list, each as a string."""

    fields: Words = Field(
        max_length=len(FIELDS),
        json_schema_extra={
            "properties": {name: {"type": "string"} for name in FIELDS},
            "additionalProperties": False,
        },
    )


class NewClientGiven(IntakeGiven):
    """The same, to be stored. `seen` is what /clients/preview gave for the very same fields."""

    seen: str = Field(max_length=64)


class PreviewOut(BaseModel):
    """What would follow. Show it to whoever answers for the client before adding them.

    Where the form cannot be taken as it is, `problems` says for each field what to put there, and
    all else is null.
    """

    problems: Words = {}
    outcome: Literal["start", "ask_first", "not_by_text"] | None = None
    begins: bool | None = Field(default=None, description="Whether the first text goes at once.")
    reasons: list[str] = []
    waits_for: list[str] = []
    rung: RungOut | None = None
    first_text: str | None = None
    task_text: str | None = None
    seen: str | None = None


# --- reports and texts ----------------------------------------------------------------------------


class HoldOut(BaseModel):
    side: str | None
    seconds: float | None


class MoveOut(Taken):
    """The decision made of a report, with its reason in plain words."""

    kind: str
    from_key: str
    to_key: str
    rule: str
    because: str


class ReportOut(BaseModel):
    """What a client told about one of their own dates, as it stands after corrections."""

    id: int
    local_date: date
    rung_key: str
    holds: list[HoldOut]
    steadiness: str | None
    skipped: bool
    fall: str
    pain: str
    dizzy: str
    emergency: bool
    move: MoveOut | None
    created_at: datetime

    @classmethod
    def of(cls, row: tuple[Report, MoveRow | None]) -> "ReportOut":
        report, move = row
        told: dict[str, Any] = report.told
        return cls(
            id=report.id,
            local_date=report.local_date,
            rung_key=report.rung_key,
            holds=[HoldOut(**hold) for hold in told["holds"]],
            steadiness=told["steadiness"],
            skipped=told["skipped"],
            fall=told["fall"],
            pain=told["pain"],
            dizzy=told["dizzy"],
            emergency=told["emergency"],
            move=MoveOut.model_validate(move) if move is not None else None,
            created_at=report.created_at,
        )


class ClientToldOut(BaseModel):
    """What a day that was entered or put right led to. `report` is null where it has none."""

    state: State
    version: int
    report: ReportOut | None


class ClientReportOut(ReportOut):
    """The same, with whose it is. `stands` is false where a correction took its place."""

    client_id: int
    stands: bool

    @classmethod
    def of(cls, row: tuple[Report, MoveRow | None]) -> "ClientReportOut":
        report = row[0]
        return cls(
            **ReportOut.of(row).model_dump(),
            client_id=report.client_id,
            stands=report.superseded_at is None,
        )


class MessageOut(Taken):
    """One text. `direction` is in, out, or told: entered by a trainer, with `kind` phone, visit or
    correction. `kind` and `state` as the client's page shows them.
    """

    id: int
    direction: str
    kind: str
    body: str
    state: str
    problem: str | None
    created_at: datetime
    sent_at: datetime | None


class MessageGiven(Given):
    """A text in the trainer's own words. `at_night` sends it outside of texting hours too."""

    body: str = Field(min_length=1, max_length=2000)
    at_night: bool = False


# --- what a trainer changes -----------------------------------------------------------------------


class VersionGiven(Given):
    """`version` as the client had it when it was looked at: a change since then is not undone."""

    version: int = Field(ge=0, le=2**31 - 1)


class UsualPainGiven(VersionGiven):
    """Where it hurts on usual days, and how bad, from 0 to 5 of 10; no place takes it away."""

    place: str | None = Field(max_length=20)
    score: int = Field(default=0, ge=0, le=10)


class OverrideGiven(VersionGiven):
    """Another rung, with the reason. `meant` confirms going up by more than one landmark,
    `ends_rest` that a resting client practises again from there.
    """

    rung_key: str = Field(min_length=1, max_length=120)
    reason: str = Field(min_length=1, max_length=500)
    meant: bool = False
    ends_rest: bool = False


# --- alerts ---------------------------------------------------------------------------------------


class SaidOut(BaseModel):
    """The client's words behind an alert."""

    message_id: int
    body: str
    at: datetime


class AlertOut(BaseModel):
    """Something the trainer must see. `state`: new, seen (paging has stopped), handled."""

    id: int
    client_id: int
    client_called: str
    kind: str
    urgency: Literal["urgent", "today", "note"]
    state: Literal["new", "seen", "handled"]
    opened_at: datetime
    last_at: datetime
    said: list[SaidOut]
    system_did: list[str]
    seen_at: datetime | None
    seen_by: str | None
    handled_at: datetime | None
    handled_by: str | None
    what_done: str | None
    note: str | None
    resumed_on: str | None

    @classmethod
    def of(cls, entry: Entry) -> "AlertOut":
        alert = entry.alert
        return cls(
            id=alert.id,
            client_id=alert.client_id,
            client_called=entry.client.called,
            kind=alert.kind,
            urgency=alert.urgency,  # type: ignore[arg-type]  # stored as one of them
            state=alert.state,  # type: ignore[arg-type]  # stored as one of them
            opened_at=alert.opened_at,
            last_at=alert.last_at,
            said=[
                SaidOut(message_id=text.id, body=text.body, at=text.created_at)
                for text in entry.texts
            ],
            system_did=alert.system_did.splitlines(),
            seen_at=alert.seen_at,
            seen_by=entry.seen_by,
            handled_at=alert.handled_at,
            handled_by=entry.handled_by,
            what_done=alert.what_done,
            note=alert.note,
            resumed_on=alert.resume_key,
        )


class HandleGiven(Given):
    """What was done. `resume_key` is the rung on which a resting client goes on, at most where
    they were; without it they stay resting. `after_fall` answers the checklist, item by item: no,
    yes or unknown, and for `floor` minutes, within_hour, helped or unknown. `fall` is what was
    asked beside it, by the names of its facts, and `first` and `last`, the dates of the fall.
    `misread`: nothing of the kind happened.
    """

    what_done: str = Field(min_length=1, max_length=500)
    note: str = Field(default="", max_length=2000)
    resume_key: str | None = Field(default=None, max_length=120)
    after_fall: dict[str, str] | None = Field(default=None, max_length=30)
    fall: dict[str, str] = Field(default_factory=dict, max_length=12)
    misread: bool = False


# --- the token itself -----------------------------------------------------------------------------


class Described(RootModel[dict[str, Any]]):
    """An OpenAPI document."""


class TokenOut(BaseModel):
    """What the token that calls may do, for whom, and until when."""

    name: str
    practice: str
    trainer_id: int
    whole_practice: bool = Field(description="Whether it sees every client, as a lead does.")
    scopes: list[str]
    expires_at: datetime
    per_minute: int
