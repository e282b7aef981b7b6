"""A new client on one page: questions, consent, body, home, baseline, and what follows from them.

Nothing is stored before the trainer has seen what would follow: the outcome, the first rung and
the exact texts. Works without a script; what was typed stays.
"""

from dataclasses import dataclass
from datetime import time, timedelta
from hashlib import sha256

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from sqlmodel import Session, col, select

from rungwise.coach.alerting.page_test import not_answered
from rungwise.coach.conversation.day_text import task_body
from rungwise.coach.conversation.signs import TOO_MUCH_PAIN
from rungwise.coach.daily.welcome import CONSENT_WORDING, consent_wording
from rungwise.coach.enrolment.home_checklist import CHECKLIST
from rungwise.coach.enrolment.intake import add_from
from rungwise.coach.enrolment.intake_form import (
    ASKED,
    DEFAULTS,
    STAGE_FIELDS,
    WEEKDAYS,
    Draft,
    read_intake,
)
from rungwise.coach.enrolment.screening_questions import QUESTIONS
from rungwise.coach.plan.usual_pain import USUAL_PLACES
from rungwise.coach.record.fields import Unfinished, sentence
from rungwise.coach.record.quiet_hours import quiet_hours
from rungwise.coach.record.wording import wording_of
from rungwise.errors import ImpossibleValue
from rungwise.evidence.four_stage import STAGES
from rungwise.ladder.body import MAT_LAYERS
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.shoe_sizes import SHOE_SYSTEMS
from rungwise.store.tables import Client, Practice
from rungwise.ticks.due import is_quiet
from rungwise.time_zone import other_zones, zones_of
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui import labels
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import Telling, rung_picture, rung_sentence
from rungwise.wording.segments import Segments, segments
from rungwise.wording.texts import LANGUAGES, render

router = APIRouter()

AGE_DOES_NOT_MATTER = 0  # the four-stage test reads the same at every age
PRESSED_TWICE_WITHIN = timedelta(minutes=2)
CAUTION_WORDS = {
    "gentle": "gentle: more steady days before a step, back sooner",
    "usual": "usual",
    "keen": "keen: fewer steady days before leaving a landmark",
}
SHOES_SHOWN = [("", "choose"), *((name, one.label) for name, one in SHOE_SYSTEMS.items())]
PAINS_SHOWN = [("", "nothing"), *((one, one) for one in USUAL_PLACES)]
SCORES_SHOWN = [("", "choose"), *((str(one), str(one)) for one in range(TOO_MUCH_PAIN + 1))]
FIELD_NAMES = {
    "name": "Name",
    "called": "Called",
    "phone": "Phone",
    "address": "Address",
    "kin": "Next of kin",
    "kin_phone": "Next of kin's phone",
    "time_zone": "Time zone",
    "language": "Language",
    "sex": "Sex",
    "height_cm": "Height",
    "shoe_size": "Shoe size",
    "shoe_system": "Shoe sizes",
    "foot_length_cm": "Foot length",
    "foot_breadth_cm": "Foot breadth",
    "hip_width_cm": "Hip width",
    "narrowest_cm": "Narrowest comfortable stance",
    "usual_pain": "Usual pain",
    "usual_pain_score": "How bad on a usual day",
    "prompt_at": "Hour of the text",
    "weekdays": "Days",
    "target_s": "Seconds to hold",
    "caution": "How cautious",
    "home": "Home set-up",
    **{name: f"{STAGES[place].capitalize()}, seconds" for place, name in enumerate(STAGE_FIELDS)},
    **{name: f"Question {place}" for place, name in enumerate(ASKED, start=1)},
}


@dataclass(frozen=True, slots=True)
class Follows:
    """What would follow from a draft: shown before anything is stored."""

    draft: Draft
    first_text: str
    task_text: str
    sentence: str
    drawing: Markup
    seen: str

    @property
    def first_size(self) -> Segments:
        return segments(self.first_text)

    @property
    def findings(self) -> list[str]:
        """What is published about the baseline's result, with whose it is."""
        shown = self.draft.shown
        found = shown.findings(AGE_DOES_NOT_MATTER, None) if shown is not None else ()
        return [f"{one.says} ({one.source})" for one in found if one.flag]

    @property
    def task_size(self) -> Segments:
        return segments(self.task_text)


@router.get("/clients/new")
def new_client(visit: Signed) -> Response:
    with visit.parts.store.read() as session:
        return _page(visit, session, {})


