"""Memory and database are one world: storing effects and loading the dossier again gives what
`evolve` gave, whatever is said and whatever time brings.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import update
from sqlmodel import Session, col
from test_invariants import SAYS

from rungwise.coach.conversation.dossier import REPORTS_FROM, Dossier
from rungwise.coach.conversation.evolve import after_word, evolve
from rungwise.coach.conversation.on_due import on_prompt, on_reminder, on_unanswered, waits
from rungwise.coach.conversation.on_text import context_of, on_text
from rungwise.coach.daily.apply import apply
from rungwise.coach.daily.dossiers import load_many
from rungwise.reply import read
from rungwise.store import Store
from rungwise.store.tables import Client, Message
from rungwise.ticks.due import Due

pytestmark = pytest.mark.both_databases

WAITED_H = (0.05, 1, 6, 24, 72, 300)
LIVES = st.lists(st.tuples(st.sampled_from(WAITED_H), st.none() | SAYS), min_size=2, max_size=8)


class InBoth:
    """One client's life, each step of it in memory and in the database."""

    def __init__(self, session: Session, now: datetime, client: Client) -> None:
        self.session, self.now, self.client = session, now, client

    def loaded(self) -> Dossier:
        return load_many(self.session, self.now, [self.client], quoted=True)[self.client.id]

    def say(self, words: str) -> None:
        message = Message(
            practice_id=self.client.practice_id, client_id=self.client.id, direction="in",
            kind="reply", body=words, from_phone=self.client.phone, to_phone="", carrier="handset",
            state="read", created_at=self.now,
        )  # fmt: skip
        self.client.last_reply_at = self.now
        self.session.add_all((message, self.client))
        self.session.flush()
        dossier = after_word(self.loaded())
        context = context_of(dossier, self.now)
        effects = on_text(dossier, read(words, context), context, self.now)
        apply(self.session, self.now, self.client, dossier, effects, message)
        self.same(evolve(dossier, effects), effects)

    def wait(self, hours: float) -> None:
        """Live through what comes due until then."""
        until = self.now + timedelta(hours=hours)
        asked: set[int | None] = set()
        while True:
            dossier = self.loaded()
            coming = sorted(self._coming(dossier, asked), key=lambda each: each[0])
            if not coming or coming[0][0] > until:
                break
            at, kind, what = coming[0]
            self.now = max(self.now, at)
            dossier = self.loaded()
            if isinstance(what, Due):
                effects = (
                    on_prompt(dossier, what, self.now)
                    if kind == "prompt"
                    else on_reminder(dossier, what.local_date, self.now)
                )
            else:
                asked.add(what)
                effects = on_unanswered(dossier, kind, self.now)
            apply(self.session, self.now, self.client, dossier, effects)
            self.same(evolve(dossier, effects), effects)
        self.now = until

    def _coming(
        self, dossier: Dossier, asked: set[int | None]
    ) -> Iterator[tuple[datetime, str, Due | int | None]]:
        for kind, due in dossier.due.items():
            yield due.at_utc, kind, due
        for question in dossier.questions:
            waited = waits(dossier, question)
            if waited is not None and question.id not in asked:
                yield question.asked_at + waited, question.kind, question.id

    def same(self, evolved: Dossier, effects: object) -> None:
        stored = self.loaded()
        assert self.compared(stored) == self.compared(evolved), effects
        # What waits has left before anything else happens.
        queued = (col(Message.state) == "queued", col(Message.direction) == "out")
        self.session.execute(update(Message).where(*queued).values(state="sent"))

    def compared(self, dossier: Dossier) -> Dossier:
        """Without what only the database knows, or only memory still does."""
        since = (self.now - REPORTS_FROM).date()
        return replace(
            dossier,
            past=list(dossier.past),
            reports={day: each for day, each in dossier.reports.items() if day >= since},
            questions=tuple(replace(each, id=None) for each in dossier.questions),
        )


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(life=LIVES)
def test_what_is_loaded_after_storing_is_what_memory_has(world, life) -> None:
    store: Store = world.store
    with store.write() as session:
        both = InBoth(session, world.clock.now(), session.get_one(Client, world.client_id))
        for hours, words in life:
            both.wait(hours)
            if words is not None:
                both.say(words)
        session.rollback()  # the next life begins where this one did
