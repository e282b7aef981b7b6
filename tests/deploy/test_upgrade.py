"""deploy/upgrade, with releases and a systemctl that are made for it: what it does, and undoes."""

import hashlib
import os
import subprocess
import tarfile
from dataclasses import dataclass
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "deploy/upgrade"
OLD, NEW = "0.1.0", "0.2.0"

# Notes what it is asked, and fails where $FAILS says so.
SYSTEMCTL = """#!/bin/sh
echo "systemctl $*" >>"$NOTED"
case "$1" in
    list-units) [ -z "$UNITS" ] || printf '%s loaded active running\\n' $UNITS ;;
esac
case " $FAILS " in *" $1-$2 "*) exit 1 ;; esac
exit 0
"""
# The command of an installation: answers as the release that `current` names would.
RUNGWISE = """#!/bin/sh
at=$(readlink "$RUNGWISE_ROOT/current")
echo "rungwise $* ($at)" >>"$NOTED"
[ "$1" != check ] || case " $SILENT " in
    *" $at "*) echo 'wrong  Nothing answers on 127.0.0.1:8780' ;;
    *) echo 'ok     The service answers on 127.0.0.1:8780.' ;;
esac
case " $FAILS " in *" $1 "*) exit 1 ;; esac
"""


@dataclass
class Machine:
    """An installation at OLD and a file with NEW."""

    folder: Path
    file: Path

    @property
    def root(self) -> Path:
        return self.folder / "opt"

    @property
    def current(self) -> str:
        return str((self.root / "current").readlink())

    @property
    def noted(self) -> list[str]:
        file = self.folder / "noted"
        lines = file.read_text().splitlines() if file.exists() else []
        return [line for line in lines if " check " not in line]

    def upgrade(self, file: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
        environ = {
            "PATH": f"{self.folder / 'bin'}:{os.environ['PATH']}",
            "RUNGWISE_ROOT": str(self.root),
            "RUNGWISE_UNITS": str(self.folder / "units"),
            "RUNGWISE_PATIENCE": "1",
            "NOTED": str(self.folder / "noted"),
            **{"UNITS": "", "FAILS": "", "SILENT": ""},
            **more,
        }
        return subprocess.run(
            ["sh", str(SCRIPT), str(file or self.file)],
            env=environ,
            capture_output=True,
            text=True,
            check=False,
        )


def release(folder: Path, version: str, revisions: int, install: str = "exit 0") -> Path:
    made = folder / version
    (made / "deploy/systemd").mkdir(parents=True)
    (made / "deploy/install").write_text(f"{install}\n")
    (made / "deploy/systemd/rungwise.service").write_text(f"# {version}\n")
    (made / "migrations/versions").mkdir(parents=True)
    for number in range(1, revisions + 1):
        (made / f"migrations/versions/{number:04}_step.py").write_text("")
    (made / "pyproject.toml").write_text(f'[project]\nversion = "{version}"\n')
    return made


def packed(folder: Path, made: Path, name: str = f"rungwise-{NEW}.tar.gz") -> Path:
    file = folder / name
    with tarfile.open(file, "w:gz") as tar:
        for each in sorted(made.iterdir()):
            tar.add(each, each.name)
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    (folder / f"{name}.sha256").write_text(f"{digest}  {name}\n")
    return file


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    for name in ("opt", "bin", "units"):
        (tmp_path / name).mkdir()
    for name, text in (("systemctl", SYSTEMCTL), ("rungwise", RUNGWISE)):
        (tmp_path / "bin" / name).write_text(text)
        (tmp_path / "bin" / name).chmod(0o755)
    release(tmp_path / "opt", OLD, 3)
    (tmp_path / "opt/current").symlink_to(OLD)
    return Machine(tmp_path, packed(tmp_path, release(tmp_path / "made", NEW, 5)))


def test_each_further_process_must_answer_on_its_own_port(machine: Machine) -> None:
    done = machine.upgrade(UNITS="rungwise@8781.service")
    assert "rungwise@8781.service does not answer after 1 seconds." in done.stderr
    assert machine.current == OLD
    assert "systemctl stop rungwise rungwise@8781.service" in machine.noted


def test_a_good_release_is_copied_migrated_and_started_in_that_order(machine: Machine) -> None:
    done = machine.upgrade()
    assert (done.returncode, machine.current) == (0, NEW), done.stderr
    assert machine.noted == [
        "systemctl start rungwise-backup",
        "systemctl start rungwise-migrate",
        "systemctl list-units --plain --no-legend --state=active rungwise@*",
        "systemctl restart rungwise",
        "systemctl is-active --quiet rungwise",
        "systemctl daemon-reload",
    ]
    assert (machine.folder / "units/rungwise.service").read_text() == f"# {NEW}\n"
    assert f"Version {NEW} runs" in done.stdout


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda m: (m.folder / f"rungwise-{NEW}.tar.gz.sha256").write_text("0 x\n"), "is not what"),
        (lambda m: m.file.write_bytes(b"no archive"), "is not what"),
        (
            lambda m: packed(m.folder, release(m.folder / "a", "0.3.0", 5)),
            "another version than its name says",
        ),
        (
            lambda m: packed(m.folder, release(m.folder / "b", NEW, 5, install="exit 1")),
            "packages cannot be installed",
        ),
    ],
)
def test_a_release_that_is_not_right_touches_nothing(machine: Machine, spoil, told: str) -> None:
    spoil(machine)
    done = machine.upgrade()
    assert done.returncode == 1
    assert told in done.stderr
    assert (machine.current, machine.noted) == (OLD, [])
    assert not (machine.root / NEW).exists()
    assert not list((machine.folder / "units").iterdir())


