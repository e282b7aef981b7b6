"""One client: where they are and why, what they held, what was texted, planned and noted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Query, Response
from markupsafe import Markup
from pydantic import BaseModel, Field
from sqlmodel import Session, col, select

from rungwise.coach.daily.new_phone import OWN, phones_of
from rungwise.coach.daily.write_to_client import tidy
from rungwise.coach.record.access import client_of
from rungwise.coach.record.day_strip import counts, strips
from rungwise.coach.record.notes import notes_of
from rungwise.coach.record.progress import Progress, progress
from rungwise.coach.record.situation import Situation, load, past
from rungwise.coach.record.told import WITHIN_DAYS
from rungwise.coach.reports.client_facts import facts_of, steps_of
from rungwise.coach.reports.what_to_do import what_to_do
from rungwise.coach.reviews.flags import course_of
from rungwise.concepts.alert_kinds import URGENCIES
from rungwise.errors import NotFound
from rungwise.ladder.explain import explain_next
from rungwise.ladder.progression import PastDay
from rungwise.ladder.rungs import Rung
from rungwise.store.queries import thread
from rungwise.store.queries.inbox import trainer_names
from rungwise.store.tables import Alert, Client, Due
from rungwise.web.charts.holds_picture import draw_holds
from rungwise.web.charts.ladder_picture import draw_ladder
from rungwise.web.clients import gists
from rungwise.web.clients.first_sentence import button
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_picture, rung_sentence, rung_short
from rungwise.wording.segments import segments

router = APIRouter()

TEXTS_SHOWN = 16
MOVES_SHOWN = 8
LATELY_SHOWN = 3
NOTES_SHOWN = 5
CHANGES_SHOWN = 5
CHANGES_ON_A_PAGE = 50
WEEKS = (6, 12, 26)
USUAL_WEEKS = 12
# Our own picture, made of figures.
PICTURE_POLICY = "default-src 'none'; frame-ancestors 'none'"


class Looking(BaseModel):
    """What of a client's page is shown: weeks in the chart, texts before one."""

    weeks: int = Field(default=USUAL_WEEKS, ge=1, le=26)
    before: int | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """A text being written to the client, and what stands against it if it was not sent."""

    body: str = ""
    told: str = ""
    looked: bool = False
    night: bool = False
    left_out: str = ""


@router.get("/clients/{client_id}")
def one_client(visit: Signed, client_id: int, asked: Annotated[Looking, Query()]) -> Response:
    return client_page(visit, client_id, asked)


def client_page(
    visit: Visit,
    client_id: int,
    asked: Looking | None = None,
    draft: Draft | None = None,
    told: str = "",
    status: int = 200,
) -> Response:
    """The page; `told` is what went wrong with what was just asked for."""
    asked, draft = asked or Looking(), draft or Draft()
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        situation = load(session, client)
        history = past(session, client.id) if situation else []
        phones = phones_of(session, client.id)
        return framed(
            visit,
            session,
            "client.html",
            status,
            client=client,
            situation=situation,
            asked=asked,
            weeks=WEEKS,
            asked_phone=next((one for one in phones if one.asked_at is not None), None),
            second_phones=[one for one in phones if one.whose != OWN],
            segments=segments,
            draft=draft,
            size=segments(tidy(draft.body)) if draft.looked else None,
            once=uuid4().hex,
            told=told,
            unfolded=_unfolded(asked, draft),
            **_now(session, visit, client, situation, history),
            **_folds(session, visit, client, situation, history, asked),
        )


def _unfolded(asked: Looking, draft: Draft) -> set[str]:
    """The folds that this address or this answer is about."""
    found = set()
    if asked.before is not None or draft != Draft():
        found.add("texts")
    if asked.weeks != USUAL_WEEKS:
        found.add("holds")
    return found


def _now(
    session: Session,
    visit: Visit,
    client: Client,
    situation: Situation | None,
    history: Sequence[PastDay],
) -> dict[str, object]:
    """What stands first: the sentence with its act, the feet, the last days, the ladder."""
    alerts = _open_alerts(session, client)
    due = _prompt_due(session, client.id)
    coming = [due] if due is not None else []
    strip = strips(session, [client], visit.now, {client.id: history}, coming)[client.id]
    today = strip[-1].day
    course = course_of(session, situation, history, today) if situation else None
    facts = facts_of(session, visit.now, client, situation, history, alerts, strip, due, course)
    advice = what_to_do(facts)
    on_course = course is not None and advice.row == course.rule
    act = button(advice, client.id, steps_of(situation), resting=client.state == "resting")
    opened = advice.alert_id if act and act.address.startswith("/alerts/") else None
    return {
        "advice": advice,
        "act": act,
        "course": course if on_course else None,
        "badge": min(alerts, key=lambda one: URGENCIES.index(one.urgency), default=None),
        "urgent": any(one.id == advice.alert_id and one.urgency == "urgent" for one in alerts),
        "other_alerts": [one for one in alerts if one.id != opened],
        "prompt_due": due,
        "strip": strip,
        "counts": counts(strip),
        "now_on": _now_on(situation, history, awaited=bool(facts.asked)) if situation else None,
        "ladder": draw_ladder(situation, history, today) if situation else None,
    }


