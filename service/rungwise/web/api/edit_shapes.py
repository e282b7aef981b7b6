"""What the API takes and gives of a client's facts after the intake."""

from pydantic import BaseModel, Field

from rungwise.coach.enrolment.facts import FIELDS as FACTS_GIVEN
from rungwise.web.api.shapes import Given, Taken, Words


class FactsOut(BaseModel):
    """A client's facts as strings. `feet` follows from the measures and is not given."""

    fields: Words
    version: int


class FactsGiven(Given):
    """Facts to change, by name; what is not named stays as it is. Lengths have the unit they name.

    `trainer` is an e-mail address, `sends_from` one of the practice's numbers, a tick yes or no.
    """

    fields: Words = Field(
        max_length=len(FACTS_GIVEN),
        json_schema_extra={
            "properties": {name: {"type": "string"} for name in FACTS_GIVEN},
            "additionalProperties": False,
        },
    )


class EditGiven(FactsGiven):
    """The same, to be stored. `version` and `seen` are what the preview of the same gave."""

    version: int = Field(ge=0, le=2**31 - 1)
    seen: str = Field(max_length=64)


class TextToldOut(Taken):
    """A text that the change leads to: when, where to, and its very words."""

    when: str
    to_phone: str
    body: str


class EditFollowsOut(BaseModel):
    """What would follow from changed facts. Show it to whoever answers for the client.

    `changed` has each fact's words before and after. Where a fact cannot be taken as it is,
    `problems` says what to put there, and all else is empty.
    """

    problems: Words = {}
    changed: dict[str, list[str]] = {}
    follows: list[str] = []
    texts: list[TextToldOut] = []
    version: int | None = None
    seen: str | None = None