def test_without_a_copy_of_the_database_nothing_goes_on(machine: Machine) -> None:
    done = machine.upgrade(FAILS="start-rungwise-backup")
    assert "The database cannot be copied. Nothing was changed" in done.stderr
    assert machine.current == OLD
    assert machine.noted == ["systemctl start rungwise-backup"]


def test_a_migration_that_fails_leaves_the_old_version_running(machine: Machine) -> None:
    done = machine.upgrade(FAILS="start-rungwise-migrate")
    assert done.returncode == 1
    assert "are as they were" in done.stderr
    assert machine.current == OLD
    assert "systemctl restart rungwise" not in machine.noted


@pytest.mark.parametrize(
    "wrong", [{"SILENT": NEW}, {"FAILS": "restart-rungwise"}, {"FAILS": "is-active---quiet"}]
)
def test_a_version_that_does_not_come_up_is_taken_back_by_itself(
    machine: Machine, wrong: dict[str, str]
) -> None:
    done = machine.upgrade(**wrong)
    assert done.returncode == 1
    assert f"Version {OLD} runs again." in done.stderr
    assert machine.current == OLD
    went_back = machine.noted[machine.noted.index("systemctl stop rungwise") :]
    # The newer command takes the tables back to the last step that the older release knows.
    assert went_back[1] == f"rungwise migrate --to 0003 ({NEW})"
    assert went_back[2] == "systemctl start rungwise"


def test_when_the_tables_cannot_go_back_it_says_what_is_left_to_do(machine: Machine) -> None:
    done = machine.upgrade(SILENT=NEW, FAILS="migrate")
    assert done.returncode == 1
    assert "how to restore it. Nothing runs now." in done.stderr
    assert machine.current == NEW


@pytest.mark.parametrize(
    "name", ["rungwise.tar.gz", "rungwise-;x.tar.gz", f"rungwise-{OLD}.tar.gz"]
)
def test_a_file_that_names_no_other_version_is_refused(machine: Machine, name: str) -> None:
    file = machine.folder / name
    file.write_bytes(b"")
    done = machine.upgrade(file)
    assert done.returncode == 1
    assert (machine.current, machine.noted) == (OLD, [])


def test_a_release_that_was_installed_by_hand_is_taken_by_its_version(machine: Machine) -> None:
    command = release(machine.root, NEW, 5) / ".venv/bin/rungwise"
    command.parent.mkdir(parents=True)
    command.write_text("")
    command.chmod(0o755)
    assert "is installed already" in machine.upgrade(Path(NEW)).stdout
    assert machine.current == NEW
    assert "is the current one already" in machine.upgrade(Path(NEW)).stderr
