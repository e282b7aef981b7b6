"""The list of clients: today's state of each, searched, filtered, sorted and paged by address.

Its columns stand in `templates/clients.html`; what they show comes from `store/queries/roster.py`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field, ValidationError
from sqlmodel import Session, select

from rungwise.coach.groups.tags import forget_view, save_view, tag_of, tags_of, views_of
from rungwise.coach.record.trend import Trend, rung_of_key, trend
from rungwise.concepts.measures import Lengths
from rungwise.store.queries import roster
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.tables import Trainer
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_short

router = APIRouter()

ON_A_PAGE = 50


class Looking(BaseModel):
    """What the list is asked to show, in its address."""

    q: str = Field(default="", max_length=80)
    today: str = Field(default="", max_length=20)
    trainer: Number = 0
    sort: str = Field(default="name", max_length=10)
    turned: bool = False
    page: int = Field(default=1, ge=1, le=10_000)
    tag: Number = 0

    @classmethod
    def of_address(cls, address: str) -> "Looking":
        """What an address of this list asks for; nothing where it cannot be read."""
        given = dict(parse_qsl(urlsplit(address).query, max_num_fields=20))
        try:
            return cls.model_validate(given)
        except ValidationError:
            return cls()

    def address(self, **other: object) -> str:
        """This list's address with some of it changed."""
        values = self.model_dump() | other
        usual = type(self)().model_dump()
        kept = {name: value for name, value in values.items() if value != usual[name]}
        return f"/clients?{urlencode(kept)}" if kept else "/clients"


@dataclass(frozen=True, slots=True)
class Line:
    """One client's line: what the store knows, with the rung in words and the trend."""

    row: roster.Row
    rung: str
    trend: Trend
    told: str


@router.get("/clients")
def clients(visit: Signed, asked: Annotated[Looking, Query()]) -> Response:
    after = (asked.page - 1) * ON_A_PAGE
    with visit.parts.store.read() as session:
        wanted = wanted_by(session, visit, asked)
        rows, total = roster.clients_page(
            session, Scope.of(visit.trainer), visit.now, wanted, ON_A_PAGE, after
        )
        return framed(
            visit,
            session,
            "clients.html",
            asked=asked,
            lines=[line(row, visit.practice.measures.lengths) for row in rows],
            total=total,
            pages=max(-(-total // ON_A_PAGE), 1),
            trainers=_trainers(session, visit),
            trend_weeks=roster.TREND_DAYS // 7,
            tags=tags_of(session, visit.trainer),
            views=[
                (one, asked.address(page=1) == one.asked)
                for one in views_of(session, visit.trainer)
            ],
        )


class ViewForm(BaseModel):
    name: str = Field(default="", max_length=200)
    list: str = Field(default="", max_length=2000)


@router.post("/clients/views")
def keep_view(visit: Signed, form: Annotated[ViewForm, Form()]) -> Response:
    address = Looking.of_address(form.list).address(page=1)
    with visit.parts.store.write() as session:
        save_view(session, visit.now, visit.trainer, form.name, address)
    return RedirectResponse(address, 303)


@router.post("/clients/views/{view_id}/forget")
def drop_view(visit: Signed, view_id: int) -> Response:
    with visit.parts.store.write() as session:
        forget_view(session, visit.trainer, view_id)
    return RedirectResponse("/clients", 303)


def wanted_by(session: Session, visit: Visit, asked: Looking) -> roster.Wanted:
    """What the list is to show; NotFound for a tag that is not this trainer's."""
    if asked.tag:
        tag_of(session, visit.trainer, asked.tag)
    return roster.Wanted(
        words=asked.q.strip(),
        today=asked.today,
        trainer_id=asked.trainer or None,
        sort=asked.sort if asked.sort in roster.SORTS else "name",
        turned=asked.turned,
        tag_id=asked.tag or None,
    )


def line(row: roster.Row, lengths: Lengths = "cm") -> Line:
    rung = rung_of_key(row.rung_key, row.body or {}) if row.rung_key else None
    moves = [(step.day, step.kind, step.to_key) for step in row.steps]
    return Line(
        row=row,
        rung=rung_short(rung, lengths=lengths) if rung else row.rung_key or "",
        trend=trend(moves, row.rung_key, row.local_date, roster.TREND_DAYS),
        told=seconds_told(row.told),
    )


def seconds_told(told: Mapping[str, Any] | None) -> str:
    """The seconds of a day's report in a few letters: 20 s, or L 20, R 14 s."""
    holds: Sequence[Mapping[str, Any]] = (told or {}).get("holds") or ()
    letters = {"left": "L ", "right": "R ", "both": ""}
    shown = [
        f"{letters.get(hold['side'] or '', '')}{hold['seconds']:g}"
        for hold in holds
        if hold["seconds"] is not None
    ]
    return f"{', '.join(shown)} s" if shown else ""


def _trainers(session: Session, visit: Visit) -> Sequence[Trainer]:
    """Whom the practice lead may filter by; a trainer sees only their own clients anyway."""
    if not visit.is_lead:
        return ()
    rows = select(Trainer).where(Trainer.practice_id == visit.practice.id)
    return sorted(session.exec(rows).all(), key=lambda trainer: trainer.name)
