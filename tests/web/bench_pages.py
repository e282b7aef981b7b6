"""Times the pages of the day, and those looked at now and then, with thousands of clients.

    python tests/web/bench_pages.py --clients 5000 --days 365

Fills a SQLite file with clients who practised every other day for that long, then asks for each
page many times, in this process, signed in as the practice lead. Prints the server's time and the
weight of each page; exits 1 when the 95th percentile is over the limit or a page too heavy. What
takes seconds is asked for less often.
"""

import argparse
import random
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles
from time import perf_counter
from typing import Any

from sqlalchemy import insert
from sqlmodel import Session, select
from tqdm import tqdm
from web_world import SignedIn, World, make_world

from rungwise.coach.record.situation import load
from rungwise.commands.serve import settle
from rungwise.store.tables import (
    Alert,
    AlertMessage,
    Client,
    Due,
    Message,
    MoveRow,
    Placement,
    PlanRow,
    Practice,
    Report,
)

LIMIT_MS = 60
# Of pages that are looked at now and then.
LIMIT_SELDOM_MS = 300
SELDOM = ("/visits", "/week", "/month", "/visits/round", "/outcomes", "/practice")
SELDOM_TIMES = 5
HEAVIEST = 150_000
BATCH = 20
EVERY_DAYS = 2
ZONES = ("America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles")


class Filler:
    """Writes clients with their past straight into the tables: the loop itself would take days."""

    def __init__(self, world: World, days: int) -> None:
        self.days = days
        self.now = world.clock.now()
        self.message_id = self.report_id = 100_000
        with world.store.read() as session:
            model = session.get_one(Client, world.clients["ada"])
            situation = load(session, model)
            assert situation is not None
            self.model = model.model_dump(exclude={"id"})
            self.plan = situation.plan_row.model_dump(exclude={"id"})
            self.keys = [rung.key for rung in situation.ladder.rungs]
            self.practice = session.exec(select(Practice)).one()

    def client(self, number: int, rng: random.Random) -> dict[Any, list[dict[str, Any]]]:
        client_id = 1000 + number
        place, since = 0, self.now.date() - timedelta(days=self.days)
        rows: dict[Any, list[dict[str, Any]]] = {
            kind: [] for kind in (Client, PlanRow, Placement, Message, Report, MoveRow, Due)
        }
        zone = ZONES[number % len(ZONES)]
        name = {"name": f"Sample {number:05}", "called": "Sample", "time_zone": zone}
        phone = {"phone": f"+1202{number:07}", "trainer_id": 1 + number % 2}
        rows[Client].append({**self.model, **name, **phone, "id": client_id})
        body = {**self.plan["profile"]["body"], "foot_length_mm": 230 + number % 50}
        profile = {**self.plan["profile"], "body": body}
        rows[PlanRow].append({**self.plan, "client_id": client_id, "profile": profile})
        # Every other client has already answered today.
        first = 2 - number % 2
        for gone in range(first, self.days + 1, EVERY_DAYS):
            day = since + timedelta(days=gone)
            at = datetime(day.year, day.month, day.day, 14, tzinfo=UTC)
            kind = rng.choice(("stay", "stay", "stay", "up", "back"))
            step = {"up": 1, "back": -1}.get(kind, 0)
            to = min(max(place + step, 0), 40)
            self._day(rows, client_id, at, self.keys[place], self.keys[to], kind, rng)
            place = to
        rows[Placement].append(
            {
                "client_id": client_id,
                "rung_key": self.keys[place],
                "plan_version": self.plan["version"],
                "since": day,
                "set_at": self.now,
            }
        )
        due = {"kind": "prompt", "subject_id": client_id, "local_date": self.now.date()}
        rows[Due].append({**due, "at": self.now + timedelta(hours=1)})
        return rows

    def _day(
        self,
        rows: dict[Any, list[dict[str, Any]]],
        client_id: int,
        at: datetime,
        here: str,
        to: str,
        kind: str,
        rng: random.Random,
    ) -> None:
        seconds = rng.choice((20, 20, 20, 14))
        steady = "steady" if seconds == 20 else "wobbly"
        texts = (
            ("out", "prompt", "Feet side by side, 8.5 cm apart. Hold 20 sec.", "delivered"),
            ("in", "reply", f"{seconds} {steady}", "read"),
            ("out", "answer", f"{seconds} s, {steady}: we stay on this one.", "delivered"),
        )
        for place, (direction, what, body, state) in enumerate(texts):
            self.message_id += 1
            once = f"prompt:{client_id}:{at.date().isoformat()}" if what == "prompt" else None
            rows[Message].append(
                {
                    "id": self.message_id,
                    "practice_id": 1,
                    "client_id": client_id,
                    "direction": direction,
                    "kind": what,
                    "body": body,
                    "from_phone": "+12025550100",
                    "to_phone": "+12025550100",
                    "carrier": "handset",
                    "carrier_id": f"bench-{self.message_id}",
                    "once_key": once,
                    "state": state,
                    "local_date": at.date(),
                    "created_at": at + timedelta(minutes=20 * place),
                }
            )
        self.report_id += 1
        report = {"id": self.report_id, "client_id": client_id, "local_date": at.date()}
        told = {
            "day": at.date().isoformat(),
            "rung_key": here,
            "holds": [{"seconds": float(seconds), "side": None}],
            "steadiness": steady,
            "steadiness_by_side": {},
            "skipped": False,
            "fall": "no",
            "pain": "no",
            "dizzy": "no",
            "emergency": False,
        }
        more = {"rung_key": here, "message_ids": [self.message_id - 1], "told": told}
        rows[Report].append({**report, **more, "created_at": at})
        rows[MoveRow].append(
            {
                "client_id": client_id,
                "local_date": at.date(),
                "report_id": self.report_id,
                "kind": kind,
                "from_key": here,
                "to_key": to,
                "rule": "gathering",
                "because": "Steady on 1 day; 2 are needed.",
                "alerts": [],
                "facts": {"target_s": 20, "verdict": steady},
                "rule_version": 1,
                "plan_version": 1,
                "decided_at": at,
            }
        )


