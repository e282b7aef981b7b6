"""The tables of retests, the review rhythm and what leaves the service for a trainer.

Instants are UTC, dates the client's local dates.
"""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Index, true
from sqlmodel import Field, SQLModel

from rungwise.store.sealing.crypto import Sealed
from rungwise.store.tables.types import UtcDateTime


class Retest(SQLModel, table=True):
    """A published standing test, done by a trainer at a visit on `day`, the client's local date.

    `measured` holds what was measured, as rungwise.evidence.retest scores it; `score` its headline.
    `age` in completed years and `sex` are those of the day, for the norms. One entered by mistake
    is withdrawn, not deleted.
    """

    __table_args__ = (Index("retest_history", "client_id", "day"),)
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    trainer_id: int = Field(foreign_key="trainer.id")
    kind: str
    day: date
    age: int
    sex: str | None = None
    measured: dict[str, Any] = Field(sa_type=JSON)
    score: dict[str, Any] = Field(sa_type=JSON)
    note: str | None = Field(default=None, sa_type=Sealed)
    recorded_at: datetime = Field(sa_type=UtcDateTime)
    withdrawn_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    withdrawn_by: int | None = Field(default=None, foreign_key="trainer.id")


class Fall(SQLModel, table=True):
    """A fall, as a trainer recorded it: on one of the client's dates `first` to `last`.

    `alert_id` is the alert in which it was told, if it was; with it the texts of that alert are
    counted by its falls and no more by their own words. `happened` is false where what was told
    turned out to be no fall. The facts are codes of concepts/fall_facts.py.
    """

    __table_args__ = (Index("fall_history", "client_id", "first"),)
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    alert_id: int | None = Field(default=None, foreign_key="alert.id", index=True)
    first: date
    last: date
    happened: bool = True
    place: str | None = None
    doing: str | None = None
    head_struck: str | None = None
    on_floor: str | None = None
    new_signs: str | None = None
    stands_as_before: str | None = None
    injury: str | None = None
    care: str | None = None
    note: str | None = Field(default=None, sa_type=Sealed)
    recorded_by: int = Field(foreign_key="trainer.id")
    recorded_at: datetime = Field(sa_type=UtcDateTime)


class HomeVisit(SQLModel, table=True):
    """A visit to a client: planned for `day`, the client's local date, or done.

    `begins` is the hour there, if one was agreed. One that does not take place is called off, not
    deleted.
    """

    __tablename__ = "home_visit"
    __table_args__ = (Index("home_visit_by_day", "client_id", "day"),)
    id: int = Field(default=None, primary_key=True)
    client_id: int = Field(foreign_key="client.id")
    trainer_id: int = Field(foreign_key="trainer.id", index=True)
    day: date
    begins: str | None = None
    note: str | None = Field(default=None, sa_type=Sealed)
    planned_at: datetime = Field(sa_type=UtcDateTime)
    done_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    called_off_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class ReviewRhythm(SQLModel, table=True):
    """How often a client is reviewed, when a trainer last called, and whether they want a weekly
    text, and to be asked about falls. A client without a row has the defaults.
    """

    __tablename__ = "review_rhythm"
    client_id: int = Field(primary_key=True, foreign_key="client.id")
    every_weeks: int = 6
    called_on: date | None = None
    weekly_text: bool = False
    falls_asked: bool = Field(default=True, sa_column_kwargs={"server_default": true()})


class CourseLine(SQLModel, table=True):
    """What stands on a client's course, at most one line; `rule` None: nothing does.

    Worked out anew each day, because the day's page has no time to weigh everybody's days.
    """

    __tablename__ = "course_line"
    client_id: int = Field(primary_key=True, foreign_key="client.id")
    rule: str | None = None
    says: str | None = None
    looked_on: date


class TrainerFeed(SQLModel, table=True):
    """What leaves the service for one trainer: a calendar's private address, of which only a hash
    is kept, and the weekly e-mail, with when the next one is due (None: not wanted).
    """

    __tablename__ = "trainer_feed"
    trainer_id: int = Field(primary_key=True, foreign_key="trainer.id")
    calendar_hash: str | None = Field(default=None, unique=True)
    calendar_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    digest_due: datetime | None = Field(default=None, sa_type=UtcDateTime, index=True)
    digest_tries: int = 0
