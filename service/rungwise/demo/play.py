"""The demo's time machine: jumps from one thing due to the next, and lets its people answer.

Everything goes the way it goes for real: ticks queue and send prompts, answers come in through
the handset carrier. Only a demo database can be moved; NotADemo otherwise.
"""

import heapq
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import count
from random import Random
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from rungwise.carriers.base import Carrier, InboundText
from rungwise.clock import AheadClock, HandClock
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.daily.receive import receive
from rungwise.coach.record.situation import load
from rungwise.demo.cast import Act, Part, cast
from rungwise.demo.characters import answer_to, usual_reply
from rungwise.errors import ServiceError
from rungwise.parts import Parts
from rungwise.store import Store
from rungwise.store.due import next_due_at
from rungwise.store.tables import Client, Message, Practice
from rungwise.ticks.jobs import due_tick, send_tick

MOST_STEPS = 100_000
ANSWERS_AFTER = timedelta(minutes=4)


class NotADemo(ServiceError):
    """This database holds no demo practice, so its clock can't be moved."""


@dataclass(order=True, slots=True)
class _Planned:
    """Something that will happen at an instant, unless it is overtaken."""

    at: datetime
    order: int
    happen: Callable[[Session, datetime], None] = field(compare=False)


@dataclass
class Play:
    """Plays from the clock's present to an instant. `today` is the demo's last day of history."""

    store: Store
    carriers: Mapping[str, Carrier]
    clock: HandClock | AheadClock
    today: date
    seed: int = 1
    acts: tuple[Act, ...] = ()
    seen: int = 0
    _planned: list[_Planned] = field(default_factory=list)
    _order: Iterator[int] = field(default_factory=count)

    def to(self, until: datetime, shown: Callable[[datetime], None] | None = None) -> None:
        """Jump from event to event until `until`; `shown` is called at each with its instant."""
        for _ in range(MOST_STEPS):
            at = self._next_at()
            if at is None or at > until:
                break
            self.clock.set(at)
            self._step(self.clock.now())
            if shown is not None:
                shown(self.clock.now())
        self.clock.set(until)
        self._step(self.clock.now())

    def plan(self, at: datetime, happen: Callable[[Session, datetime], None]) -> None:
        heapq.heappush(self._planned, _Planned(at, next(self._order), happen))

    def _next_at(self) -> datetime | None:
        with self.store.read() as session:
            due = next_due_at(session)
        planned = self._planned[0].at if self._planned else None
        known = [at for at in (due, planned) if at is not None]
        return min(known, default=None)

    def _step(self, now: datetime) -> None:
        due_tick(self.store, self.clock)
        self._send()
        while self._planned and self._planned[0].at <= now:
            planned = heapq.heappop(self._planned)
            with self.store.write() as session:
                planned.happen(session, now)
            self._send()

    def _send(self) -> None:
        while send_tick(self.store, self.carriers, self.clock):
            pass
        with self.store.read() as session:
            rows = select(Message).where(
                Message.direction == "out",
                col(Message.id) > self.seen,
                col(Message.client_id).is_not(None),
            )
            texts = session.exec(rows.order_by(col(Message.id))).all()
        for text in texts:
            self.seen = max(self.seen, text.id)
            self._react(text)

    def _react(self, text: Message) -> None:
        with self.store.read() as session:
            client = session.get_one(Client, text.client_id)
        part = cast().parts.get(client.name)
        if part is None or text.state in ("missed", "cancelled"):
            return
        rng = Random(f"{self.seed}:{client.name}:{text.local_date}")  # noqa: S311  # a play, not a secret
        if text.kind == "prompt":
            delay = timedelta(minutes=rng.randint(3, 95))
            self.plan(text.created_at + delay, _reply_to_prompt(self, part, text, rng))
        elif text.kind in ("answer", "safety", "falls"):
            self.plan(
                text.created_at + ANSWERS_AFTER, _answer_question(part, client.id, self.today)
            )


def _reply_to_prompt(
    play: Play, part: Part, prompt: Message, rng: Random
) -> Callable[[Session, datetime], None]:
    def happen(session: Session, now: datetime) -> None:
        client = session.get_one(Client, prompt.client_id)
        if client.last_reply_at is not None and client.last_reply_at > prompt.created_at:
            return
        situation = load(session, client)
        if situation is None or prompt.rung_key not in situation.ladder:
            return
        day = (prompt.local_date - play.today).days if prompt.local_date else 0
        words = part.scripted(day)
        if words is None:
            rung = situation.ladder[prompt.rung_key or ""]
            words = usual_reply(part.voice, part.form, rung, situation.settings.target_s, rng)
        if words != "-":
            say(session, now, client, words)

    return happen


def _leaves_unanswered(part: Part, kind: str, day: int) -> bool:
    """Who fell silent, or does not answer about falls."""
    silent = part.silent_from is not None and day >= part.silent_from
    return kind == "fall_weekly" and (silent or not part.about_falls)


def _answer_question(
    part: Part, client_id: int, today: date
) -> Callable[[Session, datetime], None]:
    def happen(session: Session, now: datetime) -> None:
        client = session.get_one(Client, client_id)
        question = load_many(session, now, [client])[client_id].question(now)
        if question is None or _leaves_unanswered(part, question.kind, (now.date() - today).days):
            return
        words = answer_to(question.kind, part.voice)
        if words is not None:
            say(session, now, client, words)

    return happen


def say(session: Session, now: datetime, client: Client, words: str) -> None:
    practice = session.get_one(Practice, client.practice_id)
    texts = session.exec(select(Message.id).order_by(col(Message.id).desc()).limit(1)).first()
    carrier_id = f"demo-{client.id}-{texts or 0}"
    receive(session, now, "handset", InboundText(carrier_id, client.phone, practice.phone, words))


def forward(
    parts: Parts, seconds: float, shown: Callable[[datetime], None] | None = None
) -> datetime:
    """Move the demo's clock on, with everything that happens in between; gives the new time."""
    if not parts.is_demo or not isinstance(parts.clock, AheadClock):
        raise NotADemo
    with parts.store.read() as session:
        practice = session.exec(select(Practice)).one()
        latest = session.exec(select(Message.id).order_by(col(Message.id).desc()).limit(1)).first()
    today = practice.created_at.astimezone(ZoneInfo(practice.time_zone)).date()
    today += timedelta(days=cast().days)
    play = Play(parts.store, parts.carriers, parts.clock, today, seed=2, seen=latest or 0)
    until = parts.clock.now() + timedelta(seconds=seconds)
    play.to(until, shown)
    return parts.clock.now()
