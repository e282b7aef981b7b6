"""Versions of a client's plan: each change adds one, so that old moves can be replayed."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.record.situation import Situation
from rungwise.store.tables import PlanRow, Trainer


def new_plan(
    session: Session,
    now: datetime,
    trainer: Trainer | None,
    situation: Situation,
    *,
    settings: dict[str, object] | None = None,
    profile: dict[str, object] | None = None,
) -> PlanRow:
    """Store the next version of the plan; earlier ones stay, so that old moves can be replayed."""
    old = situation.plan_row
    row = PlanRow(
        client_id=situation.client_id,
        version=old.version + 1,
        settings=settings or old.settings,
        profile=profile or old.profile,
        set_by=trainer.id if trainer else None,
        set_at=now,
    )
    session.add(row)
    situation.placement.plan_version = row.version
    session.add(situation.placement)
    session.flush()
    situation.adopt(row)
    return row
