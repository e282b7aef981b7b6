"""Bringing a database under a new key, or under its first."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    Connection,
    Table,
    Text,
    bindparam,
    func,
    select,
    tuple_,
    type_coerce,
    update,
)
from sqlmodel import Session, SQLModel, col

from rungwise.errors import ServiceError
from rungwise.store.database import Store
from rungwise.store.sealing.crypto import (
    Findable,
    Held,
    InClear,
    Key,
    Sealed,
    SealedJSON,
    Unreadable,
    Vault,
    looks_sealed,
    make_numbers_key,
    unwrap,
)
from rungwise.store.sealing.unlocking import Sealing, add_audit_key, vault_from
from rungwise.store.tables import LastTick

BATCH = 500
STILL_RUNNING = timedelta(seconds=60)

Shown = Callable[[int], object]
Columns = Sequence[Column[Any]]


class StillRunning(ServiceError):
    """The service is running on this database. Stop it everywhere, wait a minute, and try again."""


class NoKey(ServiceError):
    """There is no data key. Make one with `rungwise keys make` and set RUNGWISE_DATA_KEYS to it."""


class OldKeyInUse(ServiceError):
    """Some process still seals with an older key. Restart them all with the newest key first in
    RUNGWISE_DATA_KEYS, then run this again. Keep the older key until then.
    """


@dataclass(slots=True)
class Rotation:
    """Brings every sealed value under the first of `keys`.

    With the service running, unless the database was never sealed, its values are not bound to
    their columns yet, or `thorough` is asked for: that also changes the key by which numbers are
    found, adds one for the audit trail, and rewrites the database's files so that nothing older
    stays behind in them.
    """

    store: Store
    keys: Sequence[Key]
    thorough: bool = False
    vault: Vault = field(init=False)
    _was_whole: bool = field(init=False, default=True)

    def prepare(self) -> int:
        """Check that it can be done; how many rows there are to look at."""
        if not self.keys:
            raise NoKey
        with self.store.read() as session:
            row = session.get(Sealing, 1)
        self._was_whole = row is not None and row.whole
        if row is None or not row.whole or not row.bound:
            self.thorough = True
        if self.thorough and is_running(self.store):
            raise StillRunning
        self.vault = self.store.run(self._begin)
        with self.store.engine.connect() as connection:
            return sum(_count(connection, table) for table, _ in sealed_tables())

    def _begin(self, session: Session) -> Vault:
        row = session.get(Sealing, 1, with_for_update=True)
        if row is None:
            numbers_key = make_numbers_key()
            row = Sealing(
                key_ids=[self.keys[0].name], numbers_key=self.keys[0].wrap(numbers_key), whole=False
            )
            add_audit_key(session, row, self.keys)
            session.add(row)
            return vault_from(row, self.keys)
        vault = vault_from(row, self.keys, loose=True)
        if self.keys[0].name not in row.key_ids:
            row.key_ids = [self.keys[0].name, *row.key_ids]
        session.add(row)
        return vault

    def run(self, shown: Shown) -> int:
        """Do it, a batch at a time; it can be stopped and begun again. How many rows changed."""
        if self.thorough:
            self.vault = self.store.run(self._new_numbers_key)
        changed = self._pass(shown)
        # Rows may have come while we were busy; more of them after that are an older process's.
        late = self._pass(_unseen)
        if late and self._pass(_unseen):
            raise OldKeyInUse
        self.store.run(self._finish)
        if self.thorough:
            rewrite_files(self.store)
        return changed + late

    def _pass(self, shown: Shown) -> int:
        return sum(self._table(table, columns, shown) for table, columns in sealed_tables())

    def _table(self, table: Table, columns: Columns, shown: Shown) -> int:
        last, changed = None, 0
        while True:
            step = partial(self._batch, table, columns, last)
            last, looked, here = self.store.run(step)
            changed += here
            shown(looked)
            if looked < BATCH:
                return changed

    def _batch(
        self, table: Table, columns: Columns, last: Any, session: Session
    ) -> tuple[Any, int, int]:
        """The last row's key, how many rows were looked at and how many changed."""
        rows = _rows(session.connection(), table, columns, last)
        changes = []
        for key, stored in rows:
            fresh = [self._fresh(*each) for each in zip(columns, stored, strict=True)]
            if fresh != stored:
                changes.append((*key, *fresh))
        _write(session.connection(), table, columns, changes)
        return (rows[-1][0] if rows else None), len(rows), len(changes)

    def _fresh(self, column: Column[Any], stored: Any) -> Any:
        """What should be stored instead: the same when it is sealed with the first key."""
        if stored is None:
            return None
        kind: Any = column.type
        held = self._held(stored, kind.place)
        if held is None:
            return kind.seal(self.vault, stored)
        if held.fresh:
            return stored
        # What is JSON is sealed as its text.
        findable = isinstance(kind, Findable)
        seal = self.vault.seal_findable if findable else self.vault.seal
        return seal(held.words, kind.place)

    def _held(self, stored: Any, place: bytes) -> Held | None:
        """What a value holds; None when it was never sealed, where that may be."""
        held = self.vault.look(stored, place) if isinstance(stored, str) else None
        if held is None and self._was_whole:
            # Sealing it once more would bury it, and words in clear are none of ours.
            raise Unreadable if isinstance(stored, str) and looks_sealed(stored) else InClear
        return held

    def _new_numbers_key(self, session: Session) -> Vault:
        """All that is found by its keyed hash changes in one transaction, with the key itself."""
        numbers_key = make_numbers_key()
        row = session.get_one(Sealing, 1, with_for_update=True)
        if not row.bound:
            # From here on until the end, both kinds stand side by side.
            row.bound, row.whole = True, False
        row.numbers_key = self.keys[0].wrap(numbers_key)
        add_audit_key(session, row, self.keys)
        session.add(row)
        after = vault_from(row, self.keys, loose=True)
        for table, columns in sealed_tables():
            found = [column for column in columns if isinstance(column.type, Findable)]
            last = None
            while found and (rows := _rows(session.connection(), table, found, last)):
                changes = [
                    (
                        *key,
                        *(self._found_by(after, *each) for each in zip(found, stored, strict=True)),
                    )
                    for key, stored in rows
                ]
                _write(session.connection(), table, found, changes)
                last = rows[-1][0]
        return after

    def _found_by(self, after: Vault, column: Column[Any], stored: str | None) -> str | None:
        kind = column.type
        if stored is None or not isinstance(kind, Findable):
            return None
        held = self._held(stored, kind.place)
        return after.seal_findable(stored if held is None else held.words, kind.place)

    def _finish(self, session: Session) -> None:
        row = session.get_one(Sealing, 1, with_for_update=True)
        numbers_key = unwrap(row.numbers_key, self.keys)
        if numbers_key is None:
            raise Unreadable
        row.numbers_key = self.keys[0].wrap(numbers_key)
        row.audit_keys = [self._rewrapped(wrapped) for wrapped in row.audit_keys]
        row.key_ids = [self.keys[0].name]
        row.whole = True
        session.add(row)

    def _rewrapped(self, wrapped: str) -> str:
        """A key of the audit trail under the first key. Old ones stay: old lines need them."""
        audit_key = unwrap(wrapped, self.keys)
        if audit_key is None:
            raise Unreadable
        return self.keys[0].wrap(audit_key)


