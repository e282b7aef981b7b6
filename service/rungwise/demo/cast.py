"""The demo's people and what they do, from people.toml."""

import tomllib
from dataclasses import dataclass, field
from datetime import time
from functools import cache
from importlib import resources
from typing import Any

from rungwise.coach.record.codec import PlanSettings
from rungwise.ladder.body import Body, Equipment, Profile


@dataclass(frozen=True, slots=True)
class Said:
    """A text that answers none of ours."""

    day: int
    at: time
    words: str


@dataclass(frozen=True, slots=True)
class Part:
    """One invented client. `form` is the chance of a good day, in percent; `about_falls` whether
    they answer when they are asked about falls.
    """

    name: str
    trainer: str
    phone: str
    profile: Profile
    settings: PlanSettings
    start: str
    form: int
    voice: str
    zone: str
    language: str
    joined: int | None
    silent_from: int | None
    about_falls: bool = True
    days: dict[int, str] = field(default_factory=dict)
    says: tuple[Said, ...] = ()

    def scripted(self, day: int) -> str | None:
        """What they text on this day, counted from today; "-" for silence, None for the usual."""
        if self.silent_from is not None and day >= self.silent_from:
            return "-"
        return self.days.get(day)


@dataclass(frozen=True, slots=True)
class Act:
    """Something a trainer does: handle an alert, or place a client higher."""

    day: int
    at: time
    trainer: str
    client: str
    what: str
    alert: str | None = None
    resume_below: int | None = None
    up: int | None = None


@dataclass(frozen=True, slots=True)
class Cast:
    """The practice, its trainers and clients, and what the trainers did."""

    practice: dict[str, Any]
    trainers: tuple[dict[str, Any], ...]
    parts: dict[str, Part]
    acts: tuple[Act, ...]
    days: int = 28


@cache
def cast() -> Cast:
    source = resources.files("rungwise.demo").joinpath("people.toml").read_text(encoding="utf-8")
    told = tomllib.loads(source)
    parts = [_part(each, told["practice"]["time_zone"]) for each in told["clients"]]
    acts = [_act(each) for each in told["acts"]]
    return Cast(
        practice=told["practice"],
        trainers=tuple(told["trainers"]),
        parts={part.name: part for part in parts},
        acts=tuple(acts),
    )


def _part(told: dict[str, Any], zone: str) -> Part:
    body = Body.estimate(
        told["height_mm"], told["sex"], big_toe_pain=told.get("big_toe_pain", False)
    )
    equipment = Equipment(
        mat_layers=told.get("mat_layers", 0), half_foam_whole=told.get("half_foam_whole", False)
    )
    reminder = told.get("reminder_at")
    settings = PlanSettings(
        prompt_at=time.fromisoformat(told["prompt_at"]),
        weekdays=frozenset(told.get("weekdays", range(7))),
        reminder_at=time.fromisoformat(reminder) if reminder else None,
        target_s=told.get("target_s", 20),
    )
    days = {int(day): words for day, words in told.get("days", {}).items()}
    if "last_day" in told:
        # Today's text may not have gone yet when the demo is loaded, so yesterday is the last day.
        days[-1] = told["last_day"]
    return Part(
        name=told["name"],
        trainer=told["trainer"],
        phone=told["phone"],
        profile=Profile(body, equipment, target_s=settings.target_s),
        settings=settings,
        start=told["start"],
        form=told["form"],
        voice=told["voice"],
        zone=told.get("zone", zone),
        language=told.get("language", "en"),
        joined=told.get("joined"),
        silent_from=told.get("silent_from"),
        about_falls=told.get("about_falls", True),
        days=days,
        says=tuple(
            Said(one["day"], time.fromisoformat(one["at"]), one["words"])
            for one in told.get("says", ())
        ),
    )


def _act(told: dict[str, Any]) -> Act:
    return Act(**{**told, "at": time.fromisoformat(told["at"])})
