"""Backups of a SQLite database, taken while it is written to, and put back."""

import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from rungwise.cli import main
from rungwise.store import Store
from rungwise.store.moving.backup import _copy
from rungwise.store.moving.migrate import migrate
from rungwise.store.tables import LastTick, Practice

NOW = datetime(2026, 3, 2, tzinfo=UTC)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "here.sqlite3"
    monkeypatch.setenv("RUNGWISE_DATABASE_URL", f"sqlite:///{file}")
    store = Store(f"sqlite:///{file}")
    migrate(store)
    store.close()
    add(file, 1)
    return file


def add(file: Path, *numbers: int) -> None:
    store = Store(f"sqlite:///{file}")
    for number in numbers:
        with store.write() as session:
            session.add(Practice(name=f"No {number}", phone=f"+1202{number:07}", created_at=NOW))
    store.close()


def names(file: Path) -> list[str]:
    with closing(sqlite3.connect(file)) as opened:
        return [row[0] for row in opened.execute("SELECT name FROM practice ORDER BY id")]


def test_a_backup_is_one_whole_private_file(here: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    assert names(copy) == ["No 1"]
    assert copy.stat().st_mode & 0o077 == 0
    others = {f"here.sqlite3{suffix}" for suffix in ("", "-wal", "-shm")}
    assert {file.name for file in tmp_path.iterdir()} - others == {"copy.sqlite3"}


def test_nothing_is_overwritten(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    copy.write_text("precious")
    assert main(["backup", str(copy)]) == 2
    assert "already" in capsys.readouterr().err
    assert copy.read_text() == "precious"


def test_a_backup_of_a_busy_database_is_one_moment_of_it(here: Path, tmp_path: Path) -> None:
    """While somebody writes, pairs of rows in one transaction: the copy has whole pairs only."""
    store = Store(f"sqlite:///{here}")
    with store.write() as session:
        session.execute(text("CREATE TABLE pair (a INTEGER, filling TEXT)"))
    stopping = threading.Event()

    def write() -> None:
        number = 0
        while not stopping.is_set():
            number += 1
            with store.write() as session:
                for _ in range(2):
                    session.execute(
                        text("INSERT INTO pair VALUES (:a, :f)"), {"a": number, "f": "x" * 4000}
                    )

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(4):
            copy = tmp_path / f"copy-{number}.sqlite3"
            assert main(["backup", str(copy)]) == 0
            with closing(sqlite3.connect(copy)) as opened:
                odd = "SELECT count(*) FROM (SELECT a FROM pair GROUP BY a HAVING count(*) <> 2)"
                assert opened.execute(odd).fetchone()[0] == 0
    finally:
        stopping.set()
        writer.join()
        store.close()


def test_writes_meanwhile_do_not_make_copying_begin_anew(here: Path, tmp_path: Path) -> None:
    store = Store(f"sqlite:///{here}")
    with store.write() as session:
        session.execute(text("CREATE TABLE filling (words TEXT)"))
        many = [{"words": "x" * 4000} for _ in range(4000)]
        session.execute(text("INSERT INTO filling VALUES (:words)"), many)
    seen: list[int] = []

    def shown(done: int, total: int) -> None:
        seen.append(done)
        add(here, 100 + len(seen))

    _copy(here, tmp_path / "copy.sqlite3", shown)
    assert len(seen) > 2
    assert seen == sorted(seen)
    assert names(tmp_path / "copy.sqlite3") == ["No 1"]
    store.close()


def test_restoring_keeps_what_was_there(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    add(here, 2)
    assert main(["restore", str(copy)]) == 0
    assert names(here) == ["No 1"]
    (kept,) = tmp_path.glob("here.sqlite3.before-restore-*")
    assert names(kept) == ["No 1", "No 2"]
    assert str(kept) in capsys.readouterr().out
    add(here, 3)
    assert names(here) == ["No 1", "No 3"]


def test_what_lay_in_the_log_is_kept_too(here: Path, tmp_path: Path) -> None:
    """A service that was killed leaves its last commits in the file beside."""
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    killed = sqlite3.connect(here)
    killed.execute("PRAGMA journal_mode = WAL")
    killed.execute("UPDATE practice SET name = 'Late'")
    killed.commit()
    assert here.with_name("here.sqlite3-wal").stat().st_size
    assert main(["restore", str(copy)]) == 0
    killed.close()
    kept = min(tmp_path.glob("*.before-restore-*"))
    assert names(kept) == ["Late"]
    assert names(here) == ["No 1"]


def test_restoring_where_nothing_is(here: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    here.unlink()
    assert main(["restore", str(copy)]) == 0
    assert names(here) == ["No 1"]


def test_a_damaged_file_changes_nothing(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    octets = bytearray(copy.read_bytes())
    half = len(octets) // 2
    octets[half : half + 8000] = b"\xff" * 8000
    copy.write_bytes(octets)
    for bad, words in ((copy, "cannot be used"), (tmp_path / "none", "There is no file")):
        assert main(["restore", str(bad)]) == 2
        assert words in capsys.readouterr().err
    letter = tmp_path / "letter"
    letter.write_text("Dear practice, " * 1000)
    assert main(["restore", str(letter)]) == 2
    assert "cannot be used" in capsys.readouterr().err
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as opened:
        opened.execute("CREATE TABLE message (id INTEGER)")
    assert main(["restore", str(other)]) == 2
    assert f"{other} cannot be used: it is a database, but not one of this service" in (
        capsys.readouterr().err
    )
    assert names(here) == ["No 1"]
    assert not list(tmp_path.glob("*before-restore*"))
    assert not list(tmp_path.glob(".*"))


def test_the_version_of_a_backup_is_looked_at(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    with closing(sqlite3.connect(copy)) as opened, opened:
        opened.execute("UPDATE alembic_version SET version_num = '9999'")
    assert main(["restore", str(copy)]) == 2
    assert "newer version" in capsys.readouterr().err
    with closing(sqlite3.connect(copy)) as opened, opened:
        opened.execute("UPDATE alembic_version SET version_num = '0001'")
    assert main(["restore", str(copy)]) == 0
    assert "rungwise migrate" in capsys.readouterr().out


def test_not_while_the_service_runs(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.sqlite3"
    assert main(["backup", str(copy)]) == 0
    store = Store(f"sqlite:///{here}")
    with store.write() as session:
        session.add(LastTick(name="due", at=datetime.now(UTC)))
    store.close()
    assert main(["restore", str(copy)]) == 2
    assert "Stop it everywhere" in capsys.readouterr().err
    assert names(here) == ["No 1"]


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_postgresql_has_its_own_programs(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = [command, str(tmp_path / "copy"), "--database", "postgresql://here/there"]
    assert main(given) == 2
    assert "pg_dump" in capsys.readouterr().err
