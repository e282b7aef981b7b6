"""Storing effects: the one place where what was decided about a client becomes rows."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.conversation.dossier import REPORTS_FROM, Dossier
from rungwise.coach.conversation.effects import (
    Answered,
    Ask,
    AskedAgain,
    Become,
    Begin,
    Decide,
    Effects,
    Missed,
    Moved,
    NoReminder,
    Say,
    SetDue,
    SetPlan,
    ShowPicture,
    Step,
    TakeBack,
    Tell,
    Unread,
)
from rungwise.coach.conversation.evolve import after_step
from rungwise.coach.daily.client_state import no_practice
from rungwise.coach.daily.schedule import schedule_next
from rungwise.coach.daily.welcome import welcome
from rungwise.coach.outbox.texts import (
    Text,
    cancel_all,
    cancel_prompts,
    once_key,
    queue_answer,
    queue_prompt,
    queue_to_client,
)
from rungwise.coach.record import questions
from rungwise.coach.record.moves import store_decision, store_move
from rungwise.coach.record.picture_link import keep_link
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation, load
from rungwise.concepts.client_states import State
from rungwise.concepts.questions import PASSING
from rungwise.concepts.text_kinds import TEXT_KINDS
from rungwise.store.due import clear_due, set_due
from rungwise.store.salvage import salvage_one
from rungwise.store.tables import Client, Message, Placement, Practice


def apply(
    session: Session,
    now: datetime,
    client: Client,
    dossier: Dossier,
    effects: Effects,
    message: Message | None = None,
) -> None:
    """Store every step, in order, in the session's transaction. `message` is what set them off.

    `dossier` is what they were decided on: what it knows is not asked of the database again.
    """
    stored = _Stored(session, now, client, dossier, message)
    for step in effects.steps:
        stored.step(step)
        stored.dossier = after_step(stored.dossier, step, now)


class _Stored:
    """One client's effects on their way into the database, and the dossier as it is after them."""

    def __init__(
        self,
        session: Session,
        now: datetime,
        client: Client,
        dossier: Dossier,
        message: Message | None,
    ) -> None:
        self.session, self.now, self.client, self.message = session, now, client, message
        self.practice = salvage_one(session, Practice, client.practice_id).row
        self.dossier = dossier

    @property
    def situation(self) -> Situation:
        """Loaded when a step needs it: few do."""
        situation = load(self.session, self.client)
        if situation is None:
            raise LookupError(f"client {self.client.id} has no rung to decide about")
        return situation

    @property
    def placement(self) -> Placement:
        return self.session.get_one(Placement, self.client.id)

    def step(self, step: Step) -> None:
        session, now, client = self.session, self.now, self.client
        match step:
            case Say():
                self._say(step)
            case Missed():
                self._missed(step)
            case ShowPicture(address, rung_key):
                keep_link(session, now, client.id, rung_key, address)
            case Ask():
                self._ask(step)
            case AskedAgain(kind):
                questions.unclear(session, client.id, kind)
            case Answered(kind, answer):
                questions.close(session, now, client.id, kind, self.message, answer)
            case Tell(kind, did, urgency, anew):
                raised = Raised(kind, did, urgency, anew)
                raise_alert(session, now, self.practice, client, raised, self.message)
            case Decide():
                self._decide(step)
            case Moved(day, move):
                store_move(session, now, client, self.placement, day, move)
            case Become(state, underneath):
                self._become(state, underneath)
            case TakeBack(everything):
                self._take_back(everything=everything)
            case SetPlan(settings):
                new_plan(session, now, None, self.situation, settings=settings.to_json())
                schedule_next(session, now, client)
            case Begin():
                welcome(session, now, self.practice, client)
            case SetDue(kind, due) if due is not None:
                set_due(session, kind, client.id, due.at_utc, due.local_date)
            case SetDue(kind, _):
                clear_due(session, kind, client.id)
            case NoReminder():
                clear_due(session, "reminder", client.id)
            case Unread(run):
                client.unreadable_run = run
                session.add(client)

    def _say(self, step: Say) -> None:
        key = once_key(step.kind, self.client.id, step.day) if step.day is not None else None
        text = Text(
            step.kind,
            step.body,
            once_key=key,
            local_date=step.day,
            rung_key=step.rung_key,
            answers_id=self.message.id if self.message is not None else None,
            not_after=step.until,
            name=step.name,
        )
        if step.kind == "prompt":
            queue_prompt(self.session, self.now, self.practice, self.client, text)
        elif TEXT_KINDS[step.kind].unasked:
            queue_to_client(self.session, self.now, self.practice, self.client, text)
        else:
            queue_answer(self.session, self.now, self.practice, self.client, text)

    def _missed(self, step: Missed) -> None:
        key = once_key("prompt", self.client.id, step.day)
        text = Text("prompt", "", once_key=key, local_date=step.day)
        queue_prompt(self.session, self.now, self.practice, self.client, text, step.because)

    def _ask(self, step: Ask) -> None:
        if self.dossier.asked(step.kind) is not None:
            return
        if any(each.kind in PASSING for each in self.dossier.questions):
            questions.pass_over(self.session, self.now, self.client.id)
        questions.ask(self.session, self.now, self.client.id, step.kind, step.day, step.since)

    def _decide(self, step: Decide) -> None:
        day = step.report.day
        known = day >= (self.now - REPORTS_FROM).date() and day not in self.dossier.reports
        told_by = self.message.id if self.message is not None else 0
        store_decision(
            self.session,
            self.now,
            self.client,
            self.placement,
            step.report,
            step.move,
            told_by,
            surely_first=known,
        )

    def _become(self, state: str, underneath: str | None) -> None:
        client = self.client
        began_again = client.state == State.STOPPED and state == State.ACTIVE
        if client.state != state:
            client.state_since = self.now
        client.state, client.stopped_from = state, underneath
        self.session.add(client)
        if began_again:
            schedule_next(self.session, self.now, client)

    def _take_back(self, *, everything: bool) -> None:
        if everything:
            cancel_all(self.session, self.client.id)
        if everything or self.client.state != State.ACTIVE:
            no_practice(self.session, self.client.id)
        else:
            # What is due stays due: it is recorded as missed while an answer is awaited.
            cancel_prompts(self.session, self.client.id)
