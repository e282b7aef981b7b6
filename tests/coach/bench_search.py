"""How long looking for words in texts and notes takes, with the words sealed and not.

    python tests/coach/bench_search.py --clients 500 --days 365

Fills a SQLite file with clients who were texted, replied and were answered every day, then looks
for common, rare and absent words. Prints milliseconds; exits 1 when the 95th percentile of any is
over the limit.
"""

import argparse
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles
from time import perf_counter
from typing import Any

from sqlalchemy import insert
from sqlmodel import Session, SQLModel
from tqdm import tqdm

from rungwise.coach.record.search import search
from rungwise.store import Store
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.sealing.crypto import Key
from rungwise.store.sealing.unlocking import unlock
from rungwise.store.tables import Client, ClientNote, Message, Practice, Trainer

AT = datetime(2025, 3, 2, 13, 0, tzinfo=UTC)
KEY = Key("a" * 42 + "A")
LIMIT_MS = 300
RUNS = 20
SAID = ("20 steady", "15 wobbly, the left one", "done dear", "a bit tired today but 20 steady")
WANTED = ("steady", "knee swollen", "nothing of the kind")


def people(session: Session, count: int) -> None:
    session.add(Practice(name="Harbour Balance", phone="+12025550100", created_at=AT))
    session.flush()
    trainer = {"practice_id": 1, "password_hash": "-", "role": "lead", "created_at": AT}
    session.add(Trainer(name="Tess Example", email="t@example.org", **trainer))
    session.flush()
    for number in range(1, count + 1):
        client = {"practice_id": 1, "trainer_id": 1, "time_zone": "UTC", "state": "active"}
        named = {"name": f"Person {number}", "called": "P", "phone": f"+1202{number:07d}"}
        session.add(Client(**client, **named, state_since=AT, created_at=AT))
        session.flush()
        session.add(
            ClientNote(client_id=number, trainer_id=1, body="Knee swollen on Monday", at=AT)
        )


def day_of(count: int, day: int) -> list[dict[str, Any]]:
    rows = []
    for client in range(1, count + 1):
        at = AT + timedelta(days=day, seconds=client)
        common = {"practice_id": 1, "client_id": client, "carrier": "handset", "created_at": at}
        phones = {"from_phone": "+12025550100", "to_phone": "+12025550101", "attempts": 1}
        for direction, kind, body in (
            ("out", "prompt", "Feet side by side, hands just above the counter. 20 seconds."),
            ("in", "reply", SAID[(client + day) % len(SAID)]),
            ("out", "answer", "Thank you. Noted: 20 seconds, steady."),
        ):
            state = "read" if direction == "in" else "sent"
            said = {"direction": direction, "kind": kind, "body": body, "state": state}
            rows.append({**common, **phones, **said, "rank": 2})
    return rows


def timed(store: Store, words: str) -> tuple[float, float]:
    """Median and 95th percentile, in milliseconds."""
    times = []
    for _ in range(RUNS):
        begun = perf_counter()
        with store.read() as session:
            search(session, Scope(1, None), words)
        times.append((perf_counter() - begun) * 1000)
    return quantiles(times, n=20)[9], quantiles(times, n=20)[18]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=500)
    parser.add_argument("--days", type=int, default=365)
    asked = parser.parse_args()
    slow = False
    for sealed in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            store = Store(f"sqlite:///{Path(folder) / 'search.sqlite3'}")
            SQLModel.metadata.create_all(store.engine)
            if sealed:
                unlock(store, (KEY,))
            with store.write() as session:
                people(session, asked.clients)
            for day in tqdm(range(asked.days), file=sys.stderr, leave=False):
                with store.write() as session:
                    session.execute(insert(Message), day_of(asked.clients, day))
            for words in WANTED:
                median, p95 = timed(store, words)
                slow = slow or p95 > LIMIT_MS
                kept = "sealed" if sealed else "in clear"
                print(f"{kept:8}  {words:20}  median {median:6.1f} ms  p95 {p95:6.1f} ms")
            store.close()
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