def fill(world: World, clients: int, days: int) -> None:
    """Clients with their past, and an open alert for every tenth."""
    filler, rng = Filler(world, days), random.Random(1)
    for first in tqdm(range(0, clients, BATCH), desc="filling", unit_scale=BATCH):
        with world.store.write() as session:
            for number in range(first, min(first + BATCH, clients)):
                for table, rows in filler.client(number, rng).items():
                    session.execute(insert(table), rows)
                if number % 10 == 0:
                    _alert(session, filler, 1000 + number, urgent=number % 50 == 0)
    with world.store.engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")


def _alert(session: Session, filler: Filler, client_id: int, *, urgent: bool) -> None:
    alert = Alert(
        practice_id=1,
        client_id=client_id,
        kind="fall" if urgent else "question",
        urgency="urgent" if urgent else "note",
        system_did="Kept.",
        opened_at=filler.now,
        last_at=filler.now,
        paged_at=filler.now,
    )
    session.add(alert)
    session.flush()
    session.add(AlertMessage(alert_id=alert.id, message_id=filler.message_id - 1))


def measure(browser: SignedIn, addresses: list[str]) -> tuple[float, float, int]:
    """Median and 95th percentile of the server's time in ms, and the heaviest page in bytes."""
    took, heaviest = [], 0
    for address in addresses:
        begun = perf_counter()
        answer = browser.get(address)
        took.append((perf_counter() - begun) * 1000)
        assert answer.status_code == 200, (address, answer.status_code)
        heaviest = max(heaviest, len(answer.content))
    cuts = quantiles(took, n=20)
    return cuts[9], cuts[18], heaviest


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=5000)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--times", type=int, default=100)
    given = parser.parse_args()
    rng, wrong = random.Random(2), False
    with tempfile.TemporaryDirectory() as folder:
        world = make_world(Path(folder))
        fill(world, given.clients, given.days)
        browser = world.signed_in("lena")
        pages = -(-given.clients // 50)
        settle()  # as the server does
        asked = {
            "inbox": ["/"] * given.times,
            "inbox, search": [f"/?q=Sample {rng.randrange(999):05}" for _ in range(given.times)],
            "clients": [f"/clients?page={rng.randint(1, pages)}" for _ in range(given.times)],
            "clients, by need": [
                f"/clients?sort=today&page={rng.randint(1, pages)}" for _ in range(given.times)
            ],
            "clients, due today": ["/clients?today=due"] * given.times,
            "clients, by rung": ["/clients?sort=rung&turned=true"] * given.times,
            "clients, a name": [
                f"/clients?q=Sample {rng.randrange(999):05}" for _ in range(given.times)
            ],
            "one client": [
                f"/clients/{1000 + rng.randrange(given.clients)}" for _ in range(given.times)
            ],
        }
        asked |= {address: [address] * min(given.times, SELDOM_TIMES) for address in SELDOM}
        for name, addresses in asked.items():
            measure(browser, addresses[: 1 if name in SELDOM else 5] * 2)
            median, p95, heaviest = measure(browser, addresses)
            print(f"{name:18} median {median:6.1f} ms  p95 {p95:6.1f} ms  {heaviest:7,} bytes")
            limit = LIMIT_SELDOM_MS if name in SELDOM else LIMIT_MS
            wrong |= p95 > limit or heaviest > HEAVIEST
        world.store.close()
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
