"""Plain values to stored JSON and back."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, time
from functools import lru_cache
from json import dumps, loads
from typing import Any

from rungwise.concepts.measures import Lengths
from rungwise.ladder.body import Profile, profile_from_stored
from rungwise.ladder.build import build_ladder, rung_alone
from rungwise.ladder.moves import NEWEST_RULE
from rungwise.ladder.progression import Caution, DayReport, Plan, SideHold
from rungwise.ladder.rotation import rung_of_day
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Side
from rungwise.reply.reading import Context, Hold, Reading, Span
from rungwise.wording.rung_words import Telling


@dataclass(frozen=True, slots=True)
class UsualPain:
    """A bone, joint or muscle pain that the trainer recorded: place as in a reading, score 0-5."""

    place: str
    score: int


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """What the trainer set, beside the body the ladder is built from. Times are the client's."""

    prompt_at: time = time(9, 0)
    weekdays: frozenset[int] = frozenset(range(7))
    away: tuple[tuple[date, date], ...] = ()
    reminder_at: time | None = None
    target_s: int = 20
    caution: Caution = field(default_factory=Caution)
    open_gates: frozenset[str] = frozenset()
    # Whether each prompt carries a link to the day's picture, where the practice has an address.
    picture_link: bool = False
    # Plans stored before there was a second version don't say which; they keep the first.
    rule_version: int = NEWEST_RULE
    # Those of `away` that the client asked for: their "back" ends these and no others.
    wished_away: tuple[tuple[date, date], ...] = ()
    usual_pain: UsualPain | None = None
    # How often a day's hold is done, on each side where there are sides.
    sets: int = 1
    # At the top of the ladder, or at its ceiling: what is held is kept up in turn.
    keeps_up: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "prompt_at": self.prompt_at.isoformat("minutes"),
            "weekdays": sorted(self.weekdays),
            "away": _ranges_to_json(self.away),
            "reminder_at": self.reminder_at.isoformat("minutes") if self.reminder_at else None,
            "target_s": self.target_s,
            "caution": asdict(self.caution),
            "open_gates": sorted(self.open_gates),
            "picture_link": self.picture_link,
            "rule_version": self.rule_version,
            "wished_away": _ranges_to_json(self.wished_away),
            "usual_pain": asdict(self.usual_pain) if self.usual_pain else None,
            "sets": self.sets,
            "keeps_up": self.keeps_up,
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "PlanSettings":
        reminder = stored["reminder_at"]
        return cls(
            prompt_at=time.fromisoformat(stored["prompt_at"]),
            weekdays=frozenset(stored["weekdays"]),
            away=_ranges_from_json(stored["away"]),
            reminder_at=time.fromisoformat(reminder) if reminder else None,
            target_s=stored["target_s"],
            caution=Caution(**stored["caution"]),
            open_gates=frozenset(stored["open_gates"]),
            picture_link=stored.get("picture_link", False),
            rule_version=stored.get("rule_version", 1),
            wished_away=_ranges_from_json(stored.get("wished_away", ())),
            usual_pain=UsualPain(**pain) if (pain := stored.get("usual_pain")) else None,
            sets=stored.get("sets", 1),
            keeps_up=stored.get("keeps_up", False),
        )

    def plan(self, resting: bool) -> Plan:
        return Plan(
            target_s=self.target_s,
            caution=self.caution,
            open_gates=self.open_gates,
            resting=resting,
            rule_version=self.rule_version,
            weekdays=self.weekdays,
            keeps_up=self.keeps_up,
        )


def _ranges_to_json(ranges: Sequence[tuple[date, date]]) -> list[list[str]]:
    return [[first.isoformat(), last.isoformat()] for first, last in ranges]


def _ranges_from_json(stored: Sequence[Sequence[str]]) -> tuple[tuple[date, date], ...]:
    return tuple((date.fromisoformat(one), date.fromisoformat(other)) for one, other in stored)


def ladder_of(profile: Profile) -> Ladder:
    return build_ladder(profile.body, profile.equipment, profile.limits, profile.narrowing)


def stored_ladder(profile: Mapping[str, Any]) -> Ladder:
    """The ladder of a stored profile; the same profile is built once."""
    return ladder_in(dumps(profile))


@lru_cache(maxsize=2048)
def settings_in(text: str) -> PlanSettings:
    """The settings in a plan's stored text; the same text is read once."""
    return PlanSettings.from_json(loads(text))


