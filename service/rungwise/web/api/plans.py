"""A client's plan changed by a program: what it leads to, and storing it."""

from dataclasses import replace
from datetime import date, datetime, time
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Response
from pydantic import BaseModel, Field
from sqlmodel import Session

from rungwise.coach.plan.plan_edit import MOST_AWAY, MOST_SETS, PlanChange, edit_plan
from rungwise.coach.plan.plan_preview import plan_follows
from rungwise.coach.record.situation import Situation
from rungwise.ladder.body import GATES
from rungwise.ladder.moves import TARGET_BOUNDS_S
from rungwise.store.tables import Trainer
from rungwise.web.api.actions import Changing, act_on
from rungwise.web.api.caller import Caller, Id, Needs, placed
from rungwise.web.api.shapes import Given, OneClientOut, VersionGiven
from rungwise.web.api.writes import Key

router = APIRouter(tags=["clients"])

HOUR = r"^([01]\d|2[0-3]):[0-5]\d$"


class PlanGiven(Given):
    """What of a plan is to change; what is not named stays. Times and dates are the client's.

    `reminder_at` null takes the reminder away, `ceiling_key` null the ceiling.
    """

    prompt_at: str = Field(default="", pattern=HOUR)
    weekdays: list[int] = Field(default=[], min_length=1, max_length=7, description="Monday is 0.")
    reminder_at: str | None = Field(default=None, pattern=HOUR)
    target_s: int = Field(default=20, ge=TARGET_BOUNDS_S[0], le=TARGET_BOUNDS_S[1])
    sets: int = Field(default=1, ge=1, le=MOST_SETS)
    keeps_up: bool = False
    caution: str = Field(default="", max_length=20)
    away: list[tuple[date, date]] = Field(default=[], max_length=MOST_AWAY)
    ceiling_key: str | None = Field(default=None, max_length=120)
    open_gates: list[str] = Field(default=[], max_length=len(GATES))
    rule_version: int = 2


class PlanEditGiven(VersionGiven):
    """A change of the plan, to be stored."""

    plan: PlanGiven


class PlanFollowsOut(BaseModel):
    """What would follow: `changed` has each value before and after, `text` the next day's text,
    empty where the client gets none, and `goes` when by the client's clock.
    """

    changed: dict[str, list[Any]]
    text: str
    goes: str
    version: int


@router.post("/clients/{client_id}/plan/preview")
def preview_plan(
    called: Annotated[Caller, Depends(Needs("plans:write"))], client_id: Id, given: PlanGiven
) -> PlanFollowsOut:
    """What a change of the plan would lead to; nothing is stored."""
    with called.parts.store.read() as session:
        situation = placed(session, called, client_id)
        follows = plan_follows(session, called.now, situation, change_of(situation, given))
        return PlanFollowsOut(
            changed={name: list(two) for name, two in follows.changed.items()},
            text=follows.text,
            goes=follows.goes,
            version=situation.client.version,
        )


@router.patch("/clients/{client_id}/plan", response_model=OneClientOut)
def change_plan(called: Changing, client_id: Id, key: Key, given: PlanEditGiven) -> Response:
    """Change the plan. It moves nobody; the next text follows it."""

    def change(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> None:
        edit_plan(session, now, trainer, situation, change_of(situation, given.plan))

    return act_on(called, client_id, key, given, "change the plan of", change)


def change_of(situation: Situation, given: PlanGiven) -> PlanChange:
    """The whole plan with what is given in place of what is set."""
    named = given.model_dump(exclude_unset=True)
    for name in ("prompt_at", "reminder_at"):
        if named.get(name):
            named[name] = time.fromisoformat(named[name])
    for name, kind in (("weekdays", frozenset), ("open_gates", frozenset), ("away", tuple)):
        if name in named:
            named[name] = kind(named[name])
    return replace(PlanChange.keeping(situation, situation.settings), **named)
