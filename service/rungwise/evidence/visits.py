"""Who needs a visit: reasons in words, by rules that stand here and nowhere else.

There is no score. A client is listed when at least one rule holds, with every reason that holds.
The list is ordered by each client's gravest reason (the order of VISIT_RULES), then by how many
reasons there are, then by how long the gravest has stood. All windows and limits are our choice,
common practice, no source; docs/evidence.md says them in words.
"""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import date, timedelta

FALL_DAYS = 28
RECENT_DAYS = 14
BEFORE_DAYS = 28
FLAG_DAYS = 28
ADHERENCE_DROP = 0.3
ADHERENCE_LEAST_RECENT, ADHERENCE_LEAST_BEFORE = 4, 8
SILENT_PROMPTS = 3

# Gravest first, each with when it holds.
VISIT_RULES: Mapping[str, str] = {
    "fall": f"A fall was told in the last {FALL_DAYS} days.",
    "resting": "Resting after pain, dizziness, an emergency sign or weeks away.",
    "decline": (
        f"Getting worse, by what they told of every day: flagged in the last {FLAG_DAYS} days, and "
        f"no retest or call since."
    ),
    "stuck": "Back twice from one rung, or no easier rung left, and nobody has looked yet.",
    "told_too_well": "Results are told steadier than this client can be; told once.",
    "silent": f"No reply to the last {SILENT_PROMPTS} prompts or more.",
    "adherence": (
        f"The share of planned days practised fell by at least {ADHERENCE_DROP:.0%} in the last "
        f"{RECENT_DAYS} days against the {BEFORE_DAYS} before."
    ),
    "gate": "Practice has reached a gate that only the trainer opens.",
    "review": "A retest or a call is due.",
}
_ORDER = {name: place for place, name in enumerate(VISIT_RULES)}


@dataclass(frozen=True, slots=True)
class DaySeen:
    """One date with a report. `bad` is None when the day counted neither way."""

    day: date
    practised: bool
    bad: bool | None = None


@dataclass(frozen=True, slots=True)
class Flag:
    """The day on which a flag was raised, and why, in words."""

    day: date
    says: str


@dataclass(frozen=True, slots=True)
class ClientSeen:
    """What the rules look at: at least the last 42 days of reports; dates are the client's.

    `started` is the first date on which prompts could go; `weekdays` (Monday 0) and `away` are the
    plan's. `falls` are the dates of falls, each once. `open_alerts` gives
    each open alert's kind and the date it was opened. `decline` and `told_too_well` are the latest
    flags of rungwise.evidence.decline and rungwise.evidence.told_too_well; `reviewed` is the date
    of the last retest or call.
    """

    state: str
    state_since: date
    started: date
    weekdays: AbstractSet[int]
    away: Sequence[tuple[date, date]] = ()
    days: Sequence[DaySeen] = ()
    falls: Sequence[date] = ()
    open_alerts: Mapping[str, date] = field(default_factory=dict)
    decline: Flag | None = None
    told_too_well: Flag | None = None
    reviewed: date | None = None
    silent_prompts: int = 0
    review_due: date | None = None


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a visit: the rule's name, a sentence with its figures, and since when it holds."""

    rule: str
    says: str
    since: date


def reasons(seen: ClientSeen, today: date) -> tuple[Reason, ...]:
    """Every reason for a visit, gravest first; none for a client who has not begun or has ended."""
    if seen.state in ("invited", "stopped"):
        return ()
    practising = seen.state == "active"
    found = [
        _fall(seen, today),
        _resting(seen, today),
        _flagged("decline", seen.decline, seen, today) if practising else None,
        _stuck(seen),
        _flagged("told_too_well", seen.told_too_well, seen, today) if practising else None,
        _silent(seen, today) if practising else None,
        _adherence(seen, today) if practising else None,
        _gate(seen),
        _review(seen, today),
    ]
    return tuple(reason for reason in found if reason is not None)


def rank(found: Sequence[Reason]) -> tuple[int, int, date]:
    """What a client's place in the list goes by; smaller comes first. `found` is not empty."""
    gravest = min(found, key=lambda reason: _ORDER[reason.rule])
    return _ORDER[gravest.rule], -len(found), gravest.since


