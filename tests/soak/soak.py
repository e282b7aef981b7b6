"""Kills the service again and again while an operator that cannot be trusted texts with it.

    python tests/soak/soak.py --store sqlite --kills 160 --clients 2000 --seed 1
    python tests/soak/soak.py --store postgresql --kills 160 --clients 2000 --seed 2

SQLite is served by one process, PostgreSQL by two. Afterwards the operator's ledger is compared
with what is stored; exits 1 at any broken promise, and names each. docs/reliability.md says what
is promised and what was measured. Takes about 2 s a kill, and some minutes to come to rest.
"""

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from soak_run import A_KILL_S, Plan, Soak, Told
from stores import start_postgres

from rungwise.store import Store
from rungwise.store.moving.migrate import migrate


@contextmanager
def database(kind: str, folder: Path) -> Iterator[str]:
    """The address of an empty database of that kind with this version's tables."""
    server = start_postgres(folder / "postgresql") if kind == "postgresql" else None
    url = server.get_uri() if server else f"sqlite:///{folder / 'soak.sqlite3'}"
    try:
        store = Store(url)
        migrate(store)
        store.close()
        yield url
    finally:
        if server is not None:
            server.cleanup()


def show(told: Told, most: int = 40) -> None:
    minutes = told.simulated.total_seconds() / 60
    print(
        f"{told.kills} kills, {told.cuts} times all database connections cut, "
        f"{told.real_s:.0f} s, {minutes:.0f} simulated minutes"
    )
    for name, count in sorted(told.counts.items()):
        print(f"{count:>9,}  {name}")
    for line, count in told.log_lines.most_common(12):
        print(f"{count:>9,}  logged: {line}")
    by_promise = Counter(breach.promise for breach in told.broken)
    for breach in told.broken[:most]:
        print(f"BROKEN  {breach.promise}: {breach.what}")
    print(f"broken promises: {sum(by_promise.values())} {dict(by_promise) or ''}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--store", choices=("sqlite", "postgresql"), default="sqlite")
    length = parser.add_mutually_exclusive_group()
    length.add_argument("--kills", type=int, default=160)
    length.add_argument("--minutes", type=float, help="as many kills as fit into this, about")
    parser.add_argument("--clients", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--days", type=int, default=2, help="simulated days")
    parser.add_argument("--speed", type=float, default=10.0, help="simulated seconds in a real one")
    parser.add_argument("--folder", type=Path, help="keep database and log here")
    parser.add_argument("--json", type=Path, help="write the figures to this file")
    options = parser.parse_args()
    kills = options.kills if options.minutes is None else round(options.minutes * 60 / A_KILL_S)
    plan = Plan(
        options.clients,
        kills,
        options.seed,
        processes=1 if options.store == "sqlite" else 2,
        days=options.days,
        speed=options.speed,
    )
    with tempfile.TemporaryDirectory(prefix="rungwise-soak-", ignore_cleanup_errors=True) as made:
        folder = options.folder or Path(made)
        folder.mkdir(exist_ok=True)
        with database(options.store, folder) as url:
            told = Soak(url, folder, plan).run()
    show(told)
    if options.json:
        options.json.write_text(
            json.dumps(
                {
                    "store": options.store, "seed": options.seed, "kills": told.kills,
                    "cuts": told.cuts, "real_s": round(told.real_s),
                    "simulated_s": round(told.simulated.total_seconds()),
                    "counts": dict(told.counts),
                    "broken": [f"{each.promise}: {each.what}" for each in told.broken],
                },
                indent=1,
            )
        )  # fmt: skip
    return 1 if told.broken or told.kills < kills else 0


if __name__ == "__main__":
    sys.exit(main())
