"""What an act over many means for each client, and whom it passes over. Pure.

No act here clears, resumes, opens a gate or changes a rung: it may only change an hour, days and
dates away, by which version of the rule they are moved, write, tag, or change who looks after
somebody.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, time, timedelta
from hashlib import sha256
from json import dumps
from typing import Any

from rungwise.coach.record.codec import PlanSettings
from rungwise.concepts.client_states import State
from rungwise.errors import ImpossibleValue
from rungwise.ladder.moves import RULE_VERSIONS

LONGEST_TAG = 40
FARTHEST_DAYS = 366
MOST_AWAY = 20
CALLED = "{called}"


@dataclass(frozen=True, slots=True)
class Member:
    """One client as an act sees them. `settings` None before a first rung was set.

    `in_doubt` while a question about a fall, pain or dizziness waits for its answer; `night` while
    it is outside the practice's texting hours where they are.
    """

    client_id: int
    name: str
    called: str
    language: str
    state: str
    today: date
    version: int
    settings: PlanSettings | None = None
    in_doubt: bool = False
    night: bool = False
    tags: frozenset[str] = frozenset()
    trainer_id: int = 0
    open_alerts: int = 0


@dataclass(frozen=True, slots=True)
class Pause:
    """No texts from a day to a day, both included. The client is told."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Hour:
    """The day's text at another hour, the client's own time."""

    prompt_at: time


@dataclass(frozen=True, slots=True)
class Days:
    """Practice on other weekdays, Monday 0."""

    weekdays: frozenset[int]


@dataclass(frozen=True, slots=True)
class Rule:
    """From now on by this version of the rule. It moves nobody by itself."""

    version: int


@dataclass(frozen=True, slots=True)
class Write:
    """A text in the trainer's own words; `{called}` becomes what each is called."""

    body: str


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag of the trainer's own put on, or taken off."""

    name: str
    on: bool = True


@dataclass(frozen=True, slots=True)
class Give:
    """A colleague becomes their trainer, and takes their open alerts along."""

    trainer_id: int
    name: str


Asked = Pause | Hour | Days | Rule | Write | Tag | Give


@dataclass(frozen=True, slots=True)
class Effect:
    """What follows for one client: the plan's new settings, or the text that leaves."""

    member: Member
    settings: PlanSettings | None = None
    body: str = ""


@dataclass(frozen=True, slots=True)
class Passed:
    """One client whom the act passes over, and why, as a sentence's end."""

    member: Member
    why: str


HELD: Mapping[str, str] = {
    State.RESTING: "resting, until you clear them",
    State.STOPPED: "stopped the texts",
}
IN_DOUBT = "a safety question waits for its answer"
NOT_BEGUN = "texts have not begun"
PAUSED = "paused already"
NIGHT = "it is outside your texting hours there"


def effects(asked: Asked, members: Sequence[Member]) -> tuple[list[Effect], list[Passed]]:
    """What follows for each, in the order given, and who is passed over."""
    done: list[Effect] = []
    passed: list[Passed] = []
    for member in members:
        why = why_not(asked, member)
        if why:
            passed.append(Passed(member, why))
        else:
            done.append(_effect(asked, member))
    return done, passed


def why_not(asked: Asked, member: Member) -> str:
    """Why an act passes this client over; empty when it does not."""
    if isinstance(asked, Tag):
        # A name on a list touches nobody's texts, so somebody who rests stays in their class.
        has = asked.name in member.tags
        return ("has it already" if asked.on else "has it not") if has is asked.on else ""
    if isinstance(asked, Give):
        # Who rests must have a trainer too: their alerts go along, and nothing else changes.
        return "is theirs already" if member.trainer_id == asked.trainer_id else ""
    held = IN_DOUBT if member.in_doubt else HELD.get(member.state, "")
    if held:
        return held
    if isinstance(asked, Write):
        return NOT_BEGUN if member.state == State.INVITED else NIGHT if member.night else ""
    return _why_no_change(asked, member)


def _why_no_change(asked: Pause | Hour | Days | Rule, member: Member) -> str:
    if member.settings is None:
        return "no first rung has been set"
    if isinstance(asked, Pause):
        return _why_no_pause(asked, member, member.settings)
    if isinstance(asked, Hour):
        return _why_no_hour(asked, member.settings)
    if isinstance(asked, Rule):
        return "is on it already" if member.settings.rule_version == asked.version else ""
    return "has these days already" if member.settings.weekdays == asked.weekdays else ""


def _why_no_pause(asked: Pause, member: Member, settings: PlanSettings) -> str:
    if member.state == State.INVITED:
        return NOT_BEGUN
    if member.state == State.PAUSED:
        return PAUSED
    if asked.last < member.today:
        return "that is over where they are"
    if any(first <= asked.first and asked.last <= last for first, last in settings.away):
        return "is away then already"
    return "has too many dates away" if len(settings.away) >= MOST_AWAY else ""


