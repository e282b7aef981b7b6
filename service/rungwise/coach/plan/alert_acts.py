"""What solves an alert besides a call: each act is done, and its alert handled, in one press."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from sqlmodel import Session, col, select

from rungwise.coach.plan.placement import Handling, handle, place_client
from rungwise.coach.plan.plan_edit import PlanChange, edit_plan
from rungwise.coach.record.situation import Situation
from rungwise.errors import ImpossibleValue
from rungwise.ladder.rungs import Rung
from rungwise.store.tables import Alert, HomeVisit, Retest, Trainer

SEEN_DAYS = 42  # a review's longest rhythm: common practice, no source

# By kind of alert, what is offered first.
ACTS: Mapping[str, tuple[str, ...]] = {
    "silence": ("away",),
    "away": ("away",),
    "gate_reached": ("open_gate", "leave"),
    "stuck": ("one_down", "leave"),
}


def gate_next(situation: Situation) -> Rung | None:
    """The first rung above the client that waits for a gate to be opened."""
    ladder, opened = situation.ladder, situation.settings.open_gates
    above = ladder.rungs[ladder.index(situation.placement.rung_key) + 1 :]
    return next((rung for rung in above if rung.gate and rung.gate not in opened), None)


def rung_below(situation: Situation) -> Rung | None:
    """One rung easier than where the client is; None on the lowest."""
    ladder, key = situation.ladder, situation.placement.rung_key
    place = ladder.index(key)
    return ladder.rungs[place - 1] if place > 0 else None


def acts_for(alert: Alert, situation: Situation | None) -> tuple[str, ...]:
    """The acts that are open for this alert, as the client stands."""
    off = situation is None or situation.placement.rung_key not in situation.ladder
    if situation is None or off or alert.state == "handled":
        return ()
    never = set()
    if gate_next(situation) is None:
        never.add("open_gate")
    if rung_below(situation) is None or situation.resting:
        never.add("one_down")
    return tuple(act for act in ACTS.get(alert.kind, ()) if act not in never)


def solve(
    session: Session,
    now: datetime,
    trainer: Trainer,
    alert: Alert,
    situation: Situation,
    act: str,
    until: date | None = None,
) -> None:
    """Do it and handle the alert. ImpossibleValue for what is not offered, or a day that is over.

    `until` is the last day away, by the client's calendar.
    """
    offered = acts_for(alert, situation)
    if act not in offered:
        raise ImpossibleValue("act", act, " or ".join(offered) or "none for this alert")
    if act == "away":
        done = _away(session, now, trainer, situation, until)
    elif act == "open_gate":
        done = _open_gate(session, now, trainer, situation)
    elif act == "one_down":
        below = rung_below(situation)
        assert below is not None  # noqa: S101  # it is offered only where there is one
        done = "One rung down, after many wobbly days."
        place_client(session, now, trainer, situation, below.key, done)
    else:
        done = "Left as it is."
    handle(session, now, trainer, alert, situation, Handling(done))


def _away(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, until: date | None
) -> str:
    today = situation.local_date(now)
    if until is None or until < today:
        shown = until.isoformat() if until else ""
        raise ImpossibleValue("until", shown, "the last day away, today or later")
    settings = situation.settings
    away = replace(settings, away=(*settings.away, (today, until)))
    edit_plan(session, now, trainer, situation, PlanChange.keeping(situation, away))
    return f"Away until {until:%-d %B %Y}."


def _open_gate(session: Session, now: datetime, trainer: Trainer, situation: Situation) -> str:
    rung = gate_next(situation)
    assert rung is not None and rung.gate is not None  # noqa: S101, PT018  # offered only then
    kept = PlanChange.keeping(situation, situation.settings)
    opened = replace(kept, open_gates=kept.open_gates | {rung.gate})
    edit_plan(session, now, trainer, situation, opened)
    unseen = " Nobody had seen them stand." if not_seen_lately(session, now, situation) else ""
    return f"Opened the gate: {rung.gate.replace('_', ' ')}.{unseen}"


def not_seen_lately(session: Session, now: datetime, situation: Situation) -> bool:
    """Whether neither a visit nor a retest was in the last weeks: all is only what was told."""
    since = situation.local_date(now) - timedelta(days=SEEN_DAYS)
    whose = situation.client_id
    retest = select(Retest.id).where(
        Retest.client_id == whose, col(Retest.withdrawn_at).is_(None), Retest.day >= since
    )
    visit = select(HomeVisit.id).where(
        HomeVisit.client_id == whose, col(HomeVisit.done_at).is_not(None), HomeVisit.day >= since
    )
    return all(session.exec(one.limit(1)).first() is None for one in (retest, visit))
