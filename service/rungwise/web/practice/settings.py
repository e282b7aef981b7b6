"""The practice's page: hours, emergency number, links, wording of texts, trainers, carriers."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from rungwise.carriers.email import EMAIL
from rungwise.coach.accounts.trainers import (
    change_trainer,
    colleague,
    colleagues,
    set_active,
    set_role,
)
from rungwise.coach.alerting.page_test import latest_test
from rungwise.coach.monitoring.carrier_health import carriers_health
from rungwise.coach.practice.settings import FALLS_ASKED, PracticeForm, change_practice, countries
from rungwise.coach.practice.unreachable import who_cannot_be_paged
from rungwise.coach.record.access import require_lead
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.wording import (
    WordingRefused,
    own_names,
    set_wording,
    use_ours,
    wording_of,
    wording_problems,
)
from rungwise.coach.reports.clinician_review import reviewed
from rungwise.errors import NotFound
from rungwise.store.tables import Trainer
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui.layout import framed
from rungwise.wording.catalogue import CATALOGUE, GROUPS, LONGEST
from rungwise.wording.safety import emergency_number, known_country, required_parts
from rungwise.wording.segments import segments, to_gsm7
from rungwise.wording.texts import LANGUAGES, fill, template

router = APIRouter()

NAMES = {
    "name": "Name",
    "country": "Country",
    "emergency_number": "Emergency number",
    "language": "Language",
    "time_zone": "Time zone",
    "texts_from": "Texts from",
    "texts_until": "Texts until",
    "escalate_minutes": "Minutes until the second contact",
    "picture_address": "Address for picture links",
    "segment_price": "Price of one segment",
    "lengths": "Lengths",
    "clock": "Hours",
    "clinician": "Who reviewed it",
    "profession": "Their profession",
    "reviewed_on": "Day of the review",
    "version": "Version",
    "phone": "Phone",
    "page_by": "How to page",
    "second_contact_name": "Second contact",
    "second_contact_phone": "Second contact's phone",
}
WAYS_NAMED = (("text", "By text"), ("email", "By e-mail"), ("both", "By text and e-mail"))
# What stands in a preview; an invented client.
SAMPLE = {
    "called": "Ada",
    "trainer": "Robin",
    "task": "Left foot a step ahead, no gap sideways. Hands just above the counter. "
    "20 seconds, then swap feet.",
    "hint": "Text left, right, steady or wobbly.",
    "target_s": "20",
    "first": "left",
    "second": "right",
    "caution": "Pain or dizzy: stop.",
    "side": "right",
    "kind": "reports a fall",
    "days": "5 days",
    "carrier": "kannel",
    "minutes": "5",
}


@router.get("/practice")
def practice(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return practice_page(visit, session)


def practice_page(
    visit: Visit,
    session: Session,
    given: Fields | None = None,
    problems: dict[str, str] | None = None,
) -> Response:
    form = PracticeForm.of(visit.practice)
    held = {name: getattr(form, name) for name in PracticeForm.__slots__}
    own = {code: own_names(session, visit.practice, code) for code in LANGUAGES}
    people = colleagues(session, visit.practice)
    return framed(
        visit,
        session,
        "practice.html",
        400 if problems else 200,
        given={**held, **(given or {})},
        problems=problems or {},
        names=NAMES,
        countries=countries(),
        falls_asked=FALLS_ASKED,
        known=known_country(visit.practice.country),
        usual_number=emergency_number(visit.practice.country),
        languages=LANGUAGES,
        own_texts={code: len(names) for code, names in own.items()},
        colleagues=people,
        unreachable=who_cannot_be_paged(visit.practice, people, visit.parts.carriers.keys()),
        carriers=carriers_health(session, visit.now, visit.practice, set(visit.parts.carriers)),
        suggested=visit.parts.settings.public_url,
        review=reviewed(session, visit.practice),
    )


@router.post("/practice")
def change(visit: Signed, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            change_practice(session, visit.now, visit.trainer, PracticeForm.read(fields))
    except Unfinished as unfinished:
        with visit.parts.store.read() as session:
            return practice_page(visit, session, fields, unfinished.problems)
    return RedirectResponse("/practice", 303)


# --- trainers -------------------------------------------------------------------------------------


@router.get("/practice/trainers/{trainer_id}")
def one_trainer(visit: Signed, trainer_id: int) -> Response:
    with visit.parts.store.read() as session:
        return trainer_page(visit, session, colleague(session, visit.trainer, trainer_id))


def trainer_page(
    visit: Visit,
    session: Session,
    other: Trainer,
    given: Fields | None = None,
    problems: dict[str, str] | None = None,
    told: str = "",
    status: int = 200,
) -> Response:
    held = {
        "phone": other.phone or "",
        "page_by": other.page_by,
        "second_contact_name": other.second_contact_name or "",
        "second_contact_phone": other.second_contact_phone or "",
    }
    return framed(
        visit,
        session,
        "practice_trainer.html",
        400 if problems else status,
        other=other,
        test_pages=latest_test(session, other),
        told=told,
        ways=WAYS_NAMED,
        has_mail=EMAIL in visit.parts.carriers,
        given={**held, **(given or {})},
        problems=problems or {},
        names=NAMES,
    )


@router.post("/practice/trainers/{trainer_id}")
def change_one(visit: Signed, trainer_id: int, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            other = colleague(session, visit.trainer, trainer_id)
            change_trainer(session, visit.now, visit.trainer, other, fields)
    except Unfinished as unfinished:
        with visit.parts.store.read() as session:
            other = colleague(session, visit.trainer, trainer_id)
            return trainer_page(visit, session, other, fields, unfinished.problems)
    return RedirectResponse("/practice" if visit.is_lead else "/account", 303)


@router.post("/practice/trainers/{trainer_id}/role")
def change_role(visit: Signed, trainer_id: int, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        other = colleague(session, visit.trainer, trainer_id)
        set_role(session, visit.now, visit.trainer, other, fields.get("role", ""))
    return RedirectResponse("/practice", 303)


@router.post("/practice/trainers/{trainer_id}/active")
def change_active(visit: Signed, trainer_id: int, fields: FieldsHere) -> Response:
    with visit.parts.store.write() as session:
        other = colleague(session, visit.trainer, trainer_id)
        active = fields.get("active") == "yes"
        set_active(session, visit.now, visit.trainer, other, active=active)
    return RedirectResponse("/practice", 303)


# --- wording --------------------------------------------------------------------------------------


@router.get("/practice/texts/{language}")
def texts(visit: Signed, language: str) -> Response:
    _known(language)
    with visit.parts.store.read() as session:
        own = wording_of(session, visit.practice.id, language)
        return framed(
            visit,
            session,
            "practice_texts.html",
            language=language,
            languages=LANGUAGES,
            groups={
                title: [(name, spec, template(name, language, own), name in own)
                        for name, spec in group.items()]
                for title, group in GROUPS.items()
            },
        )  # fmt: skip


def _known(language: str, name: str = "prompt") -> None:
    if language not in LANGUAGES or name not in CATALOGUE:
        raise NotFound("There is no such text.")


@router.get("/practice/texts/{language}/{name}")
def one_text(visit: Signed, language: str, name: str) -> Response:
    _known(language, name)
    with visit.parts.store.read() as session:
        own = wording_of(session, visit.practice.id, language)
        return _text_page(visit, session, language, name, template(name, language, own))


def _text_page(
    visit: Visit, session: Session, language: str, name: str, body: str, tried: bool = False
) -> Response:
    spec = CATALOGUE[name]
    problems = wording_problems(name, language, body)
    values = {**SAMPLE, "practice": visit.practice.name, "number": visit.practice.emergency_number}
    shown = "" if problems else to_gsm7(fill(name, body, values))
    long = {value: "N" * LONGEST[value] for value in spec.values}
    return framed(
        visit,
        session,
        "practice_text.html",
        400 if tried and problems else 200,
        language=language,
        language_name=LANGUAGES[language],
        text_name=name,
        spec=spec,
        body=body,
        ours=template(name, language),
        own=name in wording_of(session, visit.practice.id, language),
        problems=problems,
        must=required_parts(name),
        shown=shown,
        size=segments(shown) if shown else None,
        long_size=None if problems else segments(to_gsm7(fill(name, body, long))),
        tried=tried,
    )


@router.post("/practice/texts/{language}/{name}")
def word_text(visit: Signed, language: str, name: str, fields: FieldsHere) -> Response:
    """Look at a wording, take it, or go back to ours; only the lead may."""
    _known(language, name)
    require_lead(visit.trainer)
    body = fields.get("body", "").replace("\r\n", "\n").strip()
    step = fields.get("step")
    if step == "ours":
        with visit.parts.store.write() as session:
            use_ours(session, visit.now, visit.trainer, language, name)
        return RedirectResponse(f"/practice/texts/{language}/{name}", 303)
    if step == "take":
        try:
            with visit.parts.store.write() as session:
                set_wording(session, visit.now, visit.trainer, language, name, body)
            return RedirectResponse(f"/practice/texts/{language}/{name}", 303)
        except WordingRefused:
            pass
    with visit.parts.store.read() as session:
        return _text_page(visit, session, language, name, body, tried=True)
