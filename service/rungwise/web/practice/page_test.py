"""Sending a trainer a test page, and taking the code that stood in it."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from rungwise.coach.accounts.trainers import colleague
from rungwise.coach.alerting.page_test import answer_test_page, send_test_page
from rungwise.errors import NotFound, ServiceError
from rungwise.web.http.auth import Signed
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import FieldsHere
from rungwise.web.practice.settings import trainer_page

router = APIRouter()


@router.post("/practice/trainers/{trainer_id}/test-page")
def test_page(visit: Signed, trainer_id: int, fields: FieldsHere) -> Response:
    """Send one; or, where the form holds a code, take it for the answer to the latest."""
    try:
        with visit.parts.store.write() as session:
            other = colleague(session, visit.trainer, trainer_id)
            if "code" in fields:
                answer_test_page(session, visit.now, visit.trainer, other, fields["code"])
            else:
                send_test_page(session, visit.now, visit.trainer, other, visit.parts.carriers)
    except ServiceError as error:
        if isinstance(error, NotFound):
            raise
        with visit.parts.store.read() as session:
            other = colleague(session, visit.trainer, trainer_id)
            return trainer_page(visit, session, other, told=str(error), status=status_of(error))
    return RedirectResponse(f"/practice/trainers/{trainer_id}#part-test", 303)
