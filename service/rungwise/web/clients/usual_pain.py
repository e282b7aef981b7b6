"""The page where a client's usual pain is recorded."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.coach.conversation.signs import TOO_MUCH_PAIN
from rungwise.coach.plan.placement import check_version
from rungwise.coach.plan.usual_pain import USUAL_PLACES, set_usual_pain, usual_score
from rungwise.coach.record.codec import UsualPain
from rungwise.coach.record.situation import Situation
from rungwise.errors import NotFound, ServiceError
from rungwise.web.clients.override import placed
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed

router = APIRouter()


@router.get("/clients/{client_id}/usual-pain")
def usual_pain(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _page(visit, session, placed(session, visit, client_id))


@router.post("/clients/{client_id}/usual-pain")
def set_it(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, _version(fields))
            set_usual_pain(session, visit.now, visit.trainer, situation, _given(fields))
    except NotFound:
        raise
    except ServiceError as error:
        with visit.parts.store.read() as session:
            situation = placed(session, visit, client_id)
            return _page(visit, session, situation, fields, error)
    return RedirectResponse(f"/clients/{client_id}", 303)


def _given(fields: Fields) -> UsualPain | None:
    if not fields.get("place"):
        return None
    return UsualPain(fields["place"], usual_score(fields.get("score", "").strip()))


def _version(fields: Fields) -> int:
    words = fields.get("version", "")
    return int(words) if words.isascii() and words.isdecimal() and len(words) < 10 else 0


def _page(
    visit: Visit,
    session: Session,
    situation: Situation,
    fields: Fields | None = None,
    error: ServiceError | None = None,
) -> Response:
    usual = situation.settings.usual_pain
    held = {"place": usual.place, "score": str(usual.score)} if usual else {}
    version = (fields or {}).get("version", str(situation.client.version))
    return framed(
        visit,
        session,
        "usual_pain.html",
        200 if error is None else status_of(error),
        client=situation.client,
        given=held if fields is None else fields,
        problems={},
        names={},
        version=version,
        places_of_body=[("", "no usual pain"), *((one, one) for one in USUAL_PLACES)],
        scores_shown=[(str(one), str(one)) for one in range(TOO_MUCH_PAIN + 1)],
        told="" if error is None else str(error),
    )
