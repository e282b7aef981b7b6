"""What a trainer prints at true size for a client's floor: the tape, and the feet of a stance."""

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel
from sqlmodel import Session

from rungwise.coach.record.access import client_of
from rungwise.coach.record.situation import Situation, load
from rungwise.concepts.measures import Lengths
from rungwise.errors import NotFound
from rungwise.ladder.rungs import Rung
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_short

router = APIRouter()


class Wanted(BaseModel):
    """What the marks count, in the address."""

    units: Lengths = "cm"


WantedHere = Annotated[Wanted, Query()]


def _placed(session: Session, visit: Visit, client_id: int) -> Situation:
    situation = load(session, client_of(session, visit.trainer, client_id))
    if situation is None or situation.ladder.body is None:
        raise NotFound("This client has no rung yet, so there is nothing to print.")
    return situation


def _today_and_next(situation: Situation) -> list[tuple[str, Rung]]:
    """Today's rung and the next landmark above it, with their names."""
    here, ladder, lengths = situation.rung, situation.ladder, situation.lengths
    above = ladder.rungs[ladder.index(here.key) + 1 :]
    landmark = next((rung for rung in above if rung.landmark), None)
    shown = [(f"Today: {rung_short(here, lengths=lengths)}", here)]
    if landmark is not None:
        shown.append((f"Next landmark: {rung_short(landmark, lengths=lengths)}", landmark))
    return shown


def _pdf(content: bytes, name: str) -> Response:
    told = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return Response(content, media_type="application/pdf", headers=told)


@router.get("/clients/{client_id}/print")
def prints(visit: Signed, client_id: int) -> Response:
    # Loaded for a print alone: what makes PDF is slow to load.
    from rungwise.web.clients.true_size import tape_reach  # noqa: PLC0415
    from rungwise.web.reports.summary_pdf import LETTER  # noqa: PLC0415

    with visit.parts.store.read() as session:
        situation = _placed(session, visit, client_id)
        return framed(
            visit,
            session,
            "prints.html",
            client=situation.client,
            tape=situation.measures.equipment.tape,
            reach={units: tape_reach(situation.ladder, units) for units in ("cm", "in")},
            named=[name for name, _ in _today_and_next(situation)],
            letter=situation.practice.country in LETTER,
        )


@router.get("/clients/{client_id}/print/tape.pdf")
def tape(visit: Signed, client_id: int, wanted: WantedHere) -> Response:
    from rungwise.web.clients.true_size import tape_pdf  # noqa: PLC0415

    with visit.parts.store.read() as session:
        situation = _placed(session, visit, client_id)
        country = situation.practice.country
        return _pdf(tape_pdf(situation.ladder, wanted.units, country, visit.now), "tape")


@router.get("/clients/{client_id}/print/feet.pdf")
def feet(visit: Signed, client_id: int, wanted: WantedHere) -> Response:
    from rungwise.web.clients.true_size import feet_pdf  # noqa: PLC0415

    with visit.parts.store.read() as session:
        situation = _placed(session, visit, client_id)
        body = situation.measures.body
        country = situation.practice.country
        shown = _today_and_next(situation)
        return _pdf(feet_pdf(shown, body, wanted.units, country, visit.now), "feet")
