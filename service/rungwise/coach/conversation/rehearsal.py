"""A conversation with an invented client, in memory, through the handlers that serve clients."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from json import dumps
from typing import Any

from rungwise.coach.conversation.automatic import lately
from rungwise.coach.conversation.dossier import Dossier, Standing
from rungwise.coach.conversation.effects import Decide, Effects, Say, Tell
from rungwise.coach.conversation.evolve import after_word, evolve
from rungwise.coach.conversation.falls_asked import (
    asks_about,
    next_asked,
    on_falls_asked,
    tried_again,
)
from rungwise.coach.conversation.on_due import on_prompt, on_unanswered, waits
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.record.codec import PlanSettings, UsualPain, ladder_in
from rungwise.concepts.alert_kinds import ALERTS, URGENCIES
from rungwise.concepts.client_states import State
from rungwise.ladder.body import Body, Equipment, Limits, Profile, profile_to_json
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ladder.stance import Support, Surface
from rungwise.reply import Context, Reading, read
from rungwise.ticks.due import Due, next_due
from rungwise.time_zone import local_to_utc
from rungwise.wording.safety import crisis_line, emergency_number

ZONE = "America/New_York"
FIRST_DAY = date(2026, 1, 5)
PROMPT_AT = time(10)
EVERY_WEEKS = 1
USUAL_SCORE = 3


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing that the client says, so many minutes after the turn before; None only waits."""

    after_min: float
    say: str | None = None


@dataclass(frozen=True, slots=True)
class Conversation:
    """What is rehearsed. `usual_pain` is a place as in a reading, recorded with a score of 3."""

    turns: Sequence[Turn]
    id: str | None = None
    language: str = "en"
    sided: bool = False
    target_s: int = 20
    usual_pain: str | None = None
    country: str = "US"


@dataclass(frozen=True, slots=True)
class Heard:
    """What one turn led to, and before it what time alone brought."""

    said: str | None
    at: datetime
    reading: Reading | None
    effects: Effects
    between: tuple[Effects, ...]
    dossier: Dossier

    def as_json(self) -> dict[str, Any]:
        """The turn as `rungwise rehearse --json` prints it."""
        day = self.dossier.today(self.at)
        report = self.dossier.reports.get(day)
        question = self.dossier.question(self.at)
        steps = [step for effects in self.between for step in effects.steps]
        return {
            "answers": _answers(self.effects.steps),
            "alerts": _alerts(self.effects.steps),
            "state": shown_state(self.dossier, self.at),
            "report": None
            if report is None
            else {
                "holds": [
                    {"seconds": hold.seconds, "side": None if hold.side is None else str(hold.side)}
                    for hold in report.holds
                    if hold.seconds is not None
                ],
                "steadiness": report.steadiness,
            },
            "move": _move(self.effects.steps),
            "asked": question.kind if question else None,
            "between": {"answers": _answers(steps), "alerts": _alerts(steps)},
        }


def _move(steps: Sequence[object]) -> str | None:
    decided = [step.move.kind for step in steps if isinstance(step, Decide)]
    return decided[-1] if decided else None


def _answers(steps: Sequence[object]) -> list[str]:
    return [step.body for step in steps if isinstance(step, Say)]


def _alerts(steps: Sequence[object]) -> list[dict[str, str]]:
    """Each kind told of once, at the gravest urgency of what was told."""
    told: dict[str, str] = {}
    for step in steps:
        if isinstance(step, Tell):
            urgency = str(step.urgency or ALERTS[step.kind].urgency)
            known = told.get(step.kind, urgency)
            told[step.kind] = min(urgency, known, key=URGENCIES.index)
    return [{"kind": kind, "urgency": urgency} for kind, urgency in told.items()]


def shown_state(dossier: Dossier, now: datetime) -> str:
    """practising, held, away or stopped: whether the next prompt will go, and if not, why."""
    if dossier.state == State.STOPPED:
        return "stopped"
    if dossier.state != State.ACTIVE or dossier.doubt is not None:
        return "held"
    standing = dossier.standing
    if standing is None:
        return "held"
    settings = standing.settings
    last = dossier.prompt.day if dossier.prompt else None
    due = next_due(now, dossier.zone, settings.prompt_at, settings.weekdays, after_date=last)
    return "away" if due is not None and dossier.away_on(due.local_date) else "practising"


