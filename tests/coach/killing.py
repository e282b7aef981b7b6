"""The loop in a process of its own that kills itself at a step: nothing of it is left but the rows.

A step is a moment where a crash matters: just before and just after a commit, and just before and
just after a carrier takes a text. A child counts them and sends itself SIGKILL at the one it is
told. What carriers took and what was acknowledged stands in a file, as it would stand elsewhere.
"""

import multiprocessing
import os
import signal
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import event
from sqlmodel import Session, select
from waiting import PATIENCE_S

from rungwise.carriers.base import Accepted, Callback, Heard, InboundText, OutboundText, Outcome
from rungwise.clock import HandClock
from rungwise.coach.daily.receive import receive
from rungwise.store import Store
from rungwise.store.tables import Client, Practice
from rungwise.ticks.jobs import due_tick, send_tick

NEVER = 0
STARTER = multiprocessing.get_context("forkserver")
# Only what is installed: before Python 3.13 the starter does not look into this folder.
STARTER.set_forkserver_preload(["rungwise.coach.daily.receive", "rungwise.ticks.jobs", "psycopg"])


@dataclass
class Steps:
    """Counts steps and kills this process at number `kill_at`."""

    kill_at: int
    taken: int = 0

    def step(self, *_: object) -> None:
        self.taken += 1
        if self.taken == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


class Elsewhere:
    """A carrier whose memory outlives the process."""

    name = "wire"

    def __init__(self, file: Path, steps: Steps) -> None:
        self._file = file
        self._steps = steps

    def send(self, text: OutboundText) -> Outcome:
        self._steps.step()
        note(self._file, f"{text.to_phone} {text.body}")
        self._steps.step()
        return Accepted(f"w-{text.id}")

    def hear(self, callback: Callback) -> Heard:
        return Heard()


def note(file: Path, line: str) -> None:
    with file.open("a") as out:
        out.write(line + "\n")


def child(url: str, at: datetime, said: str | None, kill_at: int, file: Path) -> None:
    """Take in `said` unless it was acknowledged before, then act on what is due and send."""
    steps = Steps(kill_at)
    store = Store(url)
    event.listen(store.engine, "commit", steps.step)
    event.listen(Session, "after_commit", steps.step)
    clock = HandClock(at)
    if said is not None and "acknowledged" not in lines(file):
        with store.write() as session:
            client = session.exec(select(Client)).one()
            practice = session.get_one(Practice, client.practice_id)
            inbound = InboundText("in-1", client.phone, practice.phone, said)
            receive(session, at, "wire", inbound)
        note(file, "acknowledged")
    due_tick(store, clock)
    while send_tick(store, {"wire": Elsewhere(file, steps)}, clock):
        pass
    note(file, f"steps {steps.taken}")
    store.close()


def lines(file: Path) -> list[str]:
    return file.read_text().splitlines() if file.exists() else []


def run(url: str, at: datetime, said: str | None, kill_at: int, file: Path) -> bool:
    """Run a child to its end; whether it was killed."""
    process = STARTER.Process(target=child, args=(url, at, said, kill_at, file))
    process.start()
    process.join(PATIENCE_S)
    assert process.exitcode in (0, -signal.SIGKILL), process.exitcode
    return process.exitcode != 0


def taken(file: Path) -> Counter[str]:
    """How many texts each phone got."""
    return Counter(line.split()[0] for line in lines(file) if line.startswith("+"))
