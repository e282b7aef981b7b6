"""Conversations through the real HTTP path, each held against its rehearsal.

    python tests/conversations/replayed.py [--store postgres] [--misses] [FILE ...]

Every conversation has a client of its own in one practice, on one clock: their texts come in by the
carrier's callback at the minutes that the file says, and the ticks run whenever something is due.
Without files, all of this folder. Exits 1 if a turn differs.
"""

import argparse
import json
import logging
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from functools import cache
from heapq import heapify, heappop, heappush
from pathlib import Path
from typing import Any

sys.path.append(str(Path(__file__).parents[1]))

from fastapi.testclient import TestClient
from score_conversations import conversations, heard
from sqlmodel import Session, SQLModel, col, select
from stores import empty, start_postgres

from rungwise.app import create_app
from rungwise.carriers.handset import Handset
from rungwise.clock import HandClock
from rungwise.coach.accounts.trainers import add_trainer
from rungwise.coach.conversation.dossier import Dossier
from rungwise.coach.conversation.effects import Say
from rungwise.coach.conversation.rehearsal import (
    FIRST_DAY,
    PROMPT_AT,
    ZONE,
    Conversation,
    Heard,
    invented,
    shown_state,
)
from rungwise.coach.conversation.result import VARIANTS
from rungwise.coach.daily.dossiers import load_many
from rungwise.coach.enrolment.clients import NewClient, add_client
from rungwise.ladder.body import profile_from_json
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.due import next_due_at
from rungwise.store.tables import Client, Message, Practice, Trainer
from rungwise.ticks.jobs import due_tick, send_tick
from rungwise.time_zone import local_to_utc
from rungwise.wording.safety import emergency_number
from rungwise.wording.texts import LANGUAGES, template

HERE = Path(__file__).parent
TOKEN = "token-of-the-handset-in-tests"
# After Sunday's question about falls, and before the night.
ADDED = local_to_utc(datetime.combine(FIRST_DAY - timedelta(days=1), time(20, 30)), ZONE)
BEGINS = local_to_utc(datetime.combine(FIRST_DAY, PROMPT_AT), ZONE)
# What goes by the calendar is worded by the plan: that it went counts, and not its words.
BY_THE_DAY = ("prompt", "welcome")


@dataclass(frozen=True, slots=True)
class Difference:
    """Something that HTTP and the rehearsal do not agree on."""

    id: str
    turn: int
    said: str | None
    what: str
    rehearsed: object
    stored: object


@dataclass(slots=True)
class Life:
    """One conversation as it goes on: its client, its rehearsal, and what was looked at already."""

    id: str
    client_id: int
    phone: str
    texts_to: str
    rehearsed: Sequence[Heard]
    turn: int = 0
    last_text: int = 0


@dataclass(slots=True)
class Played:
    """A practice, its clock and its callers."""

    store: Store
    clock: HandClock = field(default_factory=lambda: HandClock(ADDED))
    carriers: Mapping[str, Handset] = field(default_factory=lambda: {"handset": Handset(TOKEN)})

    def tick(self) -> None:
        due_tick(self.store, self.clock)
        while send_tick(self.store, self.carriers, self.clock):
            pass

    def until(self, then: datetime) -> None:
        """Live on to an instant, with ticks whenever something comes due."""
        while self.clock.now() < then:
            with self.store.read() as session:
                due = next_due_at(session)
            soonest = self.clock.now() + timedelta(seconds=1)
            self.clock.set(min(then, max(due or then, soonest)))
            self.tick()


def differences(store: Store, given: Sequence[Mapping[str, Any]]) -> Iterator[Difference]:
    """Play the conversations on an empty database; what differs from their rehearsals."""
    played = Played(store)
    lives = _begin(played, given)
    settings = Settings(database_url=store.url, ticks=False, handset_token=TOKEN)
    app = create_app(parts=Parts(settings, store, played.clock, played.carriers))
    played.tick()
    waiting = [(life.rehearsed[0].at, place) for place, life in enumerate(lives) if life.rehearsed]
    heapify(waiting)
    with TestClient(app) as caller:
        while waiting:
            at, place = heappop(waiting)
            life = lives[place]
            played.until(at)
            said = life.rehearsed[life.turn].said
            if said is not None:
                form = {"from": life.phone, "to": life.texts_to, "text": said}
                answer = caller.post("/in/handset", data=form, headers={"X-Handset-Token": TOKEN})
                assert answer.status_code == 200, answer.text
                played.tick()
            yield from _compared(store, life, at)
            life.turn += 1
            if life.turn < len(life.rehearsed):
                heappush(waiting, (life.rehearsed[life.turn].at, place))


def _begin(played: Played, given: Sequence[Mapping[str, Any]]) -> list[Life]:
    """A practice for every country, and a client for every conversation."""
    with played.store.write() as session:
        trainers = {
            country: _trainer(session, place, country)
            for place, country in enumerate(sorted({_country(one) for one in given}))
        }
        return [
            _life(session, trainers[_country(one)], place, one) for place, one in enumerate(given)
        ]


