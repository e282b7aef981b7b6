"""The trainer's day: whom to phone now, what to decide, whom to see, and what texts told today."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.alerting.paging import can_page
from rungwise.coach.daily.strangers import open_strangers
from rungwise.coach.plan.undo import UNDO_WITHIN
from rungwise.coach.practice.first_run import Step, first_run
from rungwise.coach.record.day_strip import DayShown, counts, strips
from rungwise.coach.reports.client_facts import facts_of_alerts
from rungwise.coach.reports.what_to_do import Advice, what_to_do
from rungwise.coach.reviews.course_lines import lines_in
from rungwise.concepts.alert_kinds import ALERT_KINDS, URGENCIES
from rungwise.store.queries import inbox, page_version, roster, today
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.queries.inbox import Entry
from rungwise.store.tables import Alert, Client, Message
from rungwise.web.clients.client_list import Line, line
from rungwise.web.clients.first_sentence import Button, button
from rungwise.web.http.auth import Signed, Visit
from rungwise.web.ui.layout import framed

router = APIRouter()

ON_A_PAGE = 30
TOLD_SHOWN = 8
MOST_COURSES = 12
# What of today has been told, what went wrong first.
TOLD = ("wobbly", "steady", "replied", "skipped")
# What else today is, worth a line with its count.
COUNTED = tuple(state for state in today.TODAY if state not in (*TOLD, "none", "invited"))


class Looking(BaseModel):
    """What the list is asked to show, in its address."""

    urgency: str = Field(default="", max_length=10)
    kind: str = Field(default="", max_length=20)
    q: str = Field(default="", max_length=80)
    handled: bool = False
    page: int = Field(default=1, ge=1, le=10_000)

    @property
    def sought(self) -> bool:
        """Whether this is a search, and not the day as it is."""
        return bool(self.urgency or self.kind or self.q or self.handled)


@dataclass(frozen=True, slots=True)
class Card:
    """All open alerts of one client as one card, the gravest first, with what to do about it."""

    client: Client
    entries: tuple[Entry, ...]
    advice: Advice
    act: Button | None
    strip: tuple[DayShown, ...]
    counts: str

    @property
    def first(self) -> Alert:
        return self.entries[0].alert

    @property
    def texts(self) -> list[Message]:
        """The client's words behind all of them, each once, the latest two."""
        found = {text.id: text for entry in self.entries for text in entry.texts}
        return [found[key] for key in sorted(found)][-2:]


@router.get("/")
def day(visit: Signed, asked: Annotated[Looking, Query()]) -> Response:
    scope = Scope.of(visit.trainer)
    wanted = inbox.Wanted(asked.urgency, asked.kind, asked.q.strip(), asked.handled)
    with visit.parts.store.read() as session:
        found, total = inbox.entries(
            session, scope, wanted, ON_A_PAGE, (asked.page - 1) * ON_A_PAGE
        )
        undoable = inbox.just_handled(session, scope, visit.trainer.id, visit.now - UNDO_WITHIN)
        texts = _texts(session, visit, scope)
        return framed(
            visit,
            session,
            "day.html",
            200,
            asked=asked,
            today=visit.now.astimezone(ZoneInfo(visit.practice.time_zone)).date(),
            handled=found if asked.handled else [],
            cards=[] if asked.handled else cards(session, visit, found),
            pages=-(-total // ON_A_PAGE),
            undoable=undoable,
            pageable=can_page(session, visit.practice, set(visit.parts.carriers)),
            first_run=[] if found or texts["of_today"] else _first_run(session, visit),
            unknown=len(open_strangers(session, scope.practice_id)),
            signature=page_version.of_alerts(session, scope),
            **_to_see(session, scope),
            **texts,
        )


def _first_run(session: Session, visit: Visit) -> list[Step]:
    carriers = visit.parts.carriers
    return first_run(session, visit.now, visit.practice, visit.trainer, carriers)


def cards(session: Session, visit: Visit, entries: Sequence[Entry]) -> list[Card]:
    """One card a client, in the order of the alerts. A few queries for all of them."""
    by_client: dict[int, list[Entry]] = {}
    for entry in entries:
        by_client.setdefault(entry.client.id, []).append(entry)
    clients = [found[0].client for found in by_client.values()]
    days = strips(session, clients, visit.now)
    alerts = {who: [entry.alert for entry in found] for who, found in by_client.items()}
    facts = facts_of_alerts(session, visit.now, clients, alerts, visit.practice.measures)
    made = []
    for who, found in by_client.items():
        client = found[0].client
        advice = what_to_do(facts[who])
        act = button(advice, who, resting=client.state == "resting")
        in_order = sorted(found, key=lambda entry: _gravity(entry.alert))
        made.append(Card(client, tuple(in_order), advice, act, days[who], counts(days[who])))
    return made


def _to_see(session: Session, scope: Scope) -> Mapping[str, object]:
    """Whom to see for an open alert, and for what stands on their course; each client once."""
    alerts = inbox.to_see(session, scope)
    known = {client.id for client, _ in alerts}
    courses = [
        (client, says)
        for client, says in lines_in(session, scope, MOST_COURSES + len(known))
        if client.id not in known
    ]
    return {"to_see": alerts, "courses": courses[:MOST_COURSES]}


def _gravity(alert: Alert) -> tuple[int, int]:
    known = alert.kind in ALERT_KINDS
    return URGENCIES.index(alert.urgency), ALERT_KINDS.index(alert.kind) if known else 99


def _texts(session: Session, visit: Visit, scope: Scope) -> Mapping[str, object]:
    """What today's texts are: who told, and how many of each other kind."""
    by_state = today.day_of(session, scope, visit.now)
    told = [who for state in TOLD for who in by_state.get(state, ())]
    rows = roster.rows_in(session, scope, visit.now, told[:TOLD_SHOWN])
    lines: list[Line] = [line(row, visit.practice.measures.lengths) for row in rows]
    return {
        "told": lines,
        "more_told": len(told) - len(lines),
        "of_today": {state: len(by_state[state]) for state in COUNTED if state in by_state},
        "told_count": len(told),
    }
