"""Switching the second reader off and on again, for the whole practice."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from rungwise.coach.practice.second_reader import switch_second_reader
from rungwise.web.http.auth import Signed
from rungwise.web.http.forms import FieldsHere

router = APIRouter()


@router.post("/practice/second-reader")
def switch(visit: Signed, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        on = fields.get("on") == "yes"
        switch_second_reader(session, visit.now, visit.trainer, on=on)
    return RedirectResponse("/practice#part-reading", 303)
