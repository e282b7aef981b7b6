"""The tables of a practice: its settings, numbers and own wording."""

from datetime import date, datetime

from sqlalchemy import false, true
from sqlmodel import Field, SQLModel

from rungwise.concepts.measures import Measures
from rungwise.store.sealing.crypto import Findable, Sealed
from rungwise.store.tables.types import UtcDateTime


class Practice(SQLModel, table=True):
    id: int = Field(default=None, primary_key=True)
    name: str = Field(sa_type=Sealed)
    phone: str = Field(sa_type=Findable, index=True, unique=True)
    country: str = "US"
    language: str = "en"
    time_zone: str = "America/New_York"
    emergency_number: str = "911"
    # For people in despair; None takes the one that is known for the country.
    crisis_line: str | None = None
    texts_from: str = "08:00"
    texts_until: str = "21:00"
    carrier: str = "handset"
    escalate_minutes: int = 10
    # How often clients are asked whether they fell; 0 for never.
    falls_every_weeks: int = Field(default=1, sa_column_kwargs={"server_default": "0"})
    # Where picture links in texts lead; None until the lead has said what clients' phones reach.
    picture_address: str | None = None
    is_demo: bool = False
    # Whether statistics may doubt a text where the lists read no sign of harm.
    second_reader: bool = Field(default=True, sa_column_kwargs={"server_default": true()})
    # Whether a page by text holds the client's words.
    words_in_pages: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    # Whether everybody must have a second factor.
    needs_factor: bool = False
    # After how many months the words of texts are removed; None keeps them.
    keep_texts_months: int | None = None
    # What one segment costs, as the carrier's bill has it, such as 0.04 GBP.
    segment_price: str | None = None
    # How lengths and hours are written, see `measures`. No clock: texts go by their language.
    lengths: str = Field(default="cm", sa_column_kwargs={"server_default": "cm"})
    clock: int | None = None
    created_at: datetime = Field(sa_type=UtcDateTime)

    @property
    def measures(self) -> Measures:
        return Measures("in" if self.lengths == "in" else "cm", self.clock or 24)


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


class OwnWording(SQLModel, table=True):
    """A text in the practice's own words, in place of ours of that name and language."""

    __tablename__ = "own_wording"
    practice_id: int = Field(primary_key=True, foreign_key="practice.id")
    language: str = Field(primary_key=True)
    name: str = Field(primary_key=True)
    body: str = Field(sa_type=Sealed)
    set_by: int | None = Field(default=None, foreign_key="trainer.id")
    set_at: datetime = Field(sa_type=UtcDateTime)


class ClinicianReview(SQLModel, table=True):
    """That a clinician reviewed the texts and tables of a version, as the lead recorded it."""

    __tablename__ = "clinician_review"
    id: int = Field(default=None, primary_key=True)
    practice_id: int = Field(foreign_key="practice.id", index=True)
    version: str
    clinician: str = Field(sa_type=Sealed)
    profession: str = Field(sa_type=Sealed)
    reviewed_on: date
    recorded_by: int = Field(foreign_key="trainer.id")
    recorded_at: datetime = Field(sa_type=UtcDateTime)
