"""The form for a client's plan: hour, days, target, caution, dates away, ceiling and gates."""

from dataclasses import dataclass
from datetime import date, time
from typing import Annotated

from fastapi import APIRouter, Form, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.daily.schedule import next_prompts
from rungwise.coach.plan.placement import check_version
from rungwise.coach.plan.plan_edit import MOST_SETS, PlanChange, edit_plan, whole_ladder
from rungwise.coach.plan.plan_preview import PlanFollows, plan_follows
from rungwise.coach.record.situation import Situation, past
from rungwise.errors import EditedMeanwhile, ImpossibleValue, ServiceError
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.changeover import Changeover, changeover
from rungwise.ladder.moves import NEWEST_RULE
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.store.queries import thread
from rungwise.web.clients.client_page import RungNames
from rungwise.web.clients.override import placed
from rungwise.web.http.auth import Number, Signed, Visit
from rungwise.web.http.errors import status_of
from rungwise.web.ui.layout import framed
from rungwise.wording.rung_words import rung_short

router = APIRouter()

MOST_ROWS = 24
RULE_WORDS = {
    1: "Version 1: one step at a time",
    2: "Version 2: large steps until the first real wobble, then ever smaller ones",
}
EMPTY_ROWS = 2


class PlanForm(BaseModel):
    """The form as it was filled in; lists hold one value for each row or ticked box."""

    version: Number = 0
    prompt_at: str = Field(default="", max_length=8)
    weekdays: list[Number] = Field(default=[], max_length=7)
    remind: bool = False
    reminder_at: str = Field(default="", max_length=8)
    target_s: Number = 0
    caution: str = Field(default="", max_length=20)
    away_from: list[str] = Field(default=[], max_length=MOST_ROWS)
    away_until: list[str] = Field(default=[], max_length=MOST_ROWS)
    ceiling: str = Field(default="", max_length=120)
    gates: list[str] = Field(default=[], max_length=10)
    rule: Number = 0
    sets: Number = 1
    keeps_up: bool = False
    step: str = Field(default="", max_length=8)

    def change(self) -> PlanChange:
        """What was asked for; ImpossibleValue for a time or date that is none."""
        return PlanChange(
            prompt_at=_time("prompt hour", self.prompt_at),
            weekdays=frozenset(self.weekdays),
            reminder_at=_time("reminder", self.reminder_at) if self.remind else None,
            target_s=self.target_s,
            caution=self.caution,
            away=tuple(_away(self.away_from, self.away_until)),
            ceiling_key=self.ceiling or None,
            open_gates=frozenset(self.gates),
            rule_version=self.rule or None,
            sets=self.sets,
            keeps_up=self.keeps_up,
        )


def _time(name: str, given: str) -> time:
    try:
        return time.fromisoformat(given).replace(second=0, microsecond=0)
    except ValueError:
        raise ImpossibleValue(name, given, "a time of day such as 09:00") from None


def _away(begins: list[str], ends: list[str]) -> list[tuple[date, date]]:
    """The rows that were filled in; one with a first day alone is a single day."""
    found = []
    for first, last in zip(begins, ends, strict=False):
        if not first and not last:
            continue
        try:
            found.append((date.fromisoformat(first), date.fromisoformat(last or first)))
        except ValueError:
            given = f"{first} to {last}"
            raise ImpossibleValue("dates away", given, "two dates such as 2026-05-01") from None
    return found


@dataclass(frozen=True, slots=True)
class Gate:
    """A gate as the form shows it; one that the client has passed can't be closed."""

    name: str
    rung: Rung
    passed: bool


@router.get("/clients/{client_id}/plan")
def plan(visit: Signed, client_id: int) -> Response:
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
        return _page(visit, session, situation, _filled(situation))


def _filled(situation: Situation) -> PlanForm:
    """The form with the plan as it is."""
    settings = situation.settings
    caution = settings.caution.name
    return PlanForm(
        prompt_at=f"{settings.prompt_at:%H:%M}",
        weekdays=sorted(settings.weekdays),
        remind=settings.reminder_at is not None,
        reminder_at=f"{settings.reminder_at:%H:%M}" if settings.reminder_at else "18:00",
        target_s=settings.target_s,
        caution=caution if PRESETS.get(caution) == settings.caution else "",
        away_from=[first.isoformat() for first, _ in settings.away],
        away_until=[last.isoformat() for _, last in settings.away],
        ceiling=situation.plan_row.profile["limits"]["ceiling_key"] or "",
        gates=sorted(settings.open_gates),
        rule=settings.rule_version,
        sets=settings.sets,
        keeps_up=settings.keeps_up,
    )


