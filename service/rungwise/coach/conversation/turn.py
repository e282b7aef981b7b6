"""One thing being dealt with: the steps so far, and the dossier as it is after them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import (
    Answered,
    Ask,
    Become,
    Decide,
    Effects,
    Moved,
    NoReminder,
    Say,
    Step,
    TakeBack,
    Tell,
)
from rungwise.coach.conversation.evolve import after_step, without_day
from rungwise.coach.record.verdict import verdict
from rungwise.concepts.alert_kinds import ALERTS, RESTING_KINDS
from rungwise.concepts.client_states import State, moved
from rungwise.concepts.questions import PASSING, QUESTIONS
from rungwise.ladder.day import DayReport
from rungwise.ladder.moves import Move
from rungwise.wording.segments import fits_one, to_gsm7
from rungwise.wording.texts import render, word

# What an alert that a move raises says was done.
MOVE_ALERTS = {
    "stuck": "The client stays on this rung.",
    "held_back": (
        "The client stays on this rung: the second opinion has held the next step back for 14 "
        "practised days. Watch a hold, then place them on the next rung, or let them go on here."
    ),
    "gate_reached": "The client stays on this rung until you open the gate.",
    "away": "Prompts stopped.",
}
_SENTENCE = re.compile(r"(?:^|(?<=[.?!] ))[a-zñáéíóú]")


@dataclass(slots=True)
class Turn:
    """Collects steps. `dossier` is kept as it is after them, so that later ones see earlier."""

    dossier: Dossier
    now: datetime
    steps: list[Step] = field(default_factory=list)

    def do(self, step: Step) -> None:
        self.steps.append(step)
        self.dossier = after_step(self.dossier, step, self.now)

    def effects(self) -> Effects:
        return Effects(self.now, tuple(self.steps))

    # --- texts ------------------------------------------------------------------------------------

    def words(self, name: str, **values: object) -> str:
        """A text with the values that every text may need, and these."""
        dossier = self.dossier
        always: Mapping[str, object] = {
            "called": dossier.called,
            "practice": dossier.practice,
            "number": dossier.number,
            "trainer": dossier.trainer or word("your_trainer", dossier.language),
            "crisis": dossier.crisis or dossier.number,
        }
        text = render(name, dossier.language, dossier.wording, **{**always, **values})
        # A value such as "your trainer" may begin a sentence.
        return _SENTENCE.sub(lambda found: found[0].upper(), text)

    def say(self, name: str, kind: str = "answer", **values: object) -> None:
        self.do(Say(name, self.words(name, **values), kind))

    def safety(self, name: str, **values: object) -> None:
        self.say(name, "safety", **values)

    def say_composed(self, understood: str, follows: str, shorter: str) -> None:
        """What was understood and one sentence more; the shorter one where only that fits."""
        body = f"{understood} {follows}".strip()
        if not fits_one(body):
            body = f"{understood} {shorter}".strip()
        self.do(Say("result", to_gsm7(body)))

    # --- alerts -----------------------------------------------------------------------------------

    def tell(self, kind: str, did: str, urgency: str | None = None, *, anew: bool = False) -> None:
        self.do(Tell(kind, did, urgency, anew))

    def line(self, did: str, kind: str = "unread") -> None:
        """Put these words with the gravest open incident, as a note; without one, open `kind`."""
        opened = [each.kind for each in self.dossier.alerts]
        grave = next((one for one in ALERTS if one in opened and one in RESTING_KINDS), None)
        help_open = "help" if "help" in opened else None
        self.tell(grave or help_open or kind, did, "note")

    # --- questions and states ---------------------------------------------------------------------

    def ask(self, kind: str, day: date, since: date | None = None) -> None:
        self.do(Ask(kind, day, since))

    def answered(self, kind: str, answer: str | None = None) -> None:
        if self.dossier.asked(kind) is not None:
            self.do(Answered(kind, answer))

    def close_number_questions(self) -> None:
        for question in self.dossier.questions:
            if question.kind in PASSING:
                self.do(Answered(question.kind))

    def rest(self) -> None:
        """No prompts, no reminders, from now on until a trainer acts."""
        dossier = self.dossier
        if dossier.state == State.STOPPED:
            # A later START must not undo the rest.
            if dossier.stopped_from != State.INVITED:
                self.do(Become(State.STOPPED, State.RESTING))
        elif dossier.state not in (State.RESTING, State.INVITED):
            # Ending a rest must not begin texts for somebody who was never cleared or agreed.
            self.do(Become(moved(dossier.state, State.RESTING, "client")))
        self.do(TakeBack())

    def hold(self) -> None:
        """What asks for practice is taken back while an answer is awaited."""
        self.do(TakeBack())

    # --- the day ----------------------------------------------------------------------------------

    def report_of(self, day: date, rung_key: str | None) -> DayReport | None:
        """The day's report so far; an empty one on the rung asked for; None without a rung."""
        standing = self.dossier.standing
        if standing is None:
            return None
        stored = self.dossier.reports.get(day)
        if stored is not None:
            return stored
        key = rung_key if rung_key in standing.ladder else None
        return DayReport(day=day, rung_key=key or standing.rung_key)

    def decide(self, report: DayReport) -> Move | None:
        """Decide the day afresh from this report; nobody is reminded of it any more."""
        move = self.decide_only(report)
        if move is not None:
            self.do(NoReminder())
        return move

    def decide_only(self, report: DayReport) -> Move | None:
        """Decide the day afresh from this report, and store both; None without a rung."""
        move = self.would_decide(report)
        if move is not None:
            self.do(Decide(report, move))
        return move

    def would_decide(self, report: DayReport) -> Move | None:
        """The move that this report would lead to; None without a rung."""
        standing = self.dossier.standing
        if standing is None:
            return None
        plan = standing.settings.plan(self.dossier.resting)
        past = without_day(self.dossier.past, report)
        return verdict(standing.ladder, plan, past, report)

    def moved_by_absence(self, day: date, move: Move) -> None:
        """Days away have called for this move: the client is told, and the trainer if it rests."""
        self.do(Moved(day, move))
        if move.kind == "rest":
            self.do(Become(moved(self.dossier.state, State.RESTING, "clock")))
            self.do(TakeBack())
        self.say("away_rest" if move.kind == "rest" else "away_back", "notice")
        for kind in move.alerts:
            self.tell(kind, MOVE_ALERTS.get(kind, "Nothing was moved."))

    def held_for_now(self) -> bool:
        """Whether nothing may be said that could be read as "go on"."""
        return self.dossier.resting or self.dossier.doubt is not None


def again_text(kind: str) -> str:
    return QUESTIONS[kind].again


def with_holds_unconfirmed(report: DayReport) -> DayReport:
    return replace(report, unconfirmed=True)