def is_running(store: Store) -> bool:
    """Whether some process has ticked within the last minute."""
    with store.read() as session:
        last = session.execute(select(func.max(col(LastTick.at)))).scalar_one()
    return last is not None and datetime.now(UTC) - last < STILL_RUNNING


def sealed_tables() -> Iterator[tuple[Table, list[Column[Any]]]]:
    """Each table with sealed columns, and those columns."""
    for table in SQLModel.metadata.sorted_tables:
        found = [each for each in table.columns if isinstance(each.type, Sealed | SealedJSON)]
        if found:
            yield table, found


def _unseen(_looked: int) -> None:
    """Shows nothing."""


def _count(connection: Connection, table: Table) -> int:
    return connection.execute(select(func.count()).select_from(table)).scalar_one()


def _raw(column: Column[Any]) -> JSON | Text:
    """The type by which a sealed column is read and written as it is stored."""
    return JSON() if isinstance(column.type, SealedJSON) else Text()


def _rows(
    connection: Connection, table: Table, columns: Columns, last: Any
) -> list[tuple[tuple[Any, ...], list[Any]]]:
    """The next rows by primary key, held for us: each one's key, and the columns as stored."""
    key = list(table.primary_key.columns)
    stored = [type_coerce(column, _raw(column)) for column in columns]
    asked = select(*key, *stored).order_by(*key).limit(BATCH).with_for_update()
    if last is not None:
        asked = asked.where(tuple_(*key) > tuple_(*last))
    rows = connection.execute(asked).all()
    return [(tuple(row[: len(key)]), list(row[len(key) :])) for row in rows]


def _write(connection: Connection, table: Table, columns: Columns, changes: list[Any]) -> None:
    """Each change: a row's key, then the columns' new values as they are to be stored."""
    if not changes:
        return
    key = list(table.primary_key.columns)
    same = [column == bindparam(f"key_{column.name}") for column in key]
    values = {each.name: bindparam(f"new_{each.name}", type_=_raw(each)) for each in columns}
    names = [f"key_{each.name}" for each in key] + [f"new_{each.name}" for each in columns]
    statement = update(table).where(*same).values(values)
    connection.execute(statement, [dict(zip(names, change, strict=True)) for change in changes])


def rewrite_files(store: Store) -> None:
    """Leave nothing older behind in the database's files."""
    if store.is_sqlite:
        connection = store.engine.raw_connection()
        try:
            connection.cursor().execute("VACUUM")
            connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()
        return
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as alone:
        alone.exec_driver_sql("VACUUM FULL")
