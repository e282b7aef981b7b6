"""What the feed of changes gives: each change, with what changed as it is now."""

from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel, Field

from rungwise.store.tables import Fall, MoveRow, Retest
from rungwise.web.api.shapes import AlertOut, ClientOut, ClientReportOut


class DecidedOut(BaseModel):
    """A move with its date; `day_id` is the report it was made of, null for a trainer's."""

    move_id: int
    client_id: int
    local_date: date
    day_id: int | None
    kind: str
    from_key: str
    to_key: str
    rule: str
    because: str
    stands: bool = Field(description="Whether no correction took its place.")
    decided_at: datetime


class FallOut(BaseModel):
    """A fall as a trainer recorded it, on one of the dates from `first` to `last`."""

    fall_id: int
    client_id: int
    alert_id: int | None
    first: date
    last: date
    happened: bool = Field(description="False where what was told was no fall.")
    place: str | None
    doing: str | None
    injury: str | None
    care: str | None
    recorded_at: datetime


class RetestOut(BaseModel):
    """A published standing test, as a trainer recorded it."""

    retest_id: int
    client_id: int
    kind: str
    day: date
    measured: dict[str, Any]
    score: dict[str, Any]
    recorded_at: datetime
    withdrawn_at: datetime | None


Item = ClientOut | ClientReportOut | DecidedOut | AlertOut | FallOut | RetestOut


class ChangeOut(BaseModel):
    """One thing that changed. `item` is what it is now, null for a client who was erased and for
    what is there no longer.
    """

    kind: Literal["client", "day", "move", "alert", "fall", "retest", "erased"]
    id: int
    client_id: int
    noted_at: datetime | None
    item: Item | None


class ChangesOut(BaseModel):
    """Changes, oldest first. `next` is the cursor to ask with next, also when there are none."""

    items: list[ChangeOut]
    next: str
    more: bool


def move_out(row: MoveRow) -> DecidedOut:
    return DecidedOut(
        move_id=row.id,
        client_id=row.client_id,
        local_date=row.local_date,
        day_id=row.report_id,
        kind=row.kind,
        from_key=row.from_key,
        to_key=row.to_key,
        rule=row.rule,
        because=row.because,
        stands=row.superseded_at is None,
        decided_at=row.decided_at,
    )


def fall_out(row: Fall) -> FallOut:
    return FallOut(fall_id=row.id, **row.model_dump(include=set(FallOut.model_fields)))


def retest_out(row: Retest) -> RetestOut:
    return RetestOut(retest_id=row.id, **row.model_dump(include=set(RetestOut.model_fields)))
