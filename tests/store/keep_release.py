"""Keeps a small database of this version under tests/store/releases, for the tests of upgrades.

    python tests/store/keep_release.py 0_1_0

Run it once for a release, at its commit, and commit the file. The demo practice is played, a few
of its clients are kept, and what the demo doesn't use gets a made-up row, so that no table is
empty. The one exception is `sealing`: a row there says that all the rest is ciphertext.
"""

import sys
import tempfile
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from released import RELEASES, dump, tables_of, write_release
from sqlalchemy import JSON, Boolean, Column, Date, DateTime, Float, Integer, insert, select
from sqlalchemy.engine import Connection
from sqlmodel import Session
from sqlmodel import select as rows_of

from rungwise.coach.data.erase import erase_client
from rungwise.coach.record.audit import broken_at
from rungwise.demo import load_demo
from rungwise.store import Store
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import Client, Practice, Trainer

NOW = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)
KEPT = ("Carmen Ribalta", "Doris Whinfell", "Joan Pettifer", "Lottie Brackwell")
LEFT_EMPTY = ("sealing",)


def main(name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'release.sqlite3'}")
        migrate(store)
        load_demo(store, NOW)
        with store.write() as session:
            keep_few(session)
        with store.engine.execution_options(writes=True).begin() as connection:
            fill_empty(connection)
        released = dump(store)
        store.close()
    file = RELEASES / f"{name}.json"
    write_release(file, released)
    counted = ", ".join(f"{table} {len(rows)}" for table, rows in released.rows.items())
    print(f"{file}, revision {released.revision}: {counted}.")


def keep_few(session: Session) -> None:
    """Erase the other clients as a lead would: the audit trail holds."""
    everybody = {client.id: client.name for client in session.exec(rows_of(Client)).all()}
    for client_id, name in everybody.items():
        if name not in KEPT:
            lead = session.exec(rows_of(Trainer).where(Trainer.role == "lead")).one()
            erase_client(session, NOW, lead, session.get_one(Client, client_id), name)
    assert broken_at(session, session.exec(rows_of(Practice)).one()) is None


def fill_empty(connection: Connection) -> None:
    """One made-up row for each empty table, every column filled."""
    for table in tables_of(connection):
        if table.name in LEFT_EMPTY or connection.execute(select(table).limit(1)).first():
            continue
        made = {column.name: made_up(connection, column) for column in table.columns}
        connection.execute(insert(table), made)


def made_up(connection: Connection, column: Column[Any]) -> Any:
    for key in column.foreign_keys:
        return connection.execute(select(key.column).limit(1)).scalar_one()
    kinds: dict[type, Any] = {
        Boolean: True,
        Integer: 1,
        Float: 12.5,
        DateTime: NOW,
        Date: date(2026, 11, 25),
        JSON: {"made": "up"},
    }
    for kind, value in kinds.items():
        if isinstance(column.type, kind):
            return value
    return f"made up {column.name}"


if __name__ == "__main__":
    main(sys.argv[1])