def _folds(
    session: Session,
    visit: Visit,
    client: Client,
    situation: Situation | None,
    history: Sequence[PastDay],
    asked: Looking,
) -> dict[str, object]:
    """What is folded away, and the line of each fold."""
    texts = thread.texts(session, client.id, TEXTS_SHOWN + 1, asked.before)
    moves = thread.moves(session, client.id, MOVES_SHOWN)
    notes = notes_of(session, client.id, NOTES_SHOWN)
    changes = thread.changes(session, client.id, CHANGES_SHOWN)
    named = RungNames(situation)
    held = None
    if situation is not None:
        held = chart(session, situation, history, asked.weeks, situation.local_date(visit.now))
    return {
        "chart": held,
        "texts": texts[-TEXTS_SHOWN:],
        "last_said": next((one for one in reversed(texts) if one.direction == "in"), None),
        "entered_by": trainer_names(session, {one.trainer_id for one in texts}),
        "correctable_since": visit.now - timedelta(days=WITHIN_DAYS),
        "earlier": texts[1].id if len(texts) > TEXTS_SHOWN else None,
        "moves": moves,
        "lately": moves[:LATELY_SHOWN],
        "notes": notes,
        "changes": changes,
        "named": named,
        "gists": gists.Gists(
            holds=gists.holds(held),
            texts=gists.texts(client, texts, visit.practice.measures),
            moves=gists.moves(moves),
            plan=gists.plan(situation),
            notes=gists.notes(notes),
            about=gists.about(client),
            changes=gists.changes(changes, named, visit.practice.time_zone),
        ),
    }


def _now_on(
    situation: Situation, history: Sequence[PastDay], *, awaited: bool
) -> dict[str, object] | None:
    """The rung drawn and in words, and the next step."""
    key = situation.placement.rung_key
    if key not in situation.ladder:
        return None
    rung = situation.rung
    plan = situation.settings.plan(situation.resting)
    return {
        "rung": rung,
        "drawing": drawn(situation, rung),
        "sentence": rung_sentence(rung, lengths=situation.lengths),
        "next_step": explain_next(situation.ladder, plan, history, key, awaited=awaited),
    }


def drawn(situation: Situation, rung: Rung) -> Markup:
    """The feet on this rung from above, as SVG that takes the page's ink."""
    body = situation.ladder.body
    if body is None:
        return Markup()
    svg = rung_picture(rung, body, theme="auto", lengths=situation.lengths)
    return Markup(svg)  # noqa: S704  # made of numbers and our own escaped words


def chart(
    session: Session, situation: Situation, history: Sequence[PastDay], weeks: int, today: date
) -> Progress:
    """What the chart of holds shows: the last weeks, or since the client began."""
    first = today - timedelta(weeks=weeks)
    if history:
        first = max(first, history[0].day)
    return progress(session, situation, history, min(first, today - timedelta(days=6)), today)


@router.get("/clients/{client_id}/holds.svg")
def holds(
    visit: Signed, client_id: int, asked: Annotated[Looking, Query()], theme: str = "light"
) -> Response:
    with visit.parts.store.read() as session:
        situation = load(session, client_of(session, visit.trainer, client_id))
        if situation is None:
            raise NotFound("This client has no rung yet.")
        history = past(session, client_id)
        today = situation.local_date(visit.now)
        shown = chart(session, situation, history, asked.weeks, today)
    headers = {"Content-Security-Policy": PICTURE_POLICY}
    return Response(draw_holds(shown, theme), media_type="image/svg+xml", headers=headers)


def _open_alerts(session: Session, client: Client) -> list[Alert]:
    rows = select(Alert).where(Alert.client_id == client.id, Alert.state != "handled")
    return list(session.exec(rows.order_by(col(Alert.last_at).desc())).all())


class RungNames:
    """Rungs in a few words, also those that a later plan took off the ladder."""

    def __init__(self, situation: Situation | None) -> None:
        self.situation = situation

    def __call__(self, key: str) -> str:
        if self.situation is not None and key in self.situation.ladder:
            return rung_short(self.situation.ladder[key], lengths=self.situation.lengths)
        return key


def _prompt_due(session: Session, client_id: int) -> Due | None:
    rows = select(Due).where(Due.kind == "prompt", Due.subject_id == client_id)
    return session.exec(rows.order_by(col(Due.at))).first()


@router.get("/clients/{client_id}/history")
def history_of_changes(
    visit: Signed, client_id: int, page: Annotated[int, Query(ge=1, le=10_000)] = 1
) -> Response:
    after = (page - 1) * CHANGES_ON_A_PAGE
    with visit.parts.store.read() as session:
        client = client_of(session, visit.trainer, client_id)
        found = thread.changes(session, client.id, CHANGES_ON_A_PAGE + 1, after)
        return framed(
            visit,
            session,
            "history.html",
            client=client,
            changes=found[:CHANGES_ON_A_PAGE],
            more=len(found) > CHANGES_ON_A_PAGE,
            page=page,
            named=RungNames(load(session, client)),
        )
