"""Handing clients over to a colleague, and closing the sign-in of who leaves, in one form."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from rungwise.coach.accounts.hand_over import (
    HandOver,
    hand_over_as_seen,
    look_at_hand_over,
    receivers,
)
from rungwise.coach.accounts.trainers import colleague
from rungwise.coach.record.access import clients_of
from rungwise.errors import EditedMeanwhile, ServiceError
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()

NOBODY_CHOSEN = "Tick at least one client."


@router.get("/practice/trainers/{trainer_id}/hand-over")
def choose(visit: Signed, trainer_id: int) -> Response:
    return _page(visit, trainer_id)


@router.post("/practice/trainers/{trainer_id}/hand-over")
def hand_over_clients(visit: Signed, trainer_id: int, fields: FieldsHere) -> Response:
    """Show what would follow, or do what was shown: `do` is move, or close for the sign-in too."""
    to_id = _number(fields.get("to", ""))
    ids = [_number(one) for one in fields.get("clients", "").split()]
    do = fields.get("do", "")
    try:
        if not ids:
            return _page(visit, trainer_id, told=NOBODY_CHOSEN)
        if not do:
            with visit.parts.store.read() as session:
                looked = look_at_hand_over(session, visit.trainer, trainer_id, to_id, ids)
                return _page(visit, trainer_id, looked)
        with visit.parts.store.write() as session:
            looked = look_at_hand_over(session, visit.trainer, trainer_id, to_id, ids)
            seen, closes = fields.get("seen", ""), do == "close"
            hand_over_as_seen(session, visit.now, visit.trainer, looked, seen, closes=closes)
    except EditedMeanwhile:
        with visit.parts.store.read() as session:
            looked = look_at_hand_over(session, visit.trainer, trainer_id, to_id, ids)
            told = "Something changed since you looked. Look again, then hand over."
            return _page(visit, trainer_id, looked, told, 409)
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        return _page(visit, trainer_id, told=str(error))
    return RedirectResponse("/practice" if visit.is_lead else "/clients", 303)


def _number(words: str) -> int:
    return int(words) if words.isascii() and words.isdecimal() and len(words) < 10 else 0


def _page(
    visit: Visit,
    trainer_id: int,
    looked: HandOver | None = None,
    told: str = "",
    status: int = 0,
) -> Response:
    with visit.parts.store.read() as session:
        giver = colleague(session, visit.trainer, trainer_id)
        theirs = [one for one in clients_of(session, visit.trainer) if one.trainer_id == giver.id]
        return framed(
            visit,
            session,
            "hand_over.html",
            status or (400 if told else 200),
            giver=giver,
            clients=theirs,
            receivers=receivers(session, giver),
            ticked={one.id for one in looked.clients} if looked else {one.id for one in theirs},
            looked=looked,
            told=told,
        )
