"""One client's falls: what they were asked and answered, and what is known of each."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.practice.settings import FALLS_ASKED
from rungwise.coach.record.access import client_of
from rungwise.coach.record.fall_records import (
    FallRecord,
    change_fall,
    fall_records,
    record_fall,
)
from rungwise.coach.record.falls import falls_of
from rungwise.coach.record.falls_followed import asked_of
from rungwise.coach.record.fields import day_of
from rungwise.coach.record.rhythm import rhythm_of
from rungwise.coach.reviews.retests import local_date
from rungwise.concepts.fall_facts import FALL_FACTS
from rungwise.errors import ImpossibleValue
from rungwise.evidence.falls import FallEvent
from rungwise.evidence.sources import LAMB_2005
from rungwise.store.tables import Client, Fall
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

SHOWN_ASKED = 26
SINCE = datetime(2000, 1, 1, tzinfo=UTC)
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Known:
    """A fall as the page has it: the event, and what a trainer recorded of it, if they did."""

    event: FallEvent
    record: Fall | None

    @property
    def given(self) -> Mapping[str, str]:
        """The form's values as they are now."""
        row = self.record
        facts = {name: getattr(row, name, None) or "" for name in FALL_FACTS}
        first, last = self.event.first.isoformat(), self.event.last.isoformat()
        return {"first": first, "last": last, "note": (row.note if row else None) or "", **facts}


@router.get("/clients/{client_id}/falls")
def falls(visit: Signed, client_id: int) -> Response:
    return _page(visit, client_id)


def _page(
    visit: Visit,
    client_id: int,
    told: str = "",
    given: Mapping[str, str] | None = None,
    status: int = 200,
) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        asked = asked_of(session, [client.id]).get(client.id, [])
        return framed(
            visit,
            session,
            "evidence_falls.html",
            status,
            client=client,
            asked=list(reversed(asked))[:SHOWN_ASKED],
            unanswered=sum(not one.answered for one in asked),
            one_day=ONE_DAY,
            known=_known(session, client),
            mistaken=[row for row in fall_records(session, client.id) if not row.happened],
            facts=FALL_FACTS,
            wanted=rhythm_of(session, client.id).falls_asked,
            every=FALLS_ASKED[str(visit.practice.falls_every_weeks)],
            today=local_date(client, visit.now),
            definition=LAMB_2005,
            given=given or {},
            told=told,
        )


def _known(session: Session, client: Client) -> list[Known]:
    """The falls, latest first."""
    records = {row.id: row for row in fall_records(session, client.id)}
    events = falls_of(session, [client], SINCE).get(client.id, ())
    return [Known(one, records.get(one.record or 0)) for one in reversed(events)]


@router.post("/clients/{client_id}/falls")
def keep(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    """Record a fall that no text told, or put right what is recorded of one."""
    try:
        with visit.parts.store.write() as session:
            client = client_of(session, visit.trainer, client_id)
            told = _told(fields)
            number = fields.get("record", "")
            if number.isdecimal():
                change_fall(session, visit.now, visit.trainer, client, int(number[:9]), told)
            else:
                record_fall(session, visit.now, visit.trainer, client, told)
    except ImpossibleValue as error:
        return _page(visit, client_id, str(error), fields, status_of(error))
    return RedirectResponse(f"/clients/{client_id}/falls", 303)


def _told(fields: Mapping[str, str]) -> FallRecord:
    facts = {name: fields[name] for name in FALL_FACTS if fields.get(name)}
    first = day_of(fields.get("first", ""))
    last = day_of(fields["last"]) if fields.get("last") else first
    happened = fields.get("happened", "yes") == "yes"
    return FallRecord(first, last, facts, happened, fields.get("note", ""))
