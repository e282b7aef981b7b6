"""A ladder built anew, as the next version of the plan; the client keeps their place on it."""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from rungwise.coach.plan.placement import put_on
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import ladder_of
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation
from rungwise.ladder.body import Profile, profile_to_json
from rungwise.ladder.places import keep_place
from rungwise.store.tables import Trainer


def rebuild(
    session: Session, now: datetime, by: Trainer, situation: Situation, profile: Profile
) -> None:
    """Store the new ladder; the client stays on the rung, or goes to the nearest easier one."""
    new = ladder_of(profile)
    kept = keep_place(situation.ladder, situation.placement.rung_key, new)
    new_plan(session, now, by, situation, profile=profile_to_json(profile))
    if kept.because is not None:
        put_on(session, now, by, situation, kept.key, kept.because)


def keep_off(
    session: Session,
    now: datetime,
    by: Trainer,
    situation: Situation,
    *,
    no_soft_surface: bool,
    two_hands: bool,
) -> None:
    """Spare the client what is named from now on; what the ladder spares already stays spared."""
    profile = situation.measures
    held = profile.limits
    limits = replace(
        held,
        no_soft_surface=held.no_soft_surface or no_soft_surface,
        two_hands=held.two_hands or two_hands,
        opened_tasks=frozenset() if two_hands else held.opened_tasks,
    )
    if limits == held:
        return
    rebuild(session, now, by, situation, replace(profile, limits=limits))
    situation.client.version += 1
    session.add(situation.client)
    changed = {
        name: ["no", "yes"]
        for name in ("no_soft_surface", "two_hands")
        if getattr(limits, name) and not getattr(held, name)
    }
    record(
        session, now, by, "facts changed", client_id=situation.client_id, facts=[], changed=changed
    )
