"""Copies of a SQLite database: made while the service runs, checked, and put back.

PostgreSQL has its own programs for this (`pg_dump`, `pg_restore`); docs/operating.md says how.
"""

import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError

from rungwise.errors import NotFound, ServiceError
from rungwise.store.database import BUSY_TIMEOUT_MS, Store
from rungwise.store.moving.migrate import OlderDatabase, check_current
from rungwise.store.sealing.rotation import StillRunning, is_running

PAGES_AT_ONCE = 1000
# A database's file, and what SQLite keeps beside it.
FILES = ("", "-wal", "-shm")

# Called with how many pages are done, and how many there are.
Shown = Callable[[int, int], object]


class NotSqlite(ServiceError):
    """This command is for SQLite. For PostgreSQL use pg_dump and pg_restore (docs/operating.md)."""


class FileThere(ServiceError):
    """Nothing is overwritten."""

    def __init__(self, file: Path) -> None:
        super().__init__(f"There is a file {file} already. Name another; nothing was written.")


class Damaged(ServiceError):
    """A file is no whole database of ours."""

    def __init__(self, file: Path, found: str) -> None:
        super().__init__(
            f"{file} cannot be used: {found}. Take another backup; nothing was changed."
        )


@dataclass(frozen=True, slots=True)
class Restored:
    """`kept` is where the database that was there before is now; `older`: it must be migrated."""

    kept: Path | None
    older: bool


def sqlite_file(url: str) -> Path:
    """The file of a SQLite database; NotSqlite for any other."""
    address = make_url(url)
    if address.get_backend_name() != "sqlite" or not address.database:
        raise NotSqlite
    return Path(address.database)


def back_up(url: str, file: Path, shown: Shown) -> int:
    """Copy the database to a new file while others use it; how many bytes it has.

    The copy is the database at one instant, checked before it gets its name. NotFound, FileThere
    or Damaged.
    """
    source = _existing(sqlite_file(url))
    if file.exists():
        raise FileThere(file)
    with _copy_beside(source, file, shown) as copy:
        _name(copy, file)
    return file.stat().st_size


def trail_ends(file: Path) -> list[tuple[int, int, str]]:
    """Of each practice in a copy: its id, how many lines its audit trail has, the last hash.

    Nothing in a copy from before trails had an end on record.
    """
    address = f"{file.resolve().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(address, uri=True)) as copy:
        there = "SELECT 1 FROM sqlite_master WHERE name = 'audit_head'"
        if copy.execute(there).fetchone() is None:
            return []
        rows = "SELECT practice_id, count, hash FROM audit_head ORDER BY practice_id"
        return copy.execute(rows).fetchall()


def put_back(url: str, file: Path, now: datetime, shown: Shown) -> Restored:
    """Make `file` the database, checked first; what was there is kept beside it under a new name.

    NotFound, Damaged, NewerDatabase, or StillRunning.
    """
    target = sqlite_file(url)
    _existing(file)
    if target.exists():
        _refuse_running(url)
    with _copy_beside(file, target, shown) as copy:
        older = _is_older(copy, file)
        kept = _set_aside(target, now)
        _name(copy, target)
    return Restored(kept, older)


def _existing(file: Path) -> Path:
    if not file.is_file():
        raise NotFound(f"There is no file {file}. Correct its name.")
    return file


@contextmanager
def _copy_beside(source: Path, beside: Path, shown: Shown) -> Iterator[Path]:
    """A checked copy of `source`, as one file, in the folder of `beside`; gone after unless named.

    Readable by us alone, for it holds people's numbers and words.
    """
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{beside.name}-", dir=beside.parent)
    except OSError as problem:
        raise Damaged(beside, f"it cannot be written there ({problem.strerror})") from None
    os.close(descriptor)
    copy = Path(name)
    try:
        _copy(source, copy, shown)
        yield copy
    except sqlite3.DatabaseError as problem:
        raise Damaged(source, str(problem)) from None
    finally:
        for suffix in FILES:
            Path(name + suffix).unlink(missing_ok=True)


def _copy(source: Path, copy: Path, shown: Shown) -> None:
    address = f"{source.resolve().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=BUSY_TIMEOUT_MS / 1000)) as here,
        closing(sqlite3.connect(copy, isolation_level=None)) as there,
    ):
        # One view of the database from first to last: without it, each write by the service
        # would make the copying begin anew.
        here.isolation_level = None
        here.execute("BEGIN")
        here.execute("SELECT count(*) FROM sqlite_master").fetchone()
        here.backup(
            there,
            pages=PAGES_AT_ONCE,
            progress=lambda _status, left, total: shown(total - left, total),
            sleep=0,
        )
        # One file, to be carried about whole.
        there.execute("PRAGMA journal_mode = DELETE")
        found = there.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if found != "ok":
            raise Damaged(source, f"SQLite finds it damaged ({found})")
        if there.execute("PRAGMA foreign_key_check").fetchone() is not None:
            raise Damaged(source, "rows in it refer to others that are not there")


def _name(copy: Path, file: Path) -> None:
    """Give a finished copy its name, on the disk for good, and never over another file."""
    with copy.open("rb+") as whole:
        os.fsync(whole.fileno())
    try:
        os.link(copy, file)
    except FileExistsError:
        raise FileThere(file) from None
    except OSError:  # a file system without links
        if file.exists():
            raise FileThere(file) from None
        copy.rename(file)
    folder = os.open(file.parent, os.O_RDONLY)
    with suppress(OSError):
        os.fsync(folder)
    os.close(folder)


def _is_older(copy: Path, file: Path) -> bool:
    """Whether the copy of `file` must be migrated; Damaged if it is none of ours, NewerDatabase."""
    with closing(sqlite3.connect(copy)) as opened:
        ours = "SELECT count(*) FROM sqlite_master WHERE name IN ('alembic_version', 'message')"
        if opened.execute(ours).fetchone()[0] != 2:
            raise Damaged(file, "it is a database, but not one of this service")
    store = Store(f"sqlite:///{copy}")
    try:
        check_current(store)
    except OlderDatabase:
        return True
    finally:
        store.close()
        with closing(sqlite3.connect(copy)) as opened:
            opened.execute("PRAGMA journal_mode = DELETE")
    return False


def _refuse_running(url: str) -> None:
    """StillRunning while a service uses the database; one that cannot be read is used by none."""
    store = Store(url)
    try:
        running = is_running(store)
    except (DBAPIError, sqlite3.DatabaseError):
        running = False
    finally:
        store.close()
    if running:
        raise StillRunning


def _set_aside(target: Path, now: datetime) -> Path | None:
    """Rename the database that is there, with what lies beside it; its new name."""
    if not target.exists():
        return None
    kept = target.with_name(f"{target.name}.before-restore-{now:%Y%m%d-%H%M%S}")
    if kept.exists():
        raise FileThere(kept)
    for suffix in reversed(FILES):
        beside = Path(f"{target}{suffix}")
        if beside.exists():
            beside.rename(f"{kept}{suffix}")
    return kept
