"""How many replies a second go all the way, beside what one bare INSERT a request costs.

    python tests/soak/bench_inbound.py [--store postgres] [--connections 32] [--rounds 3]

Three things in turn on the same disk and the same kind of database, all durable (SQLite: WAL with
synchronous FULL; PostgreSQL: fsync and synchronous_commit as they come):

  raw      the database's own driver: INSERT, commit, the next
  bare     a FastAPI route that stores one SQLModel row and commits, served by uvicorn
  full     `rungwise serve`: the reply stored, read, decided, report, move and answer stored

The last two get the same client with as many connections. Every client of the practice replies once
and has a past of some weeks. Afterwards every reply must be stored once, read and answered; the
last line has the ratios (medians of the rounds), the last of them by the servers' CPU time: that
one also holds where others use the machine. The ticks rest, so nothing is sent meanwhile;
with --ticks they run, and the answers also leave by the handset.
"""

import argparse
import sqlite3
import sys
from datetime import UTC, datetime
from statistics import median
from time import perf_counter

import bench_world
import psycopg
from bench_world import Took, call, database, fill_practice, free_port, kannel_call, rows, serving

SAID = ("20 steady", "20 sec steady", "14 wobbly", "20 wobbly", "held it 20 seconds, steady", "17")
RAW = (
    "INSERT INTO note (at, from_phone, to_phone, carrier_id, body) VALUES ({0}, {0}, {0}, {0}, {0})"
)


def serve_bare(port: int, url: str) -> None:
    """The bare route's server, as most people write one."""
    import uvicorn  # noqa: PLC0415  # in the child process only
    from fastapi import Depends, FastAPI  # noqa: PLC0415
    from sqlalchemy import event  # noqa: PLC0415
    from sqlmodel import Field, Session, SQLModel, create_engine  # noqa: PLC0415

    class Note(SQLModel, table=True):
        id: int | None = Field(default=None, primary_key=True)
        at: datetime
        from_phone: str
        to_phone: str
        carrier_id: str = Field(unique=True)
        body: str

    class NewNote(SQLModel):
        from_phone: str
        to_phone: str
        carrier_id: str
        body: str

    sqlite = url.startswith("sqlite")
    engine = create_engine(
        url if sqlite else url.replace("postgresql:", "postgresql+psycopg:", 1),
        connect_args={"timeout": 30} if sqlite else {},
        pool_size=40,
    )
    if sqlite:

        @event.listens_for(engine, "connect")
        def prepare(connection: sqlite3.Connection, _record: object) -> None:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")

    SQLModel.metadata.create_all(engine, tables=[Note.__table__])
    app = FastAPI()

    def a_session():
        with Session(engine) as session:
            yield session

    given = Depends(a_session)

    @app.post("/notes")
    def store(new: NewNote, session: Session = given) -> dict[str, int]:
        note = Note(at=datetime.now(UTC), **new.model_dump())
        session.add(note)
        session.commit()
        session.refresh(note)
        return {"id": note.id}

    uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning", access_log=False)


def bare_call(number: int) -> bytes:
    body = (
        f'{{"from_phone": "+1202{number:07}", "to_phone": "{bench_world.PRACTICE_PHONE}", '
        f'"carrier_id": "bare-{number}", "body": "{SAID[number % len(SAID)]}"}}'
    ).encode()
    return (
        "POST /notes HTTP/1.1\r\nHost: bench\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    ).encode() + body


def raw_inserts(url: str, count: int) -> float:
    """Inserts a second, each committed, by the database's own driver."""
    sqlite = url.startswith("sqlite")
    if sqlite:
        connection = sqlite3.connect(url.removeprefix("sqlite:///"))
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
    else:
        connection = psycopg.connect(url)
    statement = RAW.format("?" if sqlite else "%s")
    start = perf_counter()
    for number in range(count):
        values = (datetime.now(UTC).isoformat(), "+1", "+2", f"raw-{start}-{number}", "20 steady")
        connection.execute(statement, values)
        connection.commit()
    took = perf_counter() - start
    connection.close()
    return count / took


def check_full(url: str, expected: int) -> None:
    """Every reply stored once, read, and answered; exits with what is wrong."""
    found = rows(
        url,
        "SELECT count(*), count(DISTINCT carrier_id), sum(CASE WHEN state = 'read' THEN 1 ELSE 0 "
        "END) FROM message WHERE direction = 'in'",
    )[0]
    answered = rows(url, "SELECT count(DISTINCT answers_id) FROM message WHERE direction = 'out'")
    reports = rows(url, "SELECT count(*) FROM report WHERE message_ids::text <> '[]'"
                   if not url.startswith("sqlite") else
                   "SELECT count(*) FROM report WHERE message_ids <> '[]'")  # fmt: skip
    if tuple(found) != (expected,) * 3 or answered[0][0] != expected:
        sys.exit(f"stored, distinct, read: {found}; answered: {answered}; expected {expected}")
    print(
        f"checked: {expected:,} replies stored once, read and answered, {reports[0][0]:,} reports"
    )


def measure(url: str, given: argparse.Namespace) -> None:
    each, rounds = given.replies, given.rounds
    phones = fill_practice(url, each * (rounds + 1), given.days)
    bare_port = free_port()
    bare_command = (__file__, "--serve-bare", str(bare_port), url)
    settings = {"RUNGWISE_TICKS": "1"} if given.ticks else {}
    raws: list[float] = []
    bares: list[Took] = []
    fulls: list[Took] = []
    with (
        serving(bare_command, bare_port, {}) as bare_pid,
        bench_world.service_at(url, **settings) as (port, pid),
    ):
        for number in range(rounds + 1):
            first = number * each
            raw = raw_inserts(url, each)
            bare = call(
                [bare_port],
                [bare_pid],
                [bare_call(i) for i in range(first, first + each)],
                given.connections,
            )
            replies = [
                kannel_call(phones[i], f"full-{i}", SAID[i % len(SAID)])
                for i in range(first, first + each)
            ]
            full = call([port], [pid], replies, given.connections)
            if number == 0:
                continue  # warming up
            raws.append(raw)
            bares.append(bare)
            fulls.append(full)
            print(f"round {number}   raw  {raw:7.0f} a second")
            print(f"          bare {bare}\n          full {full}", flush=True)
    check_full(url, each * (rounds + 1))
    by_bare = [full.per_second / bare.per_second for full, bare in zip(fulls, bares, strict=True)]
    by_raw = [full.per_second / raw for full, raw in zip(fulls, raws, strict=True)]
    # The least of the rounds: whoever else is at work only ever adds to it.
    by_cpu = min(bare.cpu_ms for bare in bares) / min(full.cpu_ms for full in fulls)
    spread = f"{min(by_bare):.2f} to {max(by_bare):.2f}"
    print(
        f"{given.store}, {given.connections} connections: the full path does "
        f"{median(by_bare):.2f} x the bare route ({spread}) and {median(by_raw):.2f} x the raw "
        f"INSERT; by the CPU time of a request it is {by_cpu:.2f} x the bare route"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--store", choices=("sqlite", "postgres"), default="sqlite")
    parser.add_argument("--connections", type=int, default=32)
    parser.add_argument("--replies", type=int, default=1500, help="a round")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--days", type=int, default=30, help="of each client's past")
    parser.add_argument("--ticks", action="store_true", help="let the answers leave meanwhile")
    parser.add_argument("--serve-bare", nargs=2, metavar=("PORT", "URL"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.serve_bare:
        serve_bare(int(given.serve_bare[0]), given.serve_bare[1])
        return
    with database(given.store) as url:
        measure(url, given)


if __name__ == "__main__":
    main()
