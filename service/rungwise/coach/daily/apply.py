"""Storing effects: the one place where what was decided about a client becomes rows."""

from datetime import datetime

from sqlmodel import Session

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.conversation.effects import (
    Answered,
    Ask,
    AskedAgain,
    Become,
    Begin,
    Decide,
    Effects,
    Moved,
    NoReminder,
    Say,
    SetPlan,
    Step,
    TakeBack,
    Tell,
    Unread,
)
from rungwise.coach.daily.client_state import no_practice
from rungwise.coach.daily.prompt import schedule_next
from rungwise.coach.daily.welcome import welcome
from rungwise.coach.outbox.texts import (
    Text,
    cancel_all,
    cancel_prompts,
    queue_answer,
    queue_to_client,
)
from rungwise.coach.record import questions
from rungwise.coach.record.moves import store_decision, store_move
from rungwise.coach.record.plan_versions import new_plan
from rungwise.coach.record.situation import Situation, load
from rungwise.concepts.client_states import State
from rungwise.concepts.text_kinds import TEXT_KINDS
from rungwise.store.due import clear_due
from rungwise.store.salvage import salvage_one
from rungwise.store.tables import Client, Message, Practice


def apply(
    session: Session,
    now: datetime,
    client: Client,
    effects: Effects,
    message: Message | None = None,
) -> None:
    """Store every step, in order, in the session's transaction. `message` is what set them off."""
    stored = _Stored(session, now, client, message)
    for step in effects.steps:
        stored.step(step)


class _Stored:
    """One client's effects on their way into the database."""

    def __init__(
        self, session: Session, now: datetime, client: Client, message: Message | None
    ) -> None:
        self.session, self.now, self.client, self.message = session, now, client, message
        self.practice = salvage_one(session, Practice, client.practice_id).row
        self._situation: Situation | None = None

    @property
    def situation(self) -> Situation:
        """Loaded when a step needs it: most need only the client."""
        if self._situation is None:
            self._situation = load(self.session, self.client)
        if self._situation is None:
            raise LookupError(f"client {self.client.id} has no rung to decide about")
        return self._situation

    def step(self, step: Step) -> None:
        session, now, client = self.session, self.now, self.client
        match step:
            case Say():
                self._say(step)
            case Ask(kind, day, since):
                questions.ask(session, now, client.id, kind, day, since)
            case AskedAgain(kind):
                questions.unclear(session, client.id, kind)
            case Answered(kind, answer):
                questions.close(session, now, client.id, kind, self.message, answer)
            case Tell(kind, did, urgency, anew):
                raised = Raised(kind, did, urgency, anew)
                raise_alert(session, now, self.practice, client, raised, self.message)
            case Decide(report, move):
                told_by = self.message.id if self.message is not None else 0
                store_decision(session, now, self.situation, report, move, told_by)
            case Moved(day, move):
                store_move(session, now, self.situation, day, move)
            case Become(state, underneath):
                self._become(state, underneath)
            case TakeBack(everything):
                self._take_back(everything=everything)
            case SetPlan(settings):
                new_plan(session, now, None, self.situation, settings=settings.to_json())
                schedule_next(session, now, client)
            case Begin():
                welcome(session, now, self.practice, client)
            case NoReminder():
                clear_due(session, "reminder", client.id)
            case Unread(run):
                client.unreadable_run = run
                session.add(client)

    def _say(self, step: Say) -> None:
        answers_id = self.message.id if self.message is not None else None
        text = Text(
            step.kind, step.body, rung_key=step.rung_key, answers_id=answers_id, name=step.name
        )
        if TEXT_KINDS[step.kind].unasked:
            queue_to_client(self.session, self.now, self.practice, self.client, text)
        else:
            queue_answer(self.session, self.now, self.practice, self.client, text)

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
