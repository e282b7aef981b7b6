"""All that a decision about one client may need, as plain values loaded at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from rungwise.coach.record.codec import (
    PlanSettings,
    UsualPain,
    ladder_in,
    profile_in,
    rung_on,
    telling_of,
)
from rungwise.concepts.measures import Lengths
from rungwise.concepts.questions import DOUBTS, QUESTIONS, SAFETY, stale_after
from rungwise.concepts.signs import BEFORE_HURT, TOLD_OF_A_DAY
from rungwise.ladder.body import Body
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import PastDay
from rungwise.ladder.rotation import kept_up
from rungwise.ladder.rungs import Ladder, Rung
from rungwise.ticks.due import DEFAULT_QUIET, Due, Quiet
from rungwise.wording.rung_words import Telling

# A reply this long after its prompt is no longer about it.
ANSWERS_WITHIN = timedelta(hours=36)
# Reports of this long are known; no reply without a question can be about an earlier date.
REPORTS_FROM = timedelta(days=4)


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """A question without an answer. `day` is the local date it is about, or the last of those from
    `since` on; `unclear` how many answers were none; `id` its row's, None before it is stored.
    """

    kind: str
    day: date
    asked_at: datetime
    unclear: int = 0
    id: int | None = None
    since: date | None = None


@dataclass(frozen=True, slots=True)
class OpenAlert:
    """An alert that is not handled yet. `seen`: somebody has opened it."""

    kind: str
    urgency: str
    seen: bool = False


@dataclass(frozen=True, slots=True)
class LastPrompt:
    """The latest text that asked for practice: its date, its rung, and when it went."""

    day: date
    rung_key: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Lately:
    """How many texts came within an hour and a day, how many of the hour were alike; the names of
    our texts that went within the hour.
    """

    in_hour: int = 0
    in_day: int = 0
    alike: int = 0
    said: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the client stands: the plan, the profile that the ladder is built from (as stored
    text), the rung, the local date of the last placing or practice, and the units of the texts.
    """

    settings: PlanSettings
    profile: str
    rung_key: str
    since: date
    lengths: Lengths = "cm"

    @property
    def ladder(self) -> Ladder:
        return ladder_in(self.profile)

    @property
    def body(self) -> Body:
        """The client's measures, without building the ladder."""
        return profile_in(self.profile).body

    def rung_on(self, day: date) -> Rung:
        """What the text of this date asks for."""
        return rung_on(self.settings, self.profile, self.rung_key, day)

    @property
    def kept_up_keys(self) -> frozenset[str]:
        """The rungs that go round at the top; none where they do not."""
        if not self.settings.keeps_up or self.rung_key != self.ladder.rungs[-1].key:
            return frozenset()
        return frozenset(rung.key for rung in kept_up(self.ladder))

    @property
    def telling(self) -> Telling:
        """How a rung is told: as the day's text tells it."""
        return telling_of(self.settings, self.profile, self.lengths)


