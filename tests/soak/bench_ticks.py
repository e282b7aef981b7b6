"""What a tick costs: it must follow what is due, not how many clients there are.

    python tests/soak/bench_ticks.py [--store postgres] [--many 1000000] [--minute 100000]
    python tests/soak/bench_ticks.py --only-minute [--many 200000] [--minute 100000]

First: 1,000 prompts due among 10,000 clients and among --many, the rest due tomorrow, in turn, some
rounds of each; the tables are filled by the database itself from one client and his plan. Each then
gets one of 4,999 bodies and a rung of it: more than a process remembers, so that every prompt meets
a body as if for the first time. Then --minute prompts are all due at the same minute: ticks run as
in service until all are queued, with the memory that the process has of its own beside it, and what
it has mapped of the database's file. Last, the way people usually
start: one APScheduler job for each client, with a thread pool that stores and commits one row a
job. Exits 1 when the ratio is over 1.3, a minute's prompts take 60 s or more, or memory grows.
With --only-minute the minute alone.
"""

import argparse
import json
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter, process_time, sleep

from bench_world import database
from sqlalchemy import bindparam, create_engine, event, insert, text
from sqlmodel import Field, Session, SQLModel
from stored_practice import BEGAN, PROFILE, later, lives, store_life, store_practice

from rungwise.clock import HandClock
from rungwise.coach.record.codec import ladder_of
from rungwise.commands.serve import settle
from rungwise.ladder.body import Body, profile_to_json
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Client, Due, Placement, UtcDateTime
from rungwise.ticks.jobs import due_tick

MOST_TIMES = 1.3
WITHIN_S = 60.0
# Python keeps what it once had; more than this between a tenth of the way and the end is growth.
MOST_GROWTH_MB = 20.0
PAST_DAYS = 14
ROUNDS = 5
DUE = 1000
# A prime, so that whichever step the clients are picked by, they go through all of the bodies.
BODIES = 4999
BATCH = 100_000
NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)

AT = bindparam("at", type_=UtcDateTime)
# Everything a client has, once for each number from :first to :last, from the client with id 1.
CLONES = (
    """INSERT INTO client (id, practice_id, trainer_id, name, called, phone, language, time_zone,
         state, state_since, consent_at, unreadable_run, last_reply_at, created_at, version)
       SELECT n.id, practice_id, trainer_id, name, called, '+1' || (3000000000 + n.id), language,
         time_zone, 'active', state_since, consent_at, 0, last_reply_at, created_at, version
       FROM client, numbers n WHERE client.id = 1""",
    """INSERT INTO plan (client_id, version, settings, profile, set_by, set_at)
       SELECT n.id, version, settings, profile, set_by, set_at
       FROM plan, numbers n WHERE plan.client_id = 1""",
    """INSERT INTO placement (client_id, rung_key, plan_version, since, set_at)
       SELECT n.id, rung_key, plan_version, since, set_at
       FROM placement, numbers n WHERE placement.client_id = 1""",
    """INSERT INTO due (kind, subject_id, at, local_date)
       SELECT kind, n.id, at, local_date FROM due, numbers n WHERE due.subject_id = 1""",
)
NUMBERS = {
    True: "WITH RECURSIVE numbers(id) AS (VALUES (:first) UNION ALL SELECT id + 1 FROM numbers "
    "WHERE id < :last) ",
    False: "WITH numbers(id) AS (SELECT generate_series(CAST(:first AS INT), CAST(:last AS INT))) ",
}


def fill(url: str, clients: int) -> Store:
    """So many clients, each practised yesterday and due tomorrow at the same hour."""
    store = Store(url)
    migrate(store)
    shift = (NOW.date() - BEGAN).days - PAST_DAYS
    life = later(lives(1, PAST_DAYS)[0], shift)
    with store.write() as session:
        trainer = store_practice(session)
        client_id = store_life(session, trainer, life, 0)
        assert client_id == 1
        placement = session.get_one(Placement, 1)
        placement.since = NOW.date() - timedelta(days=1)
        client = session.get_one(Client, 1)
        client.state, client.last_reply_at = "active", NOW - timedelta(hours=23)
        tomorrow = NOW + timedelta(days=1)
        session.execute(
            insert(Due),
            [{"kind": "prompt", "subject_id": 1, "at": tomorrow, "local_date": tomorrow.date()}],
        )
    for first in range(2, clients + 1, BATCH):
        last = min(first + BATCH - 1, clients)
        with store.write() as session:
            for clone in CLONES:
                into, _, selected = clone.partition("SELECT")
                # The numbers stand where both databases take them: before the SELECT.
                sql = f"{into}{NUMBERS[store.is_sqlite]}SELECT{selected}"
                session.execute(text(sql), {"first": first, "last": last})
    give_bodies(store)
    with store.engine.connect() as connection:
        connection.execute(text("ANALYZE"))
        connection.commit()
    return store


