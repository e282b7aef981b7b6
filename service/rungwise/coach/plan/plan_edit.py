"""What a trainer changes in a client's plan: hour, days, target, caution, dates away, limits."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, time
from typing import Any

from sqlmodel import Session

from rungwise.coach.daily.schedule import schedule_anew
from rungwise.coach.record.audit import record
from rungwise.coach.record.codec import PlanSettings, stored_ladder
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.quiet_hours import refuse_quiet_hour
from rungwise.coach.record.situation import Situation
from rungwise.errors import ImpossibleValue, ServiceError
from rungwise.ladder.caution import PRESETS
from rungwise.ladder.moves import RULE_VERSIONS, TARGET_BOUNDS_S
from rungwise.ladder.rungs import Ladder
from rungwise.store.tables import Trainer

MOST_AWAY = 20
MOST_SETS = 3
FARTHEST_AWAY_DAYS = 366


class CeilingTooLow(ServiceError):
    """The client is above that ceiling now. Put them on an easier rung first, then lock it."""


class GateBehind(ServiceError):
    """The client is past that gate, so it can't be closed. Put them on an easier rung first."""


@dataclass(frozen=True, slots=True)
class PlanChange:
    """The whole plan as the trainer wants it. Times and dates are the client's.

    `caution` is a preset's name, or empty to leave the settings as they are. `ceiling_key` None
    takes the ceiling away; `rule_version` None leaves the rule as it is.
    """

    prompt_at: time
    weekdays: frozenset[int]
    reminder_at: time | None
    target_s: int
    caution: str
    away: tuple[tuple[date, date], ...]
    ceiling_key: str | None
    open_gates: frozenset[str]
    rule_version: int | None = None
    sets: int = 1
    keeps_up: bool = False

    @classmethod
    def keeping(cls, situation: Situation, settings: PlanSettings) -> "PlanChange":
        """These settings' hour, days, dates away and version of the rule; all else as it is."""
        return cls(
            prompt_at=settings.prompt_at,
            weekdays=settings.weekdays,
            reminder_at=settings.reminder_at,
            target_s=settings.target_s,
            caution="",
            away=settings.away,
            ceiling_key=situation.plan_row.profile["limits"]["ceiling_key"],
            open_gates=situation.settings.open_gates,
            rule_version=settings.rule_version,
            sets=settings.sets,
            keeps_up=settings.keeps_up,
        )


def whole_ladder(profile: Mapping[str, Any]) -> Ladder:
    """The client's ladder as if it had no ceiling: what a ceiling can be chosen from."""
    return stored_ladder({**profile, "limits": {**profile["limits"], "ceiling_key": None}})


@dataclass(frozen=True, slots=True)
class Planned:
    """What a change comes to: the plan as it would be, and what differs, as [before, after]."""

    settings: PlanSettings
    profile: dict[str, Any]
    changed: dict[str, list[Any]]


def look_at_plan(situation: Situation, change: PlanChange) -> Planned:
    """What the change comes to; nothing is stored. Raises what `edit_plan` would refuse."""
    settings = _settings(situation, change)
    refuse_quiet_hour(situation.practice, settings)
    profile = _profile(situation, change)
    changed = _changes(situation, settings, profile)
    if changed:
        _check_gates(situation, change)
    return Planned(settings, profile, changed)


def edit_plan(
    session: Session, now: datetime, trainer: Trainer, situation: Situation, change: PlanChange
) -> dict[str, list[Any]]:
    """Store the changed plan as its next version; gives what changed, as [before, after] each.

    The next prompt and a reminder that waits are set anew. Nothing is stored when nothing changed.
    """
    planned = look_at_plan(situation, change)
    changed = planned.changed
    if not changed:
        return {}
    settings, profile = planned.settings.to_json(), planned.profile
    new_plan(session, now, trainer, situation, settings=settings, profile=profile)
    situation.client.version += 1
    session.add(situation.client)
    record(session, now, trainer, "plan changed", client_id=situation.client_id, changed=changed)
    schedule_anew(session, now, situation.client)
    return changed