def _fall(seen: ClientSeen, today: date) -> Reason | None:
    first = today - timedelta(days=FALL_DAYS - 1)
    falls = sorted(day for day in seen.falls if first <= day <= today)
    if not falls:
        return None
    often = "A fall" if len(falls) == 1 else f"{len(falls)} falls"
    latest = "" if len(falls) == 1 else ", the latest"
    says = f"{often} told in the last {FALL_DAYS} days{latest} on {_day(falls[-1])}."
    return Reason("fall", says, falls[-1])


def _resting(seen: ClientSeen, today: date) -> Reason | None:
    if seen.state != "resting":
        return None
    days = (today - seen.state_since).days
    how_long = f"for {_days(days)}" if days > 0 else "since today"
    says = f"Resting {how_long}, until you clear them."
    return Reason("resting", says, seen.state_since)


def _stuck(seen: ClientSeen) -> Reason | None:
    since = seen.open_alerts.get("stuck")
    if since is None:
        return None
    return Reason("stuck", f"Stuck on one rung since {_day(since)}; nobody has looked yet.", since)


def _flagged(rule: str, flag: Flag | None, seen: ClientSeen, today: date) -> Reason | None:
    """A flag stands for four weeks, or until a retest or a call after it."""
    if flag is None or not 0 <= (today - flag.day).days < FLAG_DAYS:
        return None
    if seen.reviewed is not None and seen.reviewed >= flag.day:
        return None
    return Reason(rule, flag.says, flag.day)


def _silent(seen: ClientSeen, today: date) -> Reason | None:
    if seen.silent_prompts < SILENT_PROMPTS:
        return None
    since = max((one.day for one in seen.days), default=seen.started)
    says = f"No reply to the last {seen.silent_prompts} prompts."
    return Reason("silent", says, min(since, today))


def _adherence(seen: ClientSeen, today: date) -> Reason | None:
    recent, before = _windows(seen, today)
    first = today - timedelta(days=RECENT_DAYS)
    planned_now = planned_days(seen, first, today - timedelta(days=1))
    planned_then = planned_days(
        seen, first - timedelta(days=BEFORE_DAYS), first - timedelta(days=1)
    )
    if planned_now < ADHERENCE_LEAST_RECENT or planned_then < ADHERENCE_LEAST_BEFORE:
        return None
    now = sum(one.practised for one in recent)
    then = sum(one.practised for one in before)
    if min(then / planned_then, 1.0) - min(now / planned_now, 1.0) < ADHERENCE_DROP:
        return None
    says = (
        f"Practising less: on {now} of {planned_now} planned days in the last {RECENT_DAYS}, on "
        f"{then} of {planned_then} in the {BEFORE_DAYS} before."
    )
    return Reason("adherence", says, first)


def _gate(seen: ClientSeen) -> Reason | None:
    since = seen.open_alerts.get("gate_reached")
    if since is None:
        return None
    says = f"At a closed gate since {_day(since)}: look at the next stance together."
    return Reason("gate", says, since)


def _review(seen: ClientSeen, today: date) -> Reason | None:
    if seen.review_due is None or seen.review_due > today:
        return None
    late = (today - seen.review_due).days
    when = "today" if late == 0 else f"since {_day(seen.review_due)}, {_days(late)}"
    return Reason("review", f"A retest or a call is due {when}.", seen.review_due)


def planned_days(seen: ClientSeen, first: date, last: date) -> int:
    """How many dates from `first` to `last` the plan asks for practice on."""
    first = max(first, seen.started)
    count = 0
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        off = any(since <= day <= until for since, until in seen.away)
        count += day.weekday() in seen.weekdays and not off
    return count


def _windows(seen: ClientSeen, today: date) -> tuple[list[DaySeen], list[DaySeen]]:
    """The reports of the last 14 full days, and of the 28 before; today is still open."""
    first = today - timedelta(days=RECENT_DAYS)
    start = first - timedelta(days=BEFORE_DAYS)
    in_order = sorted(seen.days, key=lambda one: one.day)
    recent = [one for one in in_order if first <= one.day < today]
    return recent, [one for one in in_order if start <= one.day < first]


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