def _why_no_hour(asked: Hour, settings: PlanSettings) -> str:
    if settings.prompt_at == asked.prompt_at:
        return "has this hour already"
    if settings.reminder_at is not None and settings.reminder_at <= asked.prompt_at:
        return "their evening reminder would come before it"
    return ""


def _effect(asked: Asked, member: Member) -> Effect:
    settings = member.settings
    if isinstance(asked, Write):
        return Effect(member, body=asked.body.replace(CALLED, member.called))
    if isinstance(asked, Tag | Give) or settings is None:
        return Effect(member)
    return Effect(member, changed(asked, settings))


def changed(asked: Pause | Hour | Days | Rule, settings: PlanSettings) -> PlanSettings:
    """The settings after the act."""
    if isinstance(asked, Hour):
        return replace(settings, prompt_at=asked.prompt_at)
    if isinstance(asked, Days):
        return replace(settings, weekdays=asked.weekdays)
    if isinstance(asked, Rule):
        return replace(settings, rule_version=asked.version)
    return replace(settings, away=tuple(sorted({*settings.away, (asked.first, asked.last)})))


def taken_back(
    asked: Pause | Hour | Days | Rule, before: PlanSettings, now: PlanSettings
) -> PlanSettings | None:
    """The settings without the act; None where somebody has changed them otherwise since."""
    if isinstance(asked, Pause):
        kept = tuple(one for one in now.away if one != (asked.first, asked.last))
        return replace(now, away=kept) if kept != now.away else None
    if isinstance(asked, Hour):
        same = now.prompt_at == asked.prompt_at
        return replace(now, prompt_at=before.prompt_at) if same else None
    if isinstance(asked, Rule):
        same = now.rule_version == asked.version
        return replace(now, rule_version=before.rule_version) if same else None
    same = now.weekdays == asked.weekdays
    return replace(now, weekdays=before.weekdays) if same else None


def check(asked: Asked, today: date) -> None:
    """ImpossibleValue for what can be done to nobody. `today` on the practice's calendar."""
    if isinstance(asked, Pause):
        if asked.last < asked.first:
            raise ImpossibleValue("last day", asked.last.isoformat(), "the first day or later")
        if asked.last < today:
            raise ImpossibleValue("last day", asked.last.isoformat(), "today or later")
        if asked.last > asked.first + timedelta(days=FARTHEST_DAYS):
            raise ImpossibleValue("last day", asked.last.isoformat(), "within a year")
    if isinstance(asked, Days) and not (asked.weekdays and asked.weekdays <= frozenset(range(7))):
        raise ImpossibleValue("practice days", "none", "at least one day; to stop texts, pause")
    if isinstance(asked, Rule) and asked.version not in RULE_VERSIONS:
        raise ImpossibleValue("rule", asked.version, "version 1 or 2")
    if isinstance(asked, Tag) and not 0 < len(asked.name) <= LONGEST_TAG:
        raise ImpossibleValue("tag", asked.name, f"1 to {LONGEST_TAG} characters")


def seen_hash(asked: Asked, done: Sequence[Effect], passed: Sequence[Passed]) -> str:
    """What tells whether this was looked at: it changes with whatever would follow."""
    follows = [
        (
            one.member.client_id,
            one.member.version,
            one.body,
            one.settings and one.settings.to_json(),
        )
        for one in done
    ]
    left_out = [(one.member.client_id, one.why) for one in passed]
    told = dumps([to_json(asked), follows, left_out], sort_keys=True)
    return sha256(told.encode()).hexdigest()[:32]


# --- as it is stored ------------------------------------------------------------------------------

KINDS: Mapping[str, type[Asked]] = {
    "pause": Pause,
    "hour": Hour,
    "days": Days,
    "rule": Rule,
    "write": Write,
    "tag": Tag,
    "give": Give,
}


def kind_of(asked: Asked) -> str:
    return next(name for name, kind in KINDS.items() if isinstance(asked, kind))


def to_json(asked: Asked) -> dict[str, Any]:
    if isinstance(asked, Pause):
        return {"first": asked.first.isoformat(), "last": asked.last.isoformat()}
    if isinstance(asked, Hour):
        return {"prompt_at": asked.prompt_at.isoformat("minutes")}
    if isinstance(asked, Days):
        return {"weekdays": sorted(asked.weekdays)}
    return asdict(asked)


def from_json(kind: str, stored: Mapping[str, Any]) -> Asked:
    if kind == "pause":
        first, last = date.fromisoformat(stored["first"]), date.fromisoformat(stored["last"])
        return Pause(first, last)
    if kind == "hour":
        return Hour(time.fromisoformat(stored["prompt_at"]))
    if kind == "days":
        return Days(frozenset(stored["weekdays"]))
    return KINDS[kind](**stored)
