"""One incident: whom to phone, what was told, the checklist after a fall, and all that happened."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session, col, select

from rungwise.coach.alerting.incidents import alerts_of
from rungwise.coach.alerting.page_words import gravest
from rungwise.coach.alerting.timeline import timeline
from rungwise.coach.daily.new_phone import phones_of
from rungwise.coach.enrolment.intake import latest_home
from rungwise.coach.enrolment.screening_questions import BY_NAME
from rungwise.coach.plan.placement import Handling, handle
from rungwise.coach.record.access import client_of
from rungwise.coach.record.after_fall import Word, record_word, standing_of
from rungwise.coach.record.clearance import latest_screening
from rungwise.coach.record.falls import falls_in
from rungwise.coach.record.situation import load
from rungwise.concepts.after_fall import ITEMS, NICE, Item, choices_of
from rungwise.concepts.alert_kinds import ALERT_KINDS, RESTING_KINDS
from rungwise.concepts.fall_facts import FALL_FACTS
from rungwise.errors import ImpossibleValue, NotFound, ServiceError
from rungwise.store.queries import inbox
from rungwise.store.tables import Alert, Client, Incident
from rungwise.time_zone import zone_named
from rungwise.web.clients.client_page import RungNames
from rungwise.web.clients.resume_choices import resume_choices
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.looks import look_at
from rungwise.web.ui.layout import framed

router = APIRouter()

IN_HOSPITAL = "Phoned: in hospital, rests until home again"
PHONED = ("Phoned: all is well", "Phoned: will see a doctor first", "Visited at home")
ITEM = "fall_"
FACT = "known_"
LONGEST_LINK = 40
# The question of the screening, and the item of the checklist, of that name.
THINNER = "thinner"


class LinkOver(NotFound):
    """This link was good for a day. Open the alert inbox."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One item of the checklist as the page shows it."""

    item: Item
    field: str
    choices: Mapping[str, str]
    does: str


class IncidentForm(BaseModel):
    """`quick` is the pressed button, `what_done` one's own words; one of them must be there."""

    quick: str = Field(default="", max_length=200)
    what_done: str = Field(default="", max_length=500)
    note: str = Field(default="", max_length=2000)
    resume_key: str = Field(default="", max_length=120)
    misread: str = Field(default="", max_length=200)
    together: bool = False


def incident_of(session: Session, visit: Visit, incident_id: int) -> tuple[Incident, Client]:
    """The incident and its client, if this trainer may see them; NotFound otherwise."""
    incident = session.get(Incident, incident_id)
    if incident is None:
        raise NotFound("There is no such incident among yours.")
    return incident, client_of(session, visit.trainer, incident.client_id)


@router.get("/i/{link}")
def by_link(visit: Signed, link: str) -> Response:
    """The short address in a page: it opens its incident for a day, for who is signed in."""
    with visit.parts.store.read() as session:
        found = session.exec(select(Incident).where(Incident.link == link[:LONGEST_LINK])).first()
        if found is None:
            raise NotFound("There is no such incident among yours.")
        incident, _ = incident_of(session, visit, found.id)
    if incident.link_until is None or visit.now > incident.link_until:
        raise LinkOver
    return RedirectResponse(f"/incidents/{incident.id}", 303)


@router.get("/incidents/{incident_id}")
def one_incident(visit: Signed, request: Request, incident_id: int) -> Response:
    with visit.parts.store.read() as session:
        incident, _ = incident_of(session, visit, incident_id)
        fresh = [one.id for one in alerts_of(session, incident.id) if one.state == "new"]
    if fresh:
        look_at(visit, request, fresh[0])
    return incident_page(visit, incident_id)


def incident_page(
    visit: Visit,
    incident_id: int,
    told: str = "",
    given: Fields | None = None,
    status: int = 200,
) -> Response:
    with visit.parts.store.read() as session:
        incident, client = incident_of(session, visit, incident_id)
        alerts = alerts_of(session, incident.id)
        others = select(Alert).where(
            Alert.client_id == client.id,
            Alert.state != "handled",
            col(Alert.id).not_in([alert.id for alert in alerts]),
        )
        found = [*alerts, *session.exec(others.order_by(col(Alert.id))).all()]
        entries = inbox.with_texts(session, [(alert, client) for alert in found])
        situation = load(session, client)
        home = latest_home(session, client.id)
        stands = standing_of(session, visit.now, client, incident)
        theirs = sorted(entries[: len(alerts)], key=lambda e: ALERT_KINDS.index(e.alert.kind))
        is_open = [entry for entry in theirs if entry.alert.state != "handled"]
        fall = next((one.alert for one in is_open if one.alert.kind == "fall"), None)
        health = any(one.alert.kind == "health_news" for one in is_open)
        return framed(
            visit,
            session,
            "incident.html",
            status,
            incident=incident,
            client=client,
            entries=theirs,
            lead=(is_open or theirs)[0].alert,
            is_open=bool(is_open),
            others=entries[len(alerts) :],
            texts=list({text.id: text for entry in theirs for text in entry.texts}.values()),
            phones=phones_of(session, client.id),
            someone=home.someone if home is not None else None,
            fell=fall is not None,
            thinner=_thinner(session, client),
            thinner_source=NICE,
            days=_days_told(session, client, fall) if fall is not None else {},
            today=visit.now.astimezone(zone_named(client.time_zone)).date(),
            stands=stands,
            asked=[_asked(item) for item in ITEMS],
            beside={FACT + name: one for name, one in FALL_FACTS.items() if one.asked_beside},
            happened=timeline(session, client, incident),
            named=RungNames(situation),
            quick=(IN_HOSPITAL, *PHONED[1:]) if health else PHONED,
            resume_on=resume_choices(situation),
            rests=any(one.alert.kind in RESTING_KINDS for one in theirs),
            told=told,
            given=given or {},
        )


