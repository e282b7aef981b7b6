"""A day that the client told otherwise than by text, and a text that was read wrong."""

from collections.abc import Mapping
from datetime import date

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session, col, select

from rungwise.coach.conversation.effects import Become, Decide, Effects, Say, Tell
from rungwise.coach.conversation.told_by_trainer import ENTERED_SIGNS
from rungwise.coach.daily.told_days import (
    Correction,
    DayEntry,
    Outcome,
    correct_reading,
    day_of_text,
    days_open,
    enter_day,
    likeliest_day,
    look_at_correction,
    look_at_day,
    open_signs,
    read_before,
)
from rungwise.coach.daily.told_form import NAMES, ToldForm, as_filled, body_places
from rungwise.coach.plan.placement import check_version
from rungwise.coach.record.fields import Unfinished
from rungwise.coach.record.situation import Situation, current_reports
from rungwise.concepts.alert_kinds import ALERTS
from rungwise.errors import NotFound, ServiceError
from rungwise.store.tables import Alert, Message
from rungwise.web.clients.client_page import RungNames
from rungwise.web.clients.override import placed
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui import labels
from rungwise.web.ui.layout import framed
from rungwise.web.ui.templating import day as day_words

router = APIRouter()

DEFAULTS: Mapping[str, str] = {"by": "phone", "practice": "told", "steadiness": ""}
SIGNS = {sign: labels.KIND[sign] for sign in ENTERED_SIGNS}


# --- a day ----------------------------------------------------------------------------------------


@router.get("/clients/{client_id}/day")
def a_day(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
        likeliest = likeliest_day(session, situation, visit.now)
        return _day_page(visit, session, situation, {**DEFAULTS, "day": likeliest.isoformat()})


@router.post("/clients/{client_id}/day")
def enter(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    form = ToldForm(fields)
    try:
        entry = DayEntry(form.day(), form.by, form.entered(), form.words, form.texts_client)
        if fields.get("step") == "look":
            with visit.parts.store.read() as session:
                situation = placed(session, visit, client_id)
                seen = look_at_day(session, visit.now, visit.trainer, situation, entry)
                told = sentences(situation, seen)
                return _day_page(visit, session, situation, fields, seen=told)
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, _version(fields))
            done = enter_day(session, visit.now, visit.trainer, situation, entry)
            where = _next_page(session, situation, done)
        return RedirectResponse(where, 303)
    except NotFound:
        raise
    except ServiceError as error:
        with visit.parts.store.read() as session:
            situation = placed(session, visit, client_id)
            return _day_page(visit, session, situation, fields, error=error)


def _day_page(
    visit: Visit,
    session: Session,
    situation: Situation,
    given: Mapping[str, str],
    seen: list[str] | None = None,
    error: ServiceError | None = None,
) -> Response:
    first, _ = days_open(situation, visit.now)
    reports = current_reports(session, situation.client_id, first)
    return _page(
        visit,
        session,
        situation,
        "told_day.html",
        given,
        seen,
        error,
        reported=sorted(row.local_date for row in reports),
    )


# --- a text read wrong ----------------------------------------------------------------------------


@router.get("/clients/{client_id}/texts/{text_id}/reading")
def a_reading(visit: Signed, client_id: int, text_id: int) -> Response:
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
        text = _text(session, text_id)
        reading, _ = read_before(session, situation, visit.now, text)
        given = {**DEFAULTS, **as_filled(reading), "day": _day_of(situation, text).isoformat()}
        return _reading_page(visit, session, situation, text, given)


@router.post("/clients/{client_id}/texts/{text_id}/reading")
def put_right(visit: Signed, client_id: int, text_id: int, fields: FieldsHere) -> Response:
    form = ToldForm(fields)
    try:
        entered = form.entered()
        day = form.day() if fields.get("day") else None
        if fields.get("step") == "look":
            with visit.parts.store.read() as session:
                situation = placed(session, visit, client_id)
                text = _text(session, text_id)
                given = Correction(text, entered, day, form.words, form.texts_client)
                seen = look_at_correction(session, visit.now, visit.trainer, situation, given)
                told = sentences(situation, seen)
                return _reading_page(visit, session, situation, text, fields, seen=told)
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, _version(fields))
            text = _text(session, text_id)
            given = Correction(text, entered, day, form.words, form.texts_client)
            done = correct_reading(session, visit.now, visit.trainer, situation, given)
            where = _next_page(session, situation, done)
        return RedirectResponse(where, 303)
    except NotFound:
        raise
    except ServiceError as error:
        with visit.parts.store.read() as session:
            situation, text = placed(session, visit, client_id), _text(session, text_id)
            read_before(session, situation, visit.now, text)
            return _reading_page(visit, session, situation, text, fields, error=error)