def _page(
    visit: Visit,
    session: Session,
    situation: Situation,
    form: PlanForm,
    told: str = "",
    status: int = 200,
    follows: PlanFollows | None = None,
) -> Response:
    rows = list(zip(form.away_from, form.away_until, strict=False))
    whole = whole_ladder(situation.plan_row.profile)
    changes = thread.changes(session, situation.client_id, 1) if status == 409 else []
    return framed(
        visit,
        session,
        "plan.html",
        status,
        client=situation.client,
        situation=situation,
        form=form,
        away=[*rows, *[("", "")] * EMPTY_ROWS],
        presets=PRESETS,
        gates=_gates(situation, whole),
        ceilings=_ceilings(situation, whole),
        rules=RULE_WORDS,
        preview=_preview(visit, session, situation),
        longest_s=min(30, situation.plan_row.profile["limits"]["longest_hold_s"]),
        next_prompt=next_prompts(
            situation.settings, situation.client, situation.practice, visit.now
        ),
        most_sets=MOST_SETS,
        named=RungNames(situation),
        home=situation.measures.equipment,
        follows=follows,
        told=told,
        changed=changes[0] if changes else None,
    )


def _preview(visit: Visit, session: Session, situation: Situation) -> Changeover | None:
    """What changing over to the newest rule would mean today, for a client who isn't on it."""
    settings, key = situation.settings, situation.placement.rung_key
    if settings.rule_version == NEWEST_RULE or key not in situation.ladder:
        return None
    history = past(session, situation.client_id)
    plan, day = settings.plan(situation.resting), situation.local_date(visit.now)
    return changeover(situation.ladder, plan, history, key, day, NEWEST_RULE)


def _gates(situation: Situation, whole: Ladder) -> list[Gate]:
    key = situation.placement.rung_key
    place = whole.index(key) if key in whole else -1
    return [Gate(rung.gate, rung, at <= place) for at, rung in enumerate(whole.rungs) if rung.gate]


def _ceilings(situation: Situation, whole: Ladder) -> list[tuple[str, str]]:
    """Where a ceiling can be locked: the client's own rung and every landmark above it."""
    here = situation.placement.rung_key
    now = situation.plan_row.profile["limits"]["ceiling_key"]
    place = whole.index(here) if here in whole else 0
    found = []
    for at, rung in enumerate(whole.rungs):
        name = rung_short(rung, lengths=situation.lengths)
        if rung.key == here:
            found.append((rung.key, f"where {situation.client.called} is now: {name}"))
        elif (at > place and rung.landmark) or rung.key == now:
            found.append((rung.key, name))
    return found


@router.post("/clients/{client_id}/plan")
def change_plan(visit: Signed, client_id: int, form: Annotated[PlanForm, Form()]) -> Response:
    try:
        if form.step == "look":
            return _looked_at(visit, client_id, form)
        with visit.parts.store.write() as session:
            situation = placed(session, visit, client_id)
            check_version(situation.client, form.version)
            edit_plan(session, visit.now, visit.trainer, situation, form.change())
    except ServiceError as error:
        if status_of(error) == 404:
            raise
        with visit.parts.store.read() as session:
            situation = placed(session, visit, client_id)
            told = "" if isinstance(error, EditedMeanwhile) else str(error)
            return _page(visit, session, situation, form, told, status_of(error))
    return RedirectResponse(f"/clients/{client_id}#plan", 303)


def _looked_at(visit: Visit, client_id: int, form: PlanForm) -> Response:
    """The form as it was filled in, with what would follow; nothing is stored."""
    with visit.parts.store.read() as session:
        situation = placed(session, visit, client_id)
        follows = plan_follows(session, visit.now, situation, form.change())
        return _page(visit, session, situation, form, follows=follows)