def invented(conversation: Conversation) -> Dossier:
    """The client of a rehearsal: prompted daily at 10:00 Eastern, on firm ground at hover."""
    body = Body(foot_length_mm=245, foot_breadth_mm=92, hip_width_mm=175)
    profile = dumps(profile_to_json(Profile(body, Equipment(), Limits())))
    rung = _first_rung(ladder_in(profile), sided=conversation.sided)
    usual = conversation.usual_pain
    settings = PlanSettings(prompt_at=PROMPT_AT, target_s=conversation.target_s)
    return Dossier(
        client_id=1,
        called="Ada",
        trainer="Robin",
        practice="Hillside Balance",
        number=emergency_number(conversation.country),
        crisis=crisis_line(conversation.country),
        language=conversation.language,
        zone=ZONE,
        state=State.ACTIVE,
        standing=Standing(settings, profile, rung.key, FIRST_DAY - timedelta(days=1)),
        usual_pain=UsualPain(usual, USUAL_SCORE) if usual else None,
        due={"prompt": Due(FIRST_DAY, _first_hour())},
    )


def _first_hour() -> datetime:
    return local_to_utc(datetime.combine(FIRST_DAY, PROMPT_AT), ZONE)


def _first_rung(ladder: Ladder, *, sided: bool) -> Rung:
    """The first rung on firm ground at hover that has both neighbours, with sides if wanted."""
    return next(
        rung
        for rung in ladder.rungs[1:-1]
        if rung.surface is Surface.FIRM
        and rung.support is Support.HOVER
        and (len(rung.sides) > 1) == sided
    )


@dataclass(slots=True)
class _Life:
    """The client's life as it goes: the dossier, the clock, and what is due next."""

    dossier: Dossier
    now: datetime
    heard: list[tuple[datetime, str]] = field(default_factory=list)
    said: list[tuple[datetime, str]] = field(default_factory=list)
    falls_at: datetime | None = None
    falls_asked: date | None = None
    asked: set[tuple[str, datetime]] = field(default_factory=set)

    def until(self, then: datetime) -> Iterator[Effects]:
        """Live on to an instant; gives what each due moment led to."""
        while True:
            at, act = self._next()
            if at is None or at > then:
                break
            self.now = max(self.now, at)
            effects = act()
            self.dossier = evolve(self.dossier, effects)
            yield effects
        self.now = max(self.now, then)

    def hear(self, text: str) -> tuple[Reading, Effects]:
        """What follows from a text, which is remembered with all that was said."""
        self.heard.append((self.now, text))
        self.dossier = after_word(self.dossier)
        dossier = replace(self.dossier, lately=lately(self.heard, self.said, self.now))
        reading, effects = hear(dossier, text, self.now)
        said = [step.name for step in effects.steps if isinstance(step, Say)]
        self.said += [(self.now, name) for name in said]
        self.dossier = evolve(self.dossier, effects)
        return reading, effects

    def _next(self) -> tuple[datetime | None, Any]:
        found: list[tuple[datetime, Any]] = []
        prompt = self.dossier.due.get("prompt")
        if prompt is not None:
            found.append((prompt.at_utc, lambda: self._prompt(prompt)))
        falls = self._falls_due()
        if falls is not None:
            found.append((falls, self._ask_about_falls))
        for question in self.dossier.questions:
            wait = waits(self.dossier, question)
            if wait is not None and (question.kind, question.asked_at) not in self.asked:
                at = question.asked_at + wait
                found.append((at, lambda one=question: self._unanswered(one)))
        return min(found, key=lambda one: one[0], default=(None, None))

    def _prompt(self, due: Due) -> Effects:
        self.dossier = replace(self.dossier, said=frozenset())
        return on_prompt(self.dossier, due, self.now)

    def _falls_due(self) -> datetime | None:
        if self.falls_at is None:
            due = next_asked(self.now, self.dossier.zone, self.dossier.quiet)
            self.falls_at = due.at_utc if due is not None else None
        return self.falls_at

    def _ask_about_falls(self) -> Effects:
        day = self.dossier.today(self.now)
        since = asks_about(day, EVERY_WEEKS, FIRST_DAY, self.falls_asked)
        effects = on_falls_asked(self.dossier, since, self.now) if since else Effects(self.now)
        if effects.steps:
            self.falls_asked = day
        self.falls_at = tried_again(self.dossier, self.now)
        return effects

    def _unanswered(self, question: Any) -> Effects:
        self.asked.add((question.kind, question.asked_at))
        return on_unanswered(self.dossier, question.kind, self.now)


def rehearse(conversation: Conversation) -> Iterator[Heard]:
    """What each turn leads to. Nothing is stored, and no clock but the rehearsal's own is read."""
    start = _first_hour()
    life = _Life(invented(conversation), start)
    between = list(life.until(start))
    for turn in conversation.turns:
        then = life.now + timedelta(minutes=turn.after_min)
        between += list(life.until(then))
        effects, reading = Effects(then), None
        if turn.say is not None:
            reading, effects = life.hear(turn.say)
        yield Heard(turn.say, life.now, reading, effects, tuple(between), life.dossier)
        between = []


def hear(dossier: Dossier, text: str, now: datetime) -> tuple[Reading, Effects]:
    """Read one text as this client's, and decide what follows."""
    context: Context = context_of(dossier, now)
    reading = read(text, context)
    return reading, on_text(dossier, reading, context, now)