@router.post("/clients/new")
def add_new(visit: Signed, fields: FieldsHere) -> Response:
    # No day ticked is no answer; only a list may leave the column out.
    fields.setdefault("weekdays", "-")
    try:
        draft = read_intake(fields, visit.practice, unreached=not_answered(visit.trainer))
    except Unfinished as unfinished:
        with visit.parts.store.read() as session:
            return _page(visit, session, fields, problems=unfinished.problems)
    with visit.parts.store.read() as session:
        follows = what_follows(session, visit.practice, draft)
    looked = fields.get("seen", "") == follows.seen
    if fields.get("step") != "add" or not looked:
        changed = fields.get("step") == "add" and bool(fields.get("seen"))
        with visit.parts.store.read() as session:
            return _page(visit, session, fields, follows=follows, changed=changed)
    return _add(visit, fields, draft)


def _add(visit: Visit, fields: Fields, draft: Draft) -> Response:
    try:
        with visit.parts.store.write() as session:
            twin = _pressed_twice(session, visit, draft)
            client_id = twin or add_from(session, visit.now, visit.trainer, draft).id
    except ImpossibleValue as error:
        with visit.parts.store.read() as session:
            return _page(visit, session, fields, problems={error.field: sentence(error)})
    more = "" if draft.begins else "/start"
    return RedirectResponse(f"/clients/{client_id}{more}", 303)


def _pressed_twice(session: Session, visit: Visit, draft: Draft) -> int | None:
    """The client that this very form has just added, when its button was pressed twice."""
    rows = select(Client).where(
        Client.practice_id == visit.practice.id,
        Client.trainer_id == visit.trainer.id,
        Client.phone == draft.phone.e164,
        col(Client.created_at) >= visit.now - PRESSED_TWICE_WITHIN,
    )
    client = session.exec(rows).first()
    return client.id if client is not None and client.name == draft.new.name else None


def what_follows(session: Session, practice: Practice, draft: Draft) -> Follows:
    """What adding this client would mean; its `seen` tells whether that was looked at."""
    new, rung = draft.new, draft.rung
    wording = wording_of(session, practice.id, new.language)
    first = render(
        "first",
        new.language,
        wording,
        called=new.called,
        practice=practice.name,
        number=practice.emergency_number,
    )
    telling = Telling(
        new.settings.target_s,
        first_day=True,
        tape=new.profile.equipment.tape,
        units=practice.measures.lengths,
    )
    task = task_body(rung, new.profile.body, telling, new.language, wording)
    lengths = practice.measures.lengths
    drawing = rung_picture(rung, new.profile.body, theme="auto", lengths=lengths)
    pain = repr(new.settings.usual_pain)
    told = (draft.outcome, *draft.waits_for, rung.key, new.phone, new.time_zone, first, task, pain)
    return Follows(
        draft,
        first,
        task,
        rung_sentence(rung, lengths=lengths),
        Markup(drawing),  # noqa: S704  # made of numbers and our own escaped words
        sha256("\n".join(told).encode()).hexdigest()[:32],
    )


def _goes(visit: Visit, follows: Follows | None) -> str:
    """When the first text goes, by the clock where the client is."""
    if follows is None or not follows.draft.begins:
        return "It waits."
    begins = visit.practice.measures.hour(time.fromisoformat(visit.practice.texts_from))
    if is_quiet(visit.now, follows.draft.new.time_zone, quiet_hours(visit.practice)):
        return f"It is outside texting hours there: it goes at {begins}."
    return "It goes at once."


def _page(
    visit: Visit,
    session: Session,
    given: Fields,
    *,
    problems: dict[str, str] | None = None,
    follows: Follows | None = None,
    changed: bool = False,
) -> Response:
    country = visit.practice.country
    return framed(
        visit,
        session,
        "intake.html",
        400 if problems else 200,
        given=given or {**DEFAULTS, "language": visit.practice.language},
        problems=problems or {},
        names=FIELD_NAMES,
        follows=follows,
        goes=_goes(visit, follows),
        changed=changed,
        questions=QUESTIONS,
        checklist=CHECKLIST,
        stages=list(zip(STAGE_FIELDS, STAGES, strict=True)),
        shoes=SHOES_SHOWN,
        languages=LANGUAGES,
        mat_layers=MAT_LAYERS,
        cautions={name: CAUTION_WORDS[name] for name in PRESETS},
        pains=PAINS_SHOWN,
        pain_scores=SCORES_SHOWN,
        weekdays=list(zip(WEEKDAYS, labels.WEEKDAYS, strict=True)),
        own_zones=zones_of(country),
        other_zones=other_zones(country),
        consent={code: consent_wording(visit.practice, code) for code in CONSENT_WORDING},
    )