def _country(given: Mapping[str, Any]) -> str:
    return given.get("country") or "US"


def _trainer(session: Session, place: int, country: str) -> Trainer:
    practice = Practice(
        name="Hillside Balance",
        phone=f"+1202555010{place}",
        country=country,
        emergency_number=emergency_number(country),
        created_at=ADDED,
    )
    session.add(practice)
    session.flush()
    email = f"robin-{country.lower()}@example.org"
    trainer = add_trainer(session, ADDED, practice, "Robin", email, "a long enough password")
    trainer.phone, trainer.page_answered_at = f"+1202555011{place}", ADDED
    return trainer


def _life(session: Session, trainer: Trainer, place: int, given: Mapping[str, Any]) -> Life:
    names = ("language", "sided", "target_s", "usual_pain", "country")
    fields = {name: given[name] for name in names if name in given}
    dossier = invented(Conversation(turns=(), **fields))
    standing = dossier.standing
    assert standing is not None
    new = NewClient(
        name=f"Ada {place}",
        called="Ada",
        phone=f"+1202555{place + 1000:04d}",
        profile=profile_from_json(json.loads(standing.profile)),
        time_zone=ZONE,
        language=dossier.language,
        first_key=standing.rung_key,
        settings=replace(standing.settings, usual_pain=dossier.usual_pain),
        agreed=True,
    )
    client = add_client(session, ADDED, trainer, new)
    practice = session.get_one(Practice, trainer.practice_id)
    return Life(given["id"], client.id, client.phone, practice.phone, heard(given))


def _compared(store: Store, life: Life, now: datetime) -> Iterator[Difference]:
    rehearsed = life.rehearsed[life.turn]
    with store.read() as session:
        rows = select(Message).where(
            Message.client_id == life.client_id,
            Message.direction == "out",
            Message.id > life.last_text,
            col(Message.state) != "missed",
        )
        texts = list(session.exec(rows.order_by(col(Message.id))))
        client = session.get_one(Client, life.client_id)
        dossier = load_many(session, now, [client])[client.id]
    life.last_text = max((text.id for text in texts), default=life.last_text)
    got = {**_facts(dossier, now), "texts": _texts((each.kind, each.body) for each in texts)}
    effects = (*rehearsed.between, rehearsed.effects)
    said = [step for each in effects for step in each.steps if isinstance(step, Say)]
    want = {
        **_facts(rehearsed.dossier, now),
        "texts": _texts((step.kind, step.body) for step in said),
    }
    for what, expected in want.items():
        if expected != got[what]:
            yield Difference(life.id, life.turn, rehearsed.said, what, expected, got[what])


def _texts(texts: Iterator[tuple[str, str]]) -> list[str]:
    """The words that went, in the first of the wordings that are used in turn."""
    found = []
    for kind, body in texts:
        if kind in BY_THE_DAY or not body:
            continue
        for other, first in _in_turn():
            body = body.replace(other, first)  # noqa: PLW2901
        found.append(body)
    return found


@cache
def _in_turn() -> list[tuple[str, str]]:
    """Wordings that take turns by how many days there were: a rehearsal has no day of placing."""
    return [
        (template(other, language), template(names[0], language))
        for names in VARIANTS.values()
        for other in names[1:]
        for language in LANGUAGES
    ]


def _facts(dossier: Dossier, now: datetime) -> dict[str, object]:
    """What a trainer and the next text would find."""
    question = dossier.question(now)
    report = dossier.reports.get(dossier.today(now))
    return {
        "state": shown_state(dossier, now),
        "asked": question.kind if question else None,
        "report": report,
        "rung": dossier.standing.rung_key if dossier.standing else None,
        "alerts": sorted((alert.kind, alert.urgency) for alert in dossier.alerts),
    }


def all_files() -> list[Path]:
    return sorted(HERE.glob("*.jsonl"))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="*", type=Path, metavar="FILE")
    parser.add_argument("--store", choices=("sqlite", "postgres"), default="sqlite")
    parser.add_argument("--misses", action="store_true", help="print what differs")
    options = parser.parse_args()
    logging.disable(logging.CRITICAL)
    # In memory where there is room: nothing here must outlive the machine.
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
    folder = Path(tempfile.mkdtemp(prefix="rungwise-replayed-", dir=memory))
    url = f"sqlite:///{folder / 'replayed.sqlite3'}"
    if options.store == "postgres":
        url = start_postgres(Path(tempfile.mkdtemp(prefix="rungwise-replayed-"))).get_uri()
    store = Store(url)
    SQLModel.metadata.create_all(store.engine)
    failed = 0
    for file in options.files or sorted(HERE.glob("*.jsonl")):
        given = list(conversations(file))
        found = list(differences(store, given))
        empty(store)
        for one in found if options.misses else ():
            print(one)
        turns = sum(len(one["turns"]) for one in given)
        differ = len({(one.id, one.turn) for one in found})
        told = f"{len(given)} conversations, {turns} turns, {differ} turns differ"
        print(f"{file.name} on {options.store}: {told}", flush=True)
        failed += differ
    store.close()
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
