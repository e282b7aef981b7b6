"""What a changed plan would lead to, before anything is stored: the next text and when it goes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from json import dumps
from typing import Any

from sqlmodel import Session

from rungwise.coach.daily.schedule import next_prompts, next_text
from rungwise.coach.plan.plan_edit import PlanChange, look_at_plan
from rungwise.coach.record.situation import Situation


@dataclass(frozen=True, slots=True)
class PlanFollows:
    """What differs, as [before, after] each; the next day's text, empty where the client gets none;
    and when it goes, by the client's clock.
    """

    changed: dict[str, Sequence[Any]]
    text: str
    goes: str


def plan_follows(
    session: Session, now: datetime, situation: Situation, change: PlanChange
) -> PlanFollows:
    """What would follow from the change. Raises what storing it would refuse."""
    planned = look_at_plan(situation, change)
    then = replace(situation, settings=planned.settings, profile=dumps(planned.profile))
    text = ""
    if situation.client.state == "active" and then.placement.rung_key in then.ladder:
        text = next_text(session, then, now)
    return PlanFollows(
        {**planned.changed},
        text,
        next_prompts(planned.settings, situation.client, situation.practice, now),
    )