@dataclass(frozen=True, slots=True)
class Dossier:
    """One client. Instants in UTC, dates the client's. `standing` is None before a first rung.

    `state` and `stopped_from` as in concepts/client_states.py. `past` is every earlier day in
    order, oldest first, as the rule reads it; `reports` those that stand of REPORTS_FROM, by date.
    `questions` are open, latest first. `said` are the names of texts sent on the present local
    date, `our_texts` the bodies sent lately. `may_begin`: nothing stands against the first text.
    `lately` is None where too few texts came to count them. `second_reader`: statistics may doubt
    a text.

    Of the day's texts: `prompted_on` is the last date that had its own, gone or missed;
    `prompted_key` the rung that the last one told; `prompts_unanswered` how many went since the
    client last wrote. `due` holds when the next is due, and a reminder, by "prompt" and
    "reminder". `picture` is the address of a picture that today's text may carry.
    """

    client_id: int
    called: str
    trainer: str
    practice: str
    number: str
    crisis: str | None
    language: str
    zone: str
    state: str
    stopped_from: str | None = None
    standing: Standing | None = None
    past: Sequence[PastDay] = ()
    reports: Mapping[date, DayReport] = field(default_factory=dict)
    questions: tuple[OpenQuestion, ...] = ()
    prompt: LastPrompt | None = None
    alerts: tuple[OpenAlert, ...] = ()
    usual_pain: UsualPain | None = None
    wording: Mapping[str, str] = field(default_factory=dict)
    quiet: Quiet = DEFAULT_QUIET
    clock: int | None = None
    said: frozenset[str] = frozenset()
    our_texts: tuple[str, ...] = ()
    unread_run: int = 0
    may_begin: bool = True
    picture: str = ""
    prompted_on: date | None = None
    prompted_key: str | None = None
    prompts_unanswered: int = 0
    due: Mapping[str, Due] = field(default_factory=dict)
    lately: Lately | None = None
    second_reader: bool = True

    def today(self, now: datetime) -> date:
        """The client's local date."""
        return now.astimezone(ZoneInfo(self.zone)).date()

    @property
    def resting(self) -> bool:
        return self.state == "resting"

    @property
    def doubt(self) -> OpenQuestion | None:
        """The gravest open question that holds practice until it is answered."""
        return self._gravest(tuple(kind for kind in SAFETY if kind in DOUBTS))

    @property
    def safety_question(self) -> OpenQuestion | None:
        """The gravest open question about safety: of several, it alone is asked."""
        return self._gravest(SAFETY)

    def _gravest(self, kinds: Sequence[str]) -> OpenQuestion | None:
        opened = {question.kind: question for question in self.questions}
        return next((opened[kind] for kind in kinds if kind in opened), None)

    def question(self, now: datetime) -> OpenQuestion | None:
        """What an answer is to: the gravest about safety, else the latest that is not stale."""
        safety = self.safety_question
        if safety is not None:
            return safety
        known = (each for each in self.questions if each.kind in QUESTIONS)
        return next((each for each in known if now - each.asked_at < stale_after(each.kind)), None)

    def asked(self, kind: str) -> OpenQuestion | None:
        """The open question of this kind."""
        return next((each for each in self.questions if each.kind == kind), None)

    def alert(self, kind: str) -> OpenAlert | None:
        return next((alert for alert in self.alerts if alert.kind == kind), None)

    def first_alert(self, kinds: Iterable[str]) -> str | None:
        """The first of these kinds of which an alert is open."""
        return next((kind for kind in kinds if self.alert(kind)), None)

    def alert_of(self, question: str) -> str:
        """The kind of alert that an open question belongs to: what was told before it was asked."""
        told = None
        if question == "today_yes_no":
            told = self.first_alert(TOLD_OF_A_DAY)
        elif question == "hurt" and self.resting:
            told = self.first_alert(BEFORE_HURT)
        return told or QUESTIONS[question].alert or "help"

    @property
    def rung(self) -> Rung | None:
        """The rung the client is on; None before a first, or if the ladder has lost it."""
        standing = self.standing
        if standing is None or standing.rung_key not in standing.ladder:
            return None
        return standing.ladder[standing.rung_key]

    def rung_asked(self, now: datetime) -> Rung | None:
        """The rung that a text is about: the one asked for, while it is no harder than theirs."""
        rung, asked = self.rung, self.day_of_reply(now)[1]
        if rung is None or self.standing is None or asked is None:
            return rung
        ladder = self.standing.ladder
        if asked not in ladder:
            return rung
        return ladder[asked] if ladder.index(asked) < ladder.index(rung.key) else rung

    def away_on(self, day: date) -> bool:
        if self.standing is None:
            return False
        return any(first <= day <= last for first, last in self.standing.settings.away)

    def day_of_reply(self, now: datetime) -> tuple[date, str | None]:
        """The local date a reply is about, and the rung asked for on it.

        Today, unless the last prompt is from an earlier date, is recent, and was not reported on
        yet: then the reply is a late one.
        """
        today, prompt = self.today(now), self.prompt
        if prompt is None:
            return today, None
        if prompt.day == today:
            return today, prompt.rung_key
        if now - prompt.at <= ANSWERS_WITHIN and prompt.day not in self.reports:
            return prompt.day, prompt.rung_key
        return today, None