@lru_cache(maxsize=2048)
def profile_in(text: str) -> Profile:
    """The profile in a plan's stored text; the same text is read once."""
    return profile_from_stored(loads(text))


@lru_cache(maxsize=2048)
def ladder_in(text: str) -> Ladder:
    """The ladder of a profile's stored text; the same text is read once."""
    return ladder_of(profile_in(text))


@lru_cache(maxsize=2048)
def rung_in(text: str, key: str) -> Rung:
    """One rung of that ladder as a text tells it. KeyError when the ladder has no such rung."""
    profile = profile_in(text)
    return rung_alone(key, profile.body, profile.equipment, profile.limits, profile.narrowing)


def rung_on(settings: PlanSettings, profile: str, key: str, day: date) -> Rung:
    """What the text of this date asks of a client on this rung, for a text: without what counts
    only among other rungs.
    """
    if not settings.keeps_up:
        return rung_in(profile, key)
    return rung_of_day(ladder_in(profile), key, day)


def telling_of(
    settings: PlanSettings, profile: str, lengths: Lengths, *, first_day: bool = False
) -> Telling:
    """How a client with this plan is told a rung, in a practice with these lengths."""
    tape = profile_in(profile).equipment.tape
    return Telling(settings.target_s, settings.sets, first_day, tape, lengths)


# Stored only when set: a report of before has none of them.
LATER_FIELDS = (
    "done",
    "near_fall",
    "distress",
    "health_news",
    "no_credit",
    "unconfirmed",
    "too_easy",
)


def report_to_json(report: DayReport) -> dict[str, Any]:
    return {
        "day": report.day.isoformat(),
        "rung_key": report.rung_key,
        "holds": [{"seconds": hold.seconds, "side": hold.side} for hold in report.holds],
        "steadiness": report.steadiness,
        "steadiness_by_side": dict(report.steadiness_by_side),
        "skipped": report.skipped,
        "fall": report.fall,
        "pain": report.pain,
        "dizzy": report.dizzy,
        "emergency": report.emergency,
    } | {name: value for name in LATER_FIELDS if (value := getattr(report, name))}


def report_from_json(stored: Mapping[str, Any]) -> DayReport:
    return DayReport(
        day=date.fromisoformat(stored["day"]),
        rung_key=stored["rung_key"],
        holds=tuple(_side_hold(hold["seconds"], hold["side"]) for hold in stored["holds"]),
        steadiness=stored["steadiness"],
        steadiness_by_side={
            Side(side): value for side, value in stored["steadiness_by_side"].items()
        },
        skipped=stored["skipped"],
        fall=stored["fall"],
        pain=stored["pain"],
        dizzy=stored["dizzy"],
        emergency=stored["emergency"],
        **{name: stored[name] for name in LATER_FIELDS if name in stored},
    )


def _side_hold(seconds: float | None, side: str | None) -> SideHold:
    if side is None or side == "both":
        return SideHold(seconds, "both" if side else None)
    return SideHold(seconds, Side(side))


def side_holds(holds: Sequence[Hold]) -> tuple[SideHold, ...]:
    return tuple(_side_hold(hold.seconds, hold.side) for hold in holds)


def reading_to_json(reading: Reading) -> dict[str, Any]:
    """A reading without the client's own words, which are kept apart and may be removed."""
    values = asdict(reading)
    del values["own_words"]
    return values


def reading_from_json(stored: Mapping[str, Any]) -> Reading:
    values = dict(stored)
    values["holds"] = tuple(Hold(**hold) for hold in values["holds"])
    values["because"] = {
        name: tuple(Span(**span) for span in spans) for name, spans in values["because"].items()
    }
    for name in ("asks", "wish_days"):
        values[name] = tuple(values.get(name, ()))
    return Reading(**values)


def context_to_json(context: Context) -> dict[str, Any]:
    """The context without the texts of ours that it holds: they are stored once, as texts."""
    values = asdict(context)
    del values["our_texts"]
    values["today"] = context.today.isoformat() if context.today else None
    return values


def context_from_json(stored: Mapping[str, Any]) -> Context:
    values = dict(stored)
    values["leads"] = tuple(Side(side) for side in values["leads"])
    values["our_texts"] = tuple(values.get("our_texts", ()))
    today = values.get("today")
    values["today"] = date.fromisoformat(today) if today else None
    return Context(**values)