def _settings(situation: Situation, change: PlanChange) -> PlanSettings:
    if not change.weekdays or not change.weekdays <= frozenset(range(7)):
        raise ImpossibleValue("practice days", "none", "at least one day; to stop texts, pause")
    low, high = TARGET_BOUNDS_S
    high = min(high, situation.plan_row.profile["limits"]["longest_hold_s"])
    if not low <= change.target_s <= high:
        allowed = f"from {low} to {high} seconds for this client"
        raise ImpossibleValue("hold target", change.target_s, allowed)
    if not 1 <= change.sets <= MOST_SETS:
        raise ImpossibleValue("sets", change.sets, f"from 1 to {MOST_SETS}")
    if change.caution and change.caution not in PRESETS:
        raise ImpossibleValue("caution", change.caution, f"one of {', '.join(PRESETS)}")
    if change.reminder_at is not None and change.reminder_at <= change.prompt_at:
        shown = situation.practice.measures.hour(change.reminder_at)
        raise ImpossibleValue("reminder", shown, "later than the prompt")
    return replace(
        situation.settings,
        prompt_at=change.prompt_at,
        weekdays=change.weekdays,
        reminder_at=change.reminder_at,
        target_s=change.target_s,
        caution=PRESETS[change.caution] if change.caution else situation.settings.caution,
        away=_away(change.away),
        open_gates=change.open_gates,
        rule_version=_rule_version(situation, change),
        sets=change.sets,
        keeps_up=change.keeps_up,
    )


def _rule_version(situation: Situation, change: PlanChange) -> int:
    if change.rule_version is None:
        return situation.settings.rule_version
    if change.rule_version not in RULE_VERSIONS:
        raise ImpossibleValue("rule", change.rule_version, "version 1 or 2")
    return change.rule_version


def _away(ranges: tuple[tuple[date, date], ...]) -> tuple[tuple[date, date], ...]:
    if len(ranges) > MOST_AWAY:
        raise ImpossibleValue("dates away", f"{len(ranges)} times", f"at most {MOST_AWAY} times")
    for first, last in ranges:
        if not 0 <= (last - first).days <= FARTHEST_AWAY_DAYS:
            shown = f"{first.isoformat()} to {last.isoformat()}"
            raise ImpossibleValue("dates away", shown, "in order, and a year at most")
    return tuple(sorted(set(ranges)))


def _profile(situation: Situation, change: PlanChange) -> dict[str, Any]:
    """The profile with the new ceiling; refused when the client stands above it."""
    old: dict[str, Any] = situation.plan_row.profile
    if change.ceiling_key == old["limits"]["ceiling_key"]:
        return old
    whole = whole_ladder(old)
    if change.ceiling_key is not None and change.ceiling_key not in whole:
        raise ImpossibleValue("ceiling", change.ceiling_key, "a rung of this client's ladder")
    profile = {**old, "limits": {**old["limits"], "ceiling_key": change.ceiling_key}}
    if situation.placement.rung_key not in stored_ladder(profile):
        raise CeilingTooLow
    return profile


def _check_gates(situation: Situation, change: PlanChange) -> None:
    """A gate opens on a trainer's word; one that the client has passed stays open."""
    ladder, key = situation.ladder, situation.placement.rung_key
    known = {rung.gate for rung in ladder.rungs if rung.gate} | situation.settings.open_gates
    unknown = change.open_gates - known
    if unknown:
        raise ImpossibleValue("gate", min(unknown), "a gate of this client's ladder")
    if key not in ladder:
        return
    passed = {rung.gate for rung in ladder.rungs[: ladder.index(key) + 1] if rung.gate}
    if (situation.settings.open_gates - change.open_gates) & passed:
        raise GateBehind


def _changes(
    situation: Situation, settings: PlanSettings, profile: Mapping[str, Any]
) -> dict[str, list[Any]]:
    before = situation.settings.to_json()
    after = settings.to_json()
    changed = {
        name: [before[name], after[name]]
        for name in after
        if name != "caution" and before[name] != after[name]
    }
    if asdict(situation.settings.caution) != asdict(settings.caution):
        changed["caution"] = [situation.settings.caution.name, settings.caution.name]
    ceilings = [one["limits"]["ceiling_key"] for one in (situation.plan_row.profile, profile)]
    if ceilings[0] != ceilings[1]:
        changed["ceiling"] = ceilings
    return changed
