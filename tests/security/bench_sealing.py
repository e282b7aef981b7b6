"""How much sealing costs: values a second, and the pages that search and sort names themselves.

    python tests/security/bench_sealing.py --clients 5000

Prints milliseconds: the median of several runs, on this machine, with and without keys.
"""

import argparse
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import perf_counter

from sqlmodel import Session, SQLModel, select
from tqdm import tqdm

from rungwise.store import Store
from rungwise.store.queries import inbox, roster
from rungwise.store.queries.banner_counts import Scope
from rungwise.store.sealing.crypto import Key, Vault
from rungwise.store.sealing.unlocking import unlock
from rungwise.store.tables import Alert, AlertMessage, Client, Message, Placement, Practice, Trainer

AT = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)
KEY = Key("a" * 42 + "A")
PLACE = b"message.body"
RUNS = 7


def took_ms(work: Callable[[], object]) -> float:
    times = []
    for _ in range(RUNS):
        begun = perf_counter()
        work()
        times.append((perf_counter() - begun) * 1000)
    return median(times)


def people(session: Session, many: int) -> None:
    session.add(Practice(name="Harbour Balance", phone="+12025550100", created_at=AT))
    session.flush()
    trainer = {"practice_id": 1, "password_hash": "-", "role": "lead", "created_at": AT}
    session.add(Trainer(name="Tess Example", email="t@example.org", **trainer))
    session.flush()
    for number in tqdm(range(1, many + 1), file=sys.stderr, leave=False):
        phone = f"+1202{number:07d}"
        session.add(
            Client(
                practice_id=1,
                trainer_id=1,
                name=f"Person {number * 7919 % many} Example",
                called=f"P{number}",
                phone=phone,
                time_zone="America/New_York",
                state="active",
                state_since=AT,
                created_at=AT,
            )
        )
        session.flush()
        session.add(
            Placement(
                client_id=number, rung_key="firm/parallel", plan_version=1, since=AT, set_at=AT
            )
        )
        if number % 5 == 0:
            _alert(session, number, phone)


def _alert(session: Session, number: int, phone: str) -> None:
    message = Message(
        practice_id=1,
        client_id=number,
        direction="in",
        kind="reply",
        body=f"I fell over by door {number}",
        from_phone=phone,
        to_phone="+12025550100",
        carrier="handset",
        state="read",
        created_at=AT,
    )
    alert = Alert(
        practice_id=1,
        client_id=number,
        kind="fall",
        urgency="urgent",
        system_did="Stopped.",
        opened_at=AT,
        last_at=AT,
    )
    session.add_all((message, alert))
    session.flush()
    session.add(AlertMessage(alert_id=alert.id, message_id=message.id))


def measure(store: Store, many: int) -> dict[str, float]:
    scope = Scope(1, None)
    with store.write() as session:
        begun = perf_counter()
        people(session, many)
        session.flush()
        loaded = (perf_counter() - begun) * 1000

    def page(wanted: roster.Wanted) -> Callable[[], object]:
        def work() -> object:
            with store.read() as session:
                return roster.clients_page(session, scope, AT, wanted, 50)

        return work

    def search() -> object:
        with store.read() as session:
            return inbox.entries(session, scope, inbox.Wanted(words="door 500"), 30)

    def find() -> object:
        with store.read() as session:
            return session.exec(select(Client).where(Client.phone == f"+1202{many:07d}")).one()

    return {
        f"load {many} clients": loaded,
        "clients, first page by name": took_ms(page(roster.Wanted())),
        "clients, by rung": took_ms(page(roster.Wanted(sort="rung"))),
        "clients, search a name": took_ms(page(roster.Wanted(words="person 77"))),
        "alerts, search words": took_ms(search),
        "one client by number": took_ms(find),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=5000)
    many = parser.parse_args().clients
    vault = Vault([KEY], b"n" * 64)
    words = "Left 20 right 14, wobbly today"
    sealed = vault.seal(words, PLACE)
    for name, work in (
        ("seal", lambda: vault.seal(words, PLACE)),
        ("open", lambda: vault.open(sealed, PLACE)),
    ):
        each = took_ms(lambda work=work: [work() for _ in range(10_000)]) / 10
        print(f"{name} one text: {each:.1f} µs")
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("clear", "sealed"):
            store = Store(f"sqlite:///{Path(folder) / kind}.sqlite3")
            SQLModel.metadata.create_all(store.engine)
            if kind == "sealed":
                unlock(store, [KEY])
            found[kind] = measure(store, many)
            store.close()
    print(f"{'':32}{'clear':>10}{'sealed':>10}  ms")
    for name in found["clear"]:
        print(f"{name:32}{found['clear'][name]:10.1f}{found['sealed'][name]:10.1f}")


if __name__ == "__main__":
    main()