def give_bodies(store: Store) -> None:
    """Each client one of BODIES bodies, on some rung of it."""
    rows = []
    for number in range(BODIES):
        length_mm, breadth_mm = 220 + number % 60, 80 + number // 60 % 25
        body = Body(length_mm, breadth_mm, hip_width_mm=160 + number // 1500)
        profile = replace(PROFILE, body=body)
        rungs = ladder_of(profile).rungs
        key = rungs[number % len(rungs)].key
        stored = json.dumps(profile_to_json(profile))
        rows.append({"number": number, "profile": stored, "rung_key": key})
    theirs = "FROM bench_body WHERE number = client_id % :bodies"
    with store.write() as session:
        session.execute(
            text("CREATE TABLE bench_body (number INT PRIMARY KEY, profile JSON, rung_key TEXT)")
        )
        session.execute(text("INSERT INTO bench_body VALUES (:number, :profile, :rung_key)"), rows)
        for table, column in (("plan", "profile"), ("placement", "rung_key")):
            session.execute(
                text(f"UPDATE {table} SET {column} = (SELECT bench_body.{column} {theirs})"),
                {"bodies": BODIES},
            )
        session.execute(text("DROP TABLE bench_body"))


def make_due(store: Store, ids: list[int], at: datetime) -> None:
    """Bring these clients' prompts forward."""
    due = Due.__table__
    for first in range(0, len(ids), 500):
        here = (due.c.kind == "prompt") & due.c.subject_id.in_(ids[first : first + 500])
        with store.write() as session:
            session.execute(due.update().where(here).values(at=at, local_date=at.date()))


def queued(store: Store) -> int:
    with store.engine.connect() as connection:
        sql = "SELECT count(*) FROM message WHERE kind = 'prompt' AND state = 'queued'"
        return connection.execute(text(sql)).scalar_one()


def memory_mb(what: str = "RssAnon") -> float:
    """What this process holds now: of its own, or with "RssFile" what it has mapped of files.

    SQLite reads by a memory map of its file; those pages are the system's cache, and no growth.
    """
    status = Path("/proc/self/status").read_text()
    return int(status.partition(f"{what}:")[2].split()[0]) / 1024


def one_round(store: Store, ids: list[int], clock: HandClock) -> tuple[float, float]:
    """Seconds and CPU seconds of the tick that queues these clients' prompts, each once."""
    make_due(store, ids, clock.now())
    before = queued(store)
    begun, worked = perf_counter(), process_time()
    due_tick(store, clock)
    took = perf_counter() - begun, process_time() - worked
    assert queued(store) - before == len(ids)
    return took


def compare(few: Store, many: Store, numbers: dict[str, int]) -> float:
    """The same tick among few and among many clients, in turn; the ratio of the medians."""
    took: dict[str, list[tuple[float, float]]] = {"few": [], "many": []}
    for number in range(ROUNDS + 1):
        clock = HandClock(NOW + timedelta(minutes=number))
        for name, store in (("few", few), ("many", many)):
            # Clients whom no other round took: a client gets one prompt a day.
            first = number * DUE * (numbers[name] // (DUE * (ROUNDS + 2)))
            step = max(numbers[name] // (DUE * (ROUNDS + 2)), 1)
            ids = [first + 2 + place * step for place in range(DUE)]
            one = one_round(store, ids, clock)
            if number:  # the first warms up
                took[name].append(one)
    for name, rounds in took.items():
        wall, cpu = (median(each) for each in zip(*rounds, strict=True))
        print(f"{DUE:,} due among {numbers[name]:>9,}: {wall:5.2f} s, {cpu:5.2f} s of one core")
    wall_of = {name: median(wall for wall, _ in rounds) for name, rounds in took.items()}
    ratio = wall_of["many"] / wall_of["few"]
    each = [m[0] / f[0] for m, f in zip(took["many"], took["few"], strict=True)]
    print(f"  {ratio:.2f} x (rounds {min(each):.2f} to {max(each):.2f})", flush=True)
    return ratio


def one_minute(store: Store, clients: int, due: int) -> tuple[float, float]:
    """Queue the prompts of `due` clients of whom each is due at the same minute, tick by tick."""
    at = NOW + timedelta(hours=1)
    step = clients // due
    ids = [1 + number * step for number in range(due)]
    make_due(store, ids, at)
    with store.engine.connect() as connection:
        sql = "SELECT count(*) FROM due WHERE kind = 'prompt' AND at <= :at"
        really = connection.execute(text(sql).bindparams(AT), {"at": at}).scalar_one()
    clock, done, early_mb, most_mb = HandClock(at), 0, 0.0, 0.0
    begun, worked = perf_counter(), process_time()
    while done < really:
        done += due_tick(store, clock, most_batches=10)
        most_mb = max(most_mb, memory_mb())
        if not early_mb and done >= really // 10:
            early_mb = memory_mb()
    seconds, cpu = perf_counter() - begun, process_time() - worked
    print(
        f"{really:,} due at one minute: all queued in {seconds:.1f} s ({cpu:.1f} s of one core), "
        f"{really / seconds:,.0f} a second; memory {early_mb:.0f} MB after a tenth, at most "
        f"{most_mb:.0f} MB, and {memory_mb('RssFile'):.0f} MB mapped of files",
        flush=True,
    )
    return seconds, most_mb - early_mb


class Queued(SQLModel, table=True):
    """What a job of the usual start stores."""

    __tablename__ = "bench_queued"
    id: int | None = Field(default=None, primary_key=True)
    client_id: int
    body: str
    at: datetime


def usual_start(url: str, jobs: int) -> None:
    """One APScheduler job for each client, in memory, all due at the same second."""
    from apscheduler.schedulers.background import BackgroundScheduler  # noqa: PLC0415

    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:", 1))
    if url.startswith("sqlite"):
        event.listen(engine, "connect", _durable)
    SQLModel.metadata.create_all(engine, tables=[Queued.__table__])
    left, all_done = [jobs], threading.Event()
    lock = threading.Lock()

    def job(client_id: int) -> None:
        with Session(engine) as session:
            body = "Feet side by side, 8.5 cm apart. Hold 20 sec."
            session.add(Queued(client_id=client_id, body=body, at=datetime.now(UTC)))
            session.commit()
        with lock:
            left[0] -= 1
            if not left[0]:
                all_done.set()

    before_mb, begun = memory_mb(), perf_counter()
    scheduler = BackgroundScheduler(timezone="UTC")
    scheduler.start(paused=True)
    start = datetime.now(UTC) + timedelta(seconds=1)
    for client_id in range(jobs):
        scheduler.add_job(
            job, "interval", days=1, start_date=start, args=[client_id], misfire_grace_time=None
        )
    added, grown = perf_counter() - begun, memory_mb() - before_mb
    sleep(max(0.0, (start - datetime.now(UTC)).total_seconds()))
    begun, worked = perf_counter(), process_time()
    scheduler.resume()
    all_done.wait()
    seconds, cpu = perf_counter() - begun, process_time() - worked
    scheduler.shutdown()
    with engine.connect() as connection:
        stored = connection.execute(text("SELECT count(*) FROM bench_queued")).scalar_one()
    assert stored == jobs
    print(
        f"one APScheduler job a client, {jobs:,} due at once: one row each stored in "
        f"{seconds:.1f} s ({cpu:.1f} s of one core), {jobs / seconds:,.0f} a second; {added:.1f} s "
        f"to add them at every start, {grown / jobs * 1000:.1f} MB for each 1,000 clients"
    )
    engine.dispose()


def _durable(connection, _record) -> None:
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--store", choices=("sqlite", "postgres"), default="sqlite")
    parser.add_argument("--few", type=int, default=10_000)
    parser.add_argument("--many", type=int, default=1_000_000)
    parser.add_argument("--minute", type=int, default=100_000)
    parser.add_argument("--only-minute", action="store_true", help="only the many due at once")
    parser.add_argument("--jobs", type=int, default=10_000, help="of the usual start")
    parser.add_argument("--usual", nargs=2, metavar=("URL", "JOBS"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.usual:
        usual_start(given.usual[0], int(given.usual[1]))
        return 0
    if given.only_minute:
        with database(given.store) as url:
            store = fill(url, given.many)
            settle()
            seconds, growth_mb = one_minute(store, given.many, given.minute)
            store.close()
        return int(seconds >= WITHIN_S or growth_mb > MOST_GROWTH_MB)
    numbers = {"few": given.few, "many": given.many}
    with database(given.store) as few_url, database(given.store) as many_url:
        few, many = fill(few_url, given.few), fill(many_url, given.many)
        settle()  # as a service does that has started
        ratio = compare(few, many, numbers)
        seconds, growth_mb = one_minute(many, given.many, given.minute)
        few.close()
        many.close()
        # In a process of its own, for its memory.
        subprocess.run([sys.executable, __file__, "--usual", few_url, str(given.jobs)], check=True)
    wrong = ratio > MOST_TIMES or seconds >= WITHIN_S or growth_mb > MOST_GROWTH_MB
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
