"""The picture page that a text's link opens, its PNG, and the links of one client."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from pydantic import BaseModel
from sqlmodel import Session

from rungwise.coach.daily.schedule import prompt_body
from rungwise.coach.plan.placement import check_version
from rungwise.coach.record.access import client_of
from rungwise.coach.record.audit import record
from rungwise.coach.record.picture_link import (
    CHOICES_DAYS,
    address_of,
    living_links,
    make_link,
    revoke,
    sample_link,
    shown_by,
)
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation, load
from rungwise.errors import ImpossibleValue, NotFound
from rungwise.ladder import svg
from rungwise.ladder.palette import Theme
from rungwise.ladder.stance import Side
from rungwise.web.clients.client_page import RungNames
from rungwise.web.http.auth import Number, PartsHere, Signed, Visit
from rungwise.web.ui.layout import framed
from rungwise.web.ui.templating import page
from rungwise.wording.rung_words import (
    picture_page_words,
    rung_cautions,
    rung_picture,
    rung_steps,
)
from rungwise.wording.segments import segments
from rungwise.wording.texts import LANGUAGES, language_of

router = APIRouter()

PNG_WIDTH_PX = 1080
LETTERS_OF_A_TOKEN = 64
# Kept out of search engines, and never kept by a phone: it shows nothing once it is revoked.
HEADERS = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}


# --- what anybody with the address sees -----------------------------------------------------------


@router.get("/p/{token}.png")
def picture_png(parts: PartsHere, token: str) -> Response:
    situation = _shown(parts, token)
    if situation is None:
        return _gone()
    drawing = _picture(situation, None, "light")
    return Response(svg.png(drawing, PNG_WIDTH_PX), media_type="image/png", headers=HEADERS)


@router.get("/p/{token}")
def picture_page(parts: PartsHere, token: str) -> Response:
    situation = _shown(parts, token)
    if situation is None:
        return _gone()
    rung, language = situation.rung, language_of(situation.language)
    words = picture_page_words(language)
    leads: list[tuple[str, Side | None]] = [("", None)]
    if len(rung.sides) > 1:
        leads = [(words["first"], rung.sides[0]), (words["swap"], rung.sides[1])]
    answer = page(
        "picture.html",
        language=language,
        told=words,
        steps=rung_steps(
            rung, situation.measures.body, situation.telling(first_day=True), language
        ),
        cautions=rung_cautions(rung, language),
        pictures=[(name, _drawn(situation, lead)) for name, lead in leads],
    )
    answer.headers.update(HEADERS)
    return answer


def _shown(parts: PartsHere, token: str) -> Situation | None:
    if len(token) > LETTERS_OF_A_TOKEN:
        return None
    with parts.store.read() as session:
        found = shown_by(session, parts.clock.now(), token)
        return found.situation if found else None


def _picture(situation: Situation, lead: Side | None, theme: Theme) -> str:
    body = situation.ladder.body
    if body is None:
        raise NotFound("This ladder has no measures to draw from.")
    language = language_of(situation.language)
    return rung_picture(
        situation.rung,
        body,
        language,
        theme=theme,
        lead=lead,
        for_client=True,
        lengths=situation.lengths,
    )


def _drawn(situation: Situation, lead: Side | None) -> Markup:
    drawing = _picture(situation, lead, "auto")
    return Markup(drawing)  # noqa: S704  # made of numbers and our own escaped words


def _gone() -> Response:
    """The same for every link that shows nothing, so that nobody learns why."""
    told = [(language, picture_page_words(language)) for language in LANGUAGES]
    answer = page("picture_gone.html", 404, told=told)
    answer.headers.update(HEADERS)
    return answer


# --- what the trainer does with links -------------------------------------------------------------


class LinkForm(BaseModel):
    days: Number = 7


class CarriesForm(BaseModel):
    carries: bool = False
    version: Number = 0


@router.get("/clients/{client_id}/picture")
def links(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        return _links_page(visit, session, _placed(session, visit, client_id))


def _placed(session: Session, visit: Visit, client_id: int) -> Situation:
    situation = load(session, client_of(session, visit.trainer, client_id))
    if situation is None:
        raise NotFound("This client has no rung yet.")
    return situation


def _links_page(visit: Visit, session: Session, situation: Situation, made: str = "") -> Response:
    sample = sample_link(situation)
    text = prompt_body(session, situation, situation.rung, sample)
    return framed(
        visit,
        session,
        "picture_links.html",
        client=situation.client,
        situation=situation,
        drawing=_drawn(situation, None),
        links=living_links(session, visit.now, situation.client_id),
        named=RungNames(situation),
        choices=CHOICES_DAYS,
        made=made,
        text=text,
        size=segments(text),
        carried=bool(sample) and sample in text,
    )


@router.post("/clients/{client_id}/picture")
def make(visit: Signed, client_id: int, form: Annotated[LinkForm, Form()]) -> Response:
    if form.days not in CHOICES_DAYS:
        raise ImpossibleValue("days", form.days, f"one of {', '.join(map(str, CHOICES_DAYS))}")
    with visit.parts.store.write() as session:
        situation = _placed(session, visit, client_id)
        lasts = timedelta(days=form.days)
        token = make_link(session, visit.now, situation, lasts, visit.trainer)
    base = situation.practice.picture_address or visit.parts.settings.public_url
    with visit.parts.store.read() as session:
        # Shown this once: only a hash of it is kept.
        return _links_page(visit, session, situation, made=address_of(base, token))


@router.post("/clients/{client_id}/picture/prompts")
def carry(visit: Signed, client_id: int, form: Annotated[CarriesForm, Form()]) -> Response:
    """Whether each of this client's prompts carries a link."""
    with visit.parts.store.write() as session:
        situation = _placed(session, visit, client_id)
        check_version(situation.client, form.version)
        if situation.settings.picture_link != form.carries:
            settings = {**situation.plan_row.settings, "picture_link": form.carries}
            new_plan(session, visit.now, visit.trainer, situation, settings=settings)
            situation.client.version += 1
            session.add(situation.client)
            record(
                session,
                visit.now,
                visit.trainer,
                "picture in prompts",
                client_id=client_id,
                carries=form.carries,
            )
    return RedirectResponse(f"/clients/{client_id}/picture", 303)


@router.post("/clients/{client_id}/picture/{link_id}/revoke")
def revoke_link(visit: Signed, client_id: int, link_id: int) -> Response:
    with visit.parts.store.write() as session:
        client = client_of(session, visit.trainer, client_id)
        revoke(session, visit.now, visit.trainer, client.id, link_id)
    return RedirectResponse(f"/clients/{client_id}/picture", 303)
