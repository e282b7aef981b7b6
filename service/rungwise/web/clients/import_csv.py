"""Many clients from a CSV file: choose it, match its columns, see what it would do, add them."""

import csv
import io
from typing import Annotated

from fastapi import APIRouter, File, Response, UploadFile
from sqlmodel import Session

from rungwise.coach.conversation.signs import TOO_MUCH_PAIN
from rungwise.coach.data.export_rows import cell
from rungwise.coach.enrolment.body_form import FOAM, SHOES, SIDES
from rungwise.coach.enrolment.columns import COLUMNS
from rungwise.coach.enrolment.csv_list import (
    LARGEST_BYTES,
    MOST_ROWS,
    NEEDED,
    Added,
    ListChanged,
    ReadList,
    decoded,
    import_list,
    read_list,
    set_aside,
)
from rungwise.coach.enrolment.heights import HEIGHT_CM
from rungwise.coach.enrolment.home_checklist import NAMES as HOME_NAMES
from rungwise.coach.enrolment.intake_form import DEFAULTS, NOT_TRIED, STAGE_FIELDS, WEEKDAYS
from rungwise.coach.enrolment.screening_questions import BY_NAME
from rungwise.coach.plan.usual_pain import USUAL_PLACES
from rungwise.coach.record.fields import LONGEST_ADDRESS
from rungwise.errors import ImpossibleValue
from rungwise.ladder.body import FOOT_BREADTH_MM, FOOT_LENGTH_MM, HIP_WIDTH_MM, HOLD_S, MAT_LAYERS
from rungwise.ladder.caution import PRESETS
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed
from rungwise.wording.texts import LANGUAGES

router = APIRouter()

MOST_COLUMNS = 200


@router.get("/clients/import")
def choose_file(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return _page(visit, session)


@router.get("/clients/import/columns.csv")
def empty_list(_visit: Signed) -> Response:
    """A file with every column's name and nobody in it."""
    held = io.StringIO()
    csv.writer(held).writerow(COLUMNS)
    return _csv(held.getvalue(), "clients.csv")


@router.post("/clients/import")
def look_or_add(
    visit: Signed, fields: FieldsHere, file: Annotated[UploadFile | None, File()] = None
) -> Response:
    step = fields.get("step")
    if step == "look":
        if file is None or not file.filename:
            raise ImpossibleValue("file", "", "a CSV file: choose one first")
        text, note = decoded(file.file.read())
        with visit.parts.store.read() as session:
            found = read_list(session, visit.trainer, text, note)
            return _page(visit, session, found=found, text=text)
    text, matching = fields.get("list", ""), _matching(fields)
    if step == "add":
        return _add(visit, text, matching, fields)
    with visit.parts.store.read() as session:
        found = read_list(session, visit.trainer, text, matching=matching)
        if step == "aside":
            return _aside(found)
        return _page(visit, session, found=found, text=text)


def _matching(fields: Fields) -> list[str]:
    """What each column of the file is taken for, as it was chosen."""
    places = range(MOST_COLUMNS)
    return [fields[f"column_{place}"] for place in places if f"column_{place}" in fields]


def _aside(found: ReadList) -> Response:
    """The rows that could not be taken, to be put right and chosen again."""
    held = io.StringIO()
    csv.writer(held).writerows([cell(one) for one in line] for line in set_aside(found))
    return _csv(held.getvalue(), "set-aside.csv")


def _csv(text: str, name: str) -> Response:
    named = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text.encode("utf-8-sig"), media_type="text/csv", headers=named)


def _add(visit: Visit, text: str, matching: list[str], fields: Fields) -> Response:
    try:
        with visit.parts.store.write() as session:
            added, found = import_list(
                session,
                visit.now,
                visit.trainer,
                text,
                matching=matching,
                seen=fields.get("seen", ""),
                begin=fields.get("begin") == "yes",
            )
    except ListChanged as changed:
        with visit.parts.store.read() as session:
            told = str(changed)
            return _page(visit, session, found=changed.found, text=text, told=told, status=409)
    with visit.parts.store.read() as session:
        return _page(visit, session, found=found, text=text, added=added)


def _page(
    visit: Visit,
    session: Session,
    *,
    found: ReadList | None = None,
    text: str = "",
    added: list[Added] | None = None,
    told: str = "",
    status: int = 200,
) -> Response:
    nothing = found is not None and not found.rows
    return framed(
        visit,
        session,
        "import.html",
        400 if nothing and status == 200 else status,
        found=found,
        text=text,
        added=added,
        told=told,
        names=COLUMNS,
        columns=column_help(),
        most_rows=MOST_ROWS,
        largest_kb=LARGEST_BYTES // 1000,
    )


def column_help() -> list[tuple[str, str, str]]:
    """Each column: its name, what may stand in it, and what an empty cell means."""
    cm = {
        "height_cm": f"{HEIGHT_CM[0]} to {HEIGHT_CM[1]}, or feet and inches such as 5 ft 4",
        "shoe_size": "a guess of the foot; not used where the feet are measured",
        "shoe_system": " or ".join(SHOES),
        "foot_length_cm": _cm(FOOT_LENGTH_MM),
        "foot_breadth_cm": _cm(FOOT_BREADTH_MM),
        "hip_width_cm": f"{_cm(HIP_WIDTH_MM)}, between the hip joints",
        "narrowest_cm": f"{_cm((FOOT_BREADTH_MM[0], HIP_WIDTH_MM[1]))}, middle to middle",
    }
    may = {
        "name": "up to 80 letters",
        "called": "up to 80 letters; empty: the first name",
        "phone": "with + for another country",
        "kin": "next of kin, whom the trainer may phone",
        "kin_phone": "with + for another country",
        "number_to_second": "yes if they agreed that the second contact gets their numbers",
        "address": f"up to {LONGEST_ADDRESS} letters, for who visits them",
        "time_zone": "such as Europe/London; empty: as the number says",
        "language": " or ".join(LANGUAGES),
        **{name: " or ".join(one.value for one in BY_NAME[name].choices) for name in BY_NAME},
        "sex": "female or male; needed without measures",
        **cm,
        "big_toe_pain": "yes or no",
        "weaker": " or ".join(SIDES),
        "no_full_weight": " or ".join(SIDES),
        "usual_pain": f"a pain that is always there: {', '.join(USUAL_PLACES)}",
        "usual_pain_score": f"0 to {TOO_MUCH_PAIN}: how bad on a usual day, of 10",
        "mat_layers": " or ".join(map(str, MAT_LAYERS)),
        "foam": " or ".join(FOAM),
        "home": f"all, or some of {' '.join(HOME_NAMES)}",
        "someone": "who knows when they practise",
        **dict.fromkeys(STAGE_FIELDS, f"0 to 10 seconds, or {NOT_TRIED}"),
        "prompt_at": "hour, their time",
        "weekdays": " ".join(WEEKDAYS),
        "target_s": f"{HOLD_S[0]} to {HOLD_S[1]}",
        "caution": " or ".join(PRESETS),
        "agreed": "yes or no",
    }
    otherwise = {**DEFAULTS, **dict.fromkeys(NEEDED, "needed")}
    return [(name, may[name], otherwise.get(name, "")) for name in COLUMNS]


def _cm(bounds_mm: tuple[int, int]) -> str:
    return f"{bounds_mm[0] / 10:g} to {bounds_mm[1] / 10:g}"
