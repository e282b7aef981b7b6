"""A client's facts after the intake: changed on one page, once what follows has been looked at."""

from dataclasses import dataclass
from datetime import time
from functools import partial

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from sqlmodel import Session

from rungwise.coach.daily.new_phone import asked_of, keep_old_phone
from rungwise.coach.enrolment.edit_client import (
    Follows,
    SeenOther,
    choices_for,
    edit_client,
    facts_of,
    look_at_edit,
)
from rungwise.coach.enrolment.facts import FACTS, FIELDS, LISTS, TICKS, Choices, filled_in
from rungwise.coach.enrolment.home_checklist import CHECKLIST
from rungwise.coach.record.access import client_of
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.fields import Unfinished
from rungwise.concepts.measures import Lengths, Measures
from rungwise.errors import EditedMeanwhile
from rungwise.ladder.body import LANDMARKS, MAT_LAYERS, OPENABLE_TASKS
from rungwise.ladder.stance import Task
from rungwise.store.queries import thread
from rungwise.store.tables import Client
from rungwise.time_zone import other_zones, zones_of
from rungwise.web.clients.intake import PAINS_SHOWN, SCORES_SHOWN, SHOES_SHOWN
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.http.forms import Fields, FieldsHere
from rungwise.web.ui import labels
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_picture
from rungwise.wording.segments import segments
from rungwise.wording.texts import LANGUAGES

router = APIRouter()

TASK_WORDS = {
    Task.SHIFT: "weight from foot to foot",
    Task.HEAD: "head turning",
    Task.ARMS: "arms folded",
    Task.COUNT: "counting backwards",
}
NAMES = {name: fact.label.removesuffix(", cm") for name, fact in FACTS.items()} | {
    **{"sex": "Sex", "height_cm": "Height"},
    **{"shoe_size": "Shoe size", "shoe_system": "Shoe sizes"},
}


@dataclass(frozen=True, slots=True)
class Shown:
    """What the form holds, what is wrong with it, and what would follow."""

    given: Fields
    problems: dict[str, str]
    follows: Follows | None = None
    told: str = ""
    status: int = 200


@router.get("/clients/{client_id}/facts")
def facts(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        return _page(visit, session, client, Shown({}, {}))


@router.post("/clients/{client_id}/facts")
def change(visit: Signed, client_id: int, fields: FieldsHere) -> Response:
    """Show what would follow, or store it once that was looked at."""
    given = _given(fields)
    version = fields.get("version", "")
    try:
        if fields.get("step") == "save":
            with visit.parts.store.write() as session:
                client = client_of(session, visit.trainer, client_id)
                edit_client(
                    session,
                    visit.now,
                    visit.trainer,
                    client,
                    given,
                    version=int(version) if version.isdecimal() else 0,
                    seen=fields.get("seen", ""),
                )
                mine = visit.is_lead or client.trainer_id == visit.trainer.id
            return RedirectResponse(f"/clients/{client_id}" if mine else "/clients", 303)
        return _look(visit, client_id, given)
    except EditedMeanwhile:
        told = (
            "Somebody changed this client since you looked. What you filled in is still here; look "
            "again at what follows."
        )
        return _look(visit, client_id, given, told, 409)
    except SeenOther as other:
        return _look(visit, client_id, given, str(other), 409)
    except Unfinished as unfinished:
        with visit.parts.store.read() as session:
            client = client_of(session, visit.trainer, client_id)
            shown = Shown(given, unfinished.problems, status=400)
            return _page(visit, session, client, shown)


def _given(fields: Fields) -> Fields:
    """The facts of the form; a box that is not ticked says no."""
    boxes = {**dict.fromkeys(TICKS, "no"), **dict.fromkeys(LISTS, "-")}
    return {**boxes, **{name: value for name, value in fields.items() if name in FIELDS}}


def _look(
    visit: Visit, client_id: int, given: Fields, told: str = "", status: int = 200
) -> Response:
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        follows = look_at_edit(session, visit.now, visit.trainer, client, given)
        return _page(visit, session, client, Shown(given, {}, follows, told, status))


@router.post("/clients/{client_id}/new-phone")
def take_back(visit: Signed, client_id: int) -> Response:
    """The new phone is asked no more."""
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        keep_old_phone(session, visit.now, visit.trainer, client)
    return RedirectResponse(f"/clients/{client_id}/facts", 303)


def _page(visit: Visit, session: Session, client: Client, shown: Shown) -> Response:
    held = facts_of(session, client)
    choices = choices_for(session, client)
    country = visit.practice.country
    changes = thread.changes(session, client.id, 1) if shown.status == 409 else []
    return framed(
        visit,
        session,
        "facts.html",
        shown.status,
        client=client,
        held=held,
        given={**filled_in(held), **shown.given},
        problems=shown.problems,
        follows=shown.follows,
        told=shown.told,
        latest=changes[0] if changes else None,
        drawing=_drawing(shown.follows, visit.practice.measures.lengths),
        asked_phone=asked_of(session, client.id),
        names=NAMES,
        said=partial(_said, choices, visit.practice.measures),
        trainers=choices.trainers,
        numbers=[(one, one) for one in choices.numbers],
        checklist=CHECKLIST,
        languages=LANGUAGES,
        mat_layers=MAT_LAYERS,
        shoes=SHOES_SHOWN,
        pains=PAINS_SHOWN,
        pain_scores=SCORES_SHOWN,
        tasks=_tasks(),
        own_zones=zones_of(country),
        other_zones=other_zones(country),
        segments=segments,
    )


def _said(choices: Choices, measures: Measures, name: str, value: str) -> str:
    """A fact's value as people say it."""
    if name == "prompt_at":
        return measures.hour(time.fromisoformat(value))
    if name.endswith("_cm") and value:
        return measures.length(10 * float(value))
    if name == "mat_layers":
        return "no mat" if value == "0" else labels.counted(int(value), "layer")
    words = {"language": LANGUAGES, "trainer": choices.trainers}.get(name, {})
    return words.get(value, value.replace("_", " ")) or "nothing"


def _tasks() -> list[tuple[str, str]]:
    """What can be opened beside standing, easiest stance first."""
    every = [(f"{landmark}/{task}", landmark, task) for landmark in LANDMARKS for task in Task]
    return [
        (value, f"{landmark.replace('_', ' ').capitalize()}: {TASK_WORDS[task]}")
        for value, landmark, task in every
        if value in OPENABLE_TASKS
    ]


def _drawing(follows: Follows | None, lengths: Lengths) -> Markup | None:
    """The feet on the rung where the client would stand on the new ladder."""
    if follows is None or follows.kept is None or follows.after.profile is None:
        return None
    profile = follows.after.profile
    rung = ladder_of(profile)[follows.kept.key]
    picture = rung_picture(rung, profile.body, theme="auto", lengths=lengths)
    return Markup(picture)  # noqa: S704  # made of numbers and our own escaped words
