"""One inbound text being dealt with: what it said, where its client stands, and how we answer."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from rungwise.coach.alerting.alerts import Raised, raise_alert
from rungwise.coach.outbox.texts import Text, queue_answer
from rungwise.coach.record.situation import Situation
from rungwise.coach.record.wording import wording_of
from rungwise.reply.reading import Context, Reading
from rungwise.store.tables import Client, Message, Practice
from rungwise.wording.texts import render


@dataclass(frozen=True, slots=True)
class Exchange:
    """A text from a known client, inside the transaction that stores all it sets off."""

    session: Session
    now: datetime
    practice: Practice
    client: Client
    message: Message
    reading: Reading
    context: Context

    def answer(self, body: str, kind: str = "answer", rung_key: str | None = None) -> None:
        """Queue a text back to the client; with the rung, if it asks to practise one."""
        text = Text(kind, body, rung_key=rung_key, answers_id=self.message.id)
        queue_answer(self.session, self.now, self.practice, self.client, text)

    @property
    def wording(self) -> Mapping[str, str]:
        """The practice's own texts in the client's language."""
        return wording_of(self.session, self.practice.id, self.client.language)

    def say(self, name: str, kind: str = "answer") -> None:
        """Queue the text of this name, with the values that every text may need."""
        self.answer(
            render(
                name,
                self.client.language,
                self.wording,
                called=self.client.called,
                practice=self.practice.name,
                number=self.practice.emergency_number,
            ),
            kind,
        )

    def alert(self, kind: str, system_did: str, urgency: str | None = None) -> None:
        """Open an alert with this text's words, or add them to the open one."""
        raised = Raised(kind, system_did, urgency)
        raise_alert(self.session, self.now, self.practice, self.client, raised, self.message)


@dataclass(frozen=True, slots=True)
class Reply(Exchange):
    """An exchange with a client who has a rung. `day` and `asked_key`: what the text is about."""

    situation: Situation
    day: date
    asked_key: str | None
