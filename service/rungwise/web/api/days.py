"""Days told otherwise than by text, and texts read wrong: what a trainer enters."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Response
from pydantic import Field
from sqlmodel import Session, select

from rungwise.coach.conversation.told_by_trainer import Entered
from rungwise.coach.daily.told_days import (
    Correction,
    DayEntry,
    Outcome,
    correct_reading,
    enter_day,
)
from rungwise.coach.daily.told_form import LONGEST_HELD_S, MOST_SETS, body_places
from rungwise.coach.plan.placement import check_version
from rungwise.coach.record.situation import Situation, current_report
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.reply.reading import Hold
from rungwise.store.tables import Message, MoveRow
from rungwise.web.api.caller import Caller, Id, Needs, placed
from rungwise.web.api.shapes import ClientToldOut, Given, ReportOut, VersionGiven
from rungwise.web.api.writes import Done, Key, once

router = APIRouter(tags=["clients"])

Entering = Annotated[Caller, Depends(Needs("reports:write"))]
Sign = Literal["emergency", "distress", "fall", "dizziness", "pain", "near_fall", "health_news"]


class HoldGiven(Given):
    """Seconds held; without a side on both alike, or on a rung without sides."""

    seconds: float = Field(ge=0, le=LONGEST_HELD_S)
    side: Literal["left", "right", "both"] | None = None


class ToldGiven(VersionGiven):
    """What was told of a day. A sign rests the client and opens its alert, as if it came by text.

    `usual` is the pain that is recorded as the client's usual one, no worse. Nothing is sent to the
    client unless `texts_client` is true: then the safety text goes, as after a text.
    """

    practised: Literal["result", "skipped", "other"] = Field(
        description="A result, not practised, or nothing of practice."
    )
    holds: list[HoldGiven] = Field(default=[], max_length=3 * MOST_SETS)
    steadiness: Literal["steady", "wobbly"] | None = None
    signs: list[Sign] = Field(default=[], max_length=7)
    place: str | None = Field(default=None, max_length=20, description="Where it hurt.")
    usual: bool = False
    words: str = Field(default="", max_length=500)
    texts_client: bool = False

    def entered(self) -> Entered:
        if self.practised != "result" and (self.holds or self.steadiness):
            raise ImpossibleValue("practised", self.practised, "result, where something was held")
        if self.place is not None and self.place not in body_places():
            raise ImpossibleValue("place", self.place, ", ".join(body_places()))
        return Entered(
            self.practised,
            tuple(Hold(hold.seconds, hold.side) for hold in self.holds),
            self.steadiness,
            frozenset(self.signs),
            self.place,
            self.usual,
        )


class DayGiven(ToldGiven):
    """One of the client's own dates, within the last two weeks, and how it was told."""

    day: date
    by: Literal["phone", "visit"]


class ReadingGiven(ToldGiven):
    """What a text should have been read as. `day` counts only where no report has the text."""

    day: date | None = None


@router.post("/clients/{client_id}/days", status_code=201, response_model=ClientToldOut)
def enter(called: Entering, client_id: Id, key: Key, given: DayGiven) -> Response:
    """Enter a day that the client told by phone, or that was seen at a visit.

    What is entered of practice replaces what was told of that day; harm that was told stays.
    """

    def act(session: Session, situation: Situation) -> Outcome:
        entry = DayEntry(given.day, given.by, given.entered(), given.words, given.texts_client)
        return enter_day(session, called.now, called.trainer, situation, entry)

    return _act(called, client_id, key, given, "enter day of", act)


@router.post(
    "/clients/{client_id}/messages/{message_id}/reading",
    status_code=201,
    response_model=ClientToldOut,
)
def put_right(
    called: Entering, client_id: Id, message_id: Id, key: Key, given: ReadingGiven
) -> Response:
    """Say what a text of the last two weeks should have been read as. Its day is decided anew.

    No rest ends by it, and no sign of harm goes while an alert about harm is open.
    """

    def act(session: Session, situation: Situation) -> Outcome:
        text = session.get(Message, message_id)
        if text is None:
            raise NotFound("There is no such text.")
        right = Correction(text, given.entered(), given.day, given.words, given.texts_client)
        return correct_reading(session, called.now, called.trainer, situation, right)

    return _act(called, client_id, key, given, f"put right text {message_id} of", act)


def _act(
    called: Caller,
    client_id: int,
    key: str,
    given: VersionGiven,
    name: str,
    change: Callable[[Session, Situation], Outcome],
) -> Response:
    def act(session: Session) -> Done:
        situation = placed(session, called, client_id)
        check_version(situation.client, given.version)
        outcome = change(session, situation)
        session.flush()
        return Done(_told(session, situation, outcome.day), client_id, 201)

    return once(called, key, f"{name} client {client_id}", given.model_dump(mode="json"), act)


def _told(session: Session, situation: Situation, day: date) -> ClientToldOut:
    """The day's report as it stands now, and the client's state and version."""
    client, report = situation.client, current_report(session, situation.client_id, day)
    shown = None
    if report is not None:
        rows = select(MoveRow).where(MoveRow.report_id == report.id)
        shown = ReportOut.of((report, session.exec(rows).first()))
    return ClientToldOut(state=client.state, version=client.version, report=shown)  # type: ignore[arg-type]  # stored as one of them
