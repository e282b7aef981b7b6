"""All that follows from one thing that happened, as plain frozen steps in their order."""

from dataclasses import dataclass
from datetime import date, datetime

from rungwise.coach.record.codec import PlanSettings
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import Move
from rungwise.ticks.due import Due


@dataclass(frozen=True, slots=True)
class Say:
    """A text to the client. `name` of the text it was made from; `kind` as in TEXT_KINDS;
    `rung_key` the rung it asks the client to practise, if it does. With `day` it is the only one of
    its kind for this date; `until` is when it is given up, None what its kind is good for.
    """

    name: str
    body: str
    kind: str = "answer"
    rung_key: str | None = None
    day: date | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Missed:
    """The text of this date does not go, and why."""

    day: date
    because: str


@dataclass(frozen=True, slots=True)
class ShowPicture:
    """The picture of this rung can be seen at this address for a while."""

    address: str
    rung_key: str


@dataclass(frozen=True, slots=True)
class Ask:
    """Remember that this was asked about a date, or about the time `since` another up to it; an
    earlier one of the kind stays as it is.
    """

    kind: str
    day: date
    since: date | None = None


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """An answer to this open question was none."""

    kind: str


@dataclass(frozen=True, slots=True)
class Answered:
    """This question is answered, with the code of the answer or a date, or no longer waited for."""

    kind: str
    answer: str | None = None


@dataclass(frozen=True, slots=True)
class Tell:
    """Open an alert of the kind, or join the open one. `urgency` of what this told; None takes the
    kind's own. `anew`: page again at once, whatever was opened or answered before.
    """

    kind: str
    did: str
    urgency: str | None = None
    anew: bool = False


@dataclass(frozen=True, slots=True)
class Decide:
    """The day's report in place of an earlier one of the day, and the move decided from it."""

    report: DayReport
    move: Move


@dataclass(frozen=True, slots=True)
class Moved:
    """A move without a report: what days away called for on this date."""

    day: date
    move: Move


@dataclass(frozen=True, slots=True)
class Become:
    """The client's state from now on; `underneath` is what a START gives back."""

    state: str
    underneath: str | None = None


@dataclass(frozen=True, slots=True)
class TakeBack:
    """Texts that wait: those that ask for practice, or with `everything` all but calls for help."""

    everything: bool = False


@dataclass(frozen=True, slots=True)
class SetPlan:
    """The plan as the client's wish changes it; the next prompt is worked out anew."""

    settings: PlanSettings


@dataclass(frozen=True, slots=True)
class Begin:
    """The client agreed to texts: record it and send the first text."""


@dataclass(frozen=True, slots=True)
class SetDue:
    """When the next of this kind ("prompt" or "reminder") is due, in place of an earlier one."""

    kind: str
    due: Due | None


@dataclass(frozen=True, slots=True)
class NoReminder:
    """The client has told of today: no reminder this evening."""


@dataclass(frozen=True, slots=True)
class Unread:
    """How many texts running nothing was understood of."""

    run: int


Step = (
    Say
    | Missed
    | ShowPicture
    | Ask
    | AskedAgain
    | Answered
    | Tell
    | Decide
    | Moved
    | Become
    | TakeBack
    | SetPlan
    | Begin
    | SetDue
    | NoReminder
    | Unread
)


@dataclass(frozen=True, slots=True)
class Effects:
    """The steps of one text or one due moment, and the instant it was dealt with."""

    at: datetime
    steps: tuple[Step, ...] = ()