def _text(session: Session, text_id: int) -> Message:
    text = session.get(Message, text_id)
    if text is None:
        raise NotFound("There is no such text.")
    return text


def _day_of(situation: Situation, text: Message) -> date:
    return text.created_at.astimezone(situation.zone).date()


def _reading_page(
    visit: Visit,
    session: Session,
    situation: Situation,
    text: Message,
    given: Mapping[str, str],
    seen: list[str] | None = None,
    error: ServiceError | None = None,
) -> Response:
    return _page(
        visit,
        session,
        situation,
        "told_reading.html",
        given,
        seen,
        error,
        text=text,
        day_known=day_of_text(session, situation, text) is not None,
        open_signs=open_signs(session, situation.client),
    )


# --- both -----------------------------------------------------------------------------------------


def _page(
    visit: Visit,
    session: Session,
    situation: Situation,
    template: str,
    given: Mapping[str, str],
    seen: list[str] | None,
    error: ServiceError | None,
    **more: object,
) -> Response:
    first, last = days_open(situation, visit.now)
    problems = error.problems if isinstance(error, Unfinished) else {}
    return framed(
        visit,
        session,
        template,
        status_of(error) if error is not None else 200,
        client=situation.client,
        situation=situation,
        version=given.get("version", situation.client.version),
        given=given,
        problems=problems,
        names=NAMES,
        told="" if error is None or problems else str(error),
        seen=seen,
        first=first,
        last=last,
        signs=SIGNS,
        body_places=body_places(),
        **more,
    )


def _version(fields: Fields) -> int:
    words = fields.get("version", "")
    return int(words) if words.isascii() and words.isdecimal() and len(words) < 10 else 0


def sentences(situation: Situation, seen: Outcome) -> list[str]:
    """What would follow, each thing in a sentence."""
    found = [f"{day_words(seen.day)}: {seen.row.body}"]
    for step in seen.effects.steps:
        match step:
            case Decide(move=move):
                found.append(f"{labels.MOVE[move.kind]}. {move.because}")
                if move.from_key != move.to_key:
                    named = RungNames(situation)
                    found.append(f"From {named(move.from_key)} to {named(move.to_key)}.")
            case Become():
                found.append(f"{situation.client.called} rests: no prompts until you clear it.")
            case Tell(kind, _, urgency):
                shown = labels.URGENCY[urgency or str(ALERTS[kind].urgency)].lower()
                found.append(f"Alert: {labels.kind_words(kind)} ({shown}).")
            case Say(body=body):
                found.append(f"{situation.client.called} is sent: {body}")
            case _:
                pass
    if not any(isinstance(step, Say) for step in seen.effects.steps):
        found.append(f"Nothing is sent to {situation.client.called}.")
    return found


def _next_page(session: Session, situation: Situation, done: Outcome) -> str:
    """The alert to handle, where one was opened or grew; else the client's page."""
    alert = _alert_of(session, situation, done.effects)
    return f"/alerts/{alert}" if alert is not None else f"/clients/{situation.client_id}#moves"


def _alert_of(session: Session, situation: Situation, effects: Effects) -> int | None:
    told = [step.kind for step in effects.steps if isinstance(step, Tell)]
    kinds = [kind for kind in told if ALERTS[kind].rests]
    rows = select(Alert.id).where(
        Alert.client_id == situation.client_id,
        Alert.state != "handled",
        col(Alert.kind).in_(kinds[:1]),
    )
    return session.exec(rows).first()