def _thinner(session: Session, client: Client) -> str:
    """What the screening says of blood thinners, to be confirmed on the phone."""
    screening = latest_screening(session, client.id)
    answer = screening.answers.get(THINNER) if screening is not None else None
    if screening is None or answer is None:
        return "Blood thinner or bleeding illness: not asked yet, so count it as yes."
    day = screening.at.astimezone(zone_named(client.time_zone)).strftime("%-d %B %Y")
    label = BY_NAME[THINNER].choice(answer).label.lower()
    unsure = ", so count it as yes" if answer == "unsure" else ""
    return f"Blood thinner or bleeding illness: {label} at the screening of {day}{unsure}."


def _asked(item: Item) -> Asked:
    """With what its yes does, in words."""
    does = [{"seen today": "to be seen today"}.get(item.go, item.go)] if item.go else []
    does += ["practice rests until a clinician's word"] * item.word
    does += ["the screening is asked again"] * item.screens
    does += ["visit first, and a landmark lower at most"] * item.visit
    sentence = f"Yes or not known: {', '.join(does)}." if does else ""
    return Asked(item, f"{ITEM}{item.name}", choices_of(item), sentence)


def _days_told(session: Session, client: Client, alert: Alert) -> Mapping[str, str]:
    """The dates between which the fall was, as far as it was told."""
    told = falls_in(session, client, alert)
    if not told:
        return {}
    return {FACT + "first": told[-1].first.isoformat(), FACT + "last": told[-1].last.isoformat()}


def facts_in(fields: Fields) -> dict[str, str]:
    """What a form knows of a fall beside its checklist."""
    given = {name: value for name, value in fields.items() if name.startswith(FACT)}
    return {name.removeprefix(FACT): value for name, value in given.items()}


def checklist_in(fields: Fields) -> dict[str, str] | None:
    """The answers of the checklist in a form; None when it was not asked."""
    given = {name: value for name, value in fields.items() if name.startswith(ITEM)}
    return {name.removeprefix(ITEM): value for name, value in given.items()} or None


@router.post("/incidents/{incident_id}/handle")
def handle_incident(
    visit: Signed,
    incident_id: int,
    form: Annotated[IncidentForm, Form()],
    fields: FieldsHere,
) -> Response:
    """Close all that is open of the incident, and with `together` all else of the client's."""
    try:
        with visit.parts.store.write() as session:
            incident, client = incident_of(session, visit, incident_id)
            _handle_all(session, visit, incident, client, form, fields)
            stands = standing_of(session, visit.now, client, incident)
    except ServiceError as error:
        if isinstance(error, NotFound):
            raise
        return incident_page(visit, incident_id, str(error), fields, status_of(error))
    follows = stands.follows
    more = follows.go or stands.waits_for_word or stands.waits_for_screening or follows.do
    return RedirectResponse(f"/incidents/{incident_id}" if more and not form.misread else "/", 303)


def _handle_all(
    session: Session,
    visit: Visit,
    incident: Incident,
    client: Client,
    form: IncidentForm,
    fields: Fields,
) -> None:
    answers = checklist_in(fields)
    rows = select(Alert).where(Alert.client_id == client.id, Alert.state != "handled")
    found = [
        alert
        for alert in session.exec(rows.order_by(col(Alert.id))).all()
        if alert.incident_id == incident.id or form.together
    ]
    theirs = [alert for alert in found if alert.incident_id == incident.id]
    if not theirs:
        raise NotFound("Everything of this incident was handled already.")
    # The gravest last: with it practice goes on.
    last = gravest(theirs)
    done = form.misread or form.what_done.strip() or form.quick
    misread = bool(form.misread)
    for alert in (*(one for one in found if one is not last), last):
        own = alert.incident_id == incident.id
        handling = Handling(
            done,
            form.note,
            form.resume_key or None if alert is last else None,
            answers if own and not misread else None,
            misread=own and misread,
            fall=facts_in(fields) if own else {},
        )
        handle(session, visit.now, visit.trainer, alert, load(session, client), handling)
        answers = None if own else answers


@router.post("/incidents/{incident_id}/word")
def clinicians_word(visit: Signed, incident_id: int, fields: FieldsHere) -> Response:
    try:
        with visit.parts.store.write() as session:
            incident, _ = incident_of(session, visit, incident_id)
            record_word(session, visit.now, visit.trainer, incident, _word(fields))
    except ServiceError as error:
        if isinstance(error, NotFound):
            raise
        return incident_page(visit, incident_id, str(error), fields, status_of(error))
    return RedirectResponse(f"/incidents/{incident_id}#word", 303)


def _word(fields: Fields) -> Word:
    if fields.get("allows") not in ("yes", "no"):
        raise ImpossibleValue("allows", "", "chosen: they may, or better not")
    return Word(
        clinician=fields.get("clinician", ""),
        said_on=_day(fields, "said_on"),
        by=fields.get("by", ""),
        examined=fields.get("examined", ""),
        allows=fields["allows"] == "yes",
        from_day=_day(fields, "from_day") if fields.get("from_day") else None,
        limits=fields.get("limits", ""),
    )


def _day(fields: Fields, name: str) -> date:
    try:
        return date.fromisoformat(fields.get(name, ""))
    except ValueError:
        raise ImpossibleValue(name, fields.get(name, ""), "a day, as 2026-03-02") from None
