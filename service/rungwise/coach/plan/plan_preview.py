"""What a changed plan would lead to, before anything is stored: the next text and when it goes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from json import dumps
from typing import Any

from sqlmodel import Session

from rungwise.coach.daily.prompt import (
    is_first_day,
    next_prompts,
    next_rung,
    prompt_body,
    prompted_of,
)
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
    client_id = situation.client_id
    text = ""
    if situation.client.state == "active" and then.placement.rung_key in then.ladder:
        rung = next_rung(then, now)
        first_day = is_first_day(prompted_of(session, [client_id])[client_id].last_key, rung.key)
        text = prompt_body(session, then, rung, first_day=first_day)
    return PlanFollows(
        {**planned.changed},
        text,
        next_prompts(planned.settings, situation.client, situation.practice, now),
    )
