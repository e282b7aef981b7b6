"""The commands of deploy/: what they do on machines that lack something, twice, and cut short.

A stand-in for Python (a shell script on a PATH of its own) makes the machine lack what it should;
the last tests install with the real one.
"""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Making an environment takes minutes where ten other things run.
PATIENCE_S = 600
TOOLS = ("sh", "awk", "cat", "cksum", "cp", "df", "dirname", "env", "grep", "id", "mkdir")
TOOLS += ("mktemp", "rm", "sed", "tail", "tr")

# Notes its calls, answers like Python $SAYS, and "installs" by copying itself.
STAND_IN = """#!/bin/sh
printf '%s\\n' "$*" >>"$CALLS"
case "$1 ${2:-}" in
    '-m venv')
        mkdir -p "$3/bin"
        cp "$0" "$3/bin/python"
        printf '#!/bin/sh\\necho "rungwise $*"\\n' >"$3/bin/rungwise"
        printf '#!/bin/sh\\necho "pytest $*"\\n' >"$3/bin/pytest"
        "$SET_MODE" +x "$3/bin/rungwise" ;;
    '-m pip')
        [ -z "${CUT_SHORT:-}" ] || kill -KILL "$PPID"
        [ -z "${PIP_FAILS:-}" ] || { echo "$PIP_FAILS"; exit 1; } ;;
    '-m pytest') shift 2; echo "pytest $*" ;;
    *ensurepip*) echo "$SAYS" ;;
    *) echo "${SAYS#* }.1 (a stand-in)" ;;
esac
"""


@dataclass
class Machine:
    """A checkout beside a PATH that holds only a few tools and the Pythons a test puts there."""

    folder: Path
    says: str = "good 3.12"
    more: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.checkout = self.folder / "checkout"
        self.tools = self.folder / "tools"
        self.calls = self.folder / "calls"
        shutil.copytree(ROOT / "deploy", self.checkout / "deploy")
        shutil.copy(ROOT / "pyproject.toml", self.checkout)
        self.tools.mkdir()
        for tool in TOOLS:
            (self.tools / tool).symlink_to(str(shutil.which(tool)))

    def put(self, name: str, script: str = STAND_IN) -> None:
        (self.tools / name).write_text(script)
        (self.tools / name).chmod(0o755)

    def run(
        self, script: str = "try", *arguments: str, **more: str
    ) -> subprocess.CompletedProcess[str]:
        settings = {
            "PATH": str(self.tools),
            "CALLS": str(self.calls),
            "SAYS": self.says,
            "SET_MODE": str(shutil.which("chmod")),
        }
        return subprocess.run(
            ["sh", str(self.checkout / "deploy" / script), *arguments],
            env=settings | self.more | more,
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )

    def started(self, *arguments: str) -> str:
        """What the stand-in for `rungwise` prints when it is reached."""
        return (
            f"rungwise try --file {self.checkout}/.data/demo.sqlite3 {' '.join(arguments)}".strip()
        )

    def called(self) -> str:
        said = self.calls.read_text() if self.calls.exists() else ""
        self.calls.unlink(missing_ok=True)
        return said

    @property
    def environment(self) -> Path:
        return self.checkout / ".venv"


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


@pytest.fixture
def ready(machine: Machine) -> Machine:
    """A machine on which the first run went well."""
    machine.put("python3")
    assert machine.run().returncode == 0
    machine.called()
    return machine


# --- which Python ---------------------------------------------------------------------------------


def test_the_newest_python_is_taken(machine: Machine) -> None:
    machine.put("python3", STAND_IN.replace("$SAYS", "good 3.11"))
    machine.put("python3.13", STAND_IN.replace("$SAYS", "good 3.13"))
    done = machine.run("try", "--port", "8123")
    assert "with Python 3.13." in done.stdout
    assert done.stdout.splitlines()[-1] == machine.started("--port", "8123")
    assert done.returncode == 0


def test_an_old_or_bare_python_is_passed_over_for_a_good_one(machine: Machine) -> None:
    machine.put("python3.12", STAND_IN.replace("$SAYS", "bare 3.12"))
    machine.put("python3.11", STAND_IN.replace("$SAYS", "good 3.11"))
    machine.put("python3", STAND_IN.replace("$SAYS", "old 3.9"))
    assert "with Python 3.11." in machine.run().stdout


def test_the_named_python_wins(machine: Machine) -> None:
    machine.put("python3.13", STAND_IN.replace("$SAYS", "good 3.13"))
    machine.put("mine", STAND_IN.replace("$SAYS", "good 3.11"))
    assert "with Python 3.11." in machine.run(PYTHON=str(machine.tools / "mine")).stdout


def test_an_old_python_is_named_with_what_to_do(machine: Machine) -> None:
    machine.says = "old 3.9"
    machine.put("python3")
    done = machine.run()
    assert done.returncode == 1
    assert "needs Python 3.11 or newer, but python3 is Python 3.9." in done.stderr
    assert "Install a newer one" in done.stderr
    assert not machine.environment.exists()


def test_a_python_without_venv_is_told_which_package_has_it(machine: Machine) -> None:
    machine.says = "bare 3.11"
    machine.put("python3")
    done = machine.run()
    assert done.returncode == 1
    assert "apt-get install python3.11-venv" in done.stderr


def test_no_python_at_all(machine: Machine) -> None:
    done = machine.run()
    assert done.returncode == 1
    assert "found none" in done.stderr
    assert "apt-get install python3 python3-venv" in done.stderr


def test_a_python_named_wrongly(machine: Machine) -> None:
    machine.put("python3")
    done = machine.run(PYTHON="/nowhere/python")
    assert done.returncode == 1
    assert "PYTHON names /nowhere/python" in done.stderr


def test_the_real_python_is_judged_rightly(tmp_path: Path) -> None:
    """The judging code itself, on this Python: good as it is, bare without ensurepip, or old."""
    judge = f'. {ROOT}/deploy/environment.sh; oldest=${{2:-$oldest}}; judge_python "$1"'
    hide = tmp_path / "ensurepip.py"

    def verdict(*arguments: str, **more: str) -> str:
        done = subprocess.run(
            ["sh", "-c", judge, "sh", sys.executable, *arguments],
            env=os.environ | more,
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout.strip()

    here = f"{sys.version_info[0]}.{sys.version_info[1]}"
    assert verdict() == f"good {here}"
    assert verdict("4.0") == f"old {here}"
    hide.write_text("raise ImportError")
    assert verdict(PYTHONPATH=str(tmp_path)) == f"bare {here}"


# --- twice, and cut short -------------------------------------------------------------------------


def test_the_second_run_installs_nothing(ready: Machine) -> None:
    done = ready.run("try", "--help")
    assert done.stdout == ready.started("--help") + "\n"
    assert " pip " not in ready.called()


def test_a_run_killed_while_installing_starts_afresh(ready: Machine) -> None:
    (ready.checkout / "deploy/requirements.txt").write_text("# another lock\n")
    assert ready.run(CUT_SHORT="yes").returncode == -9
    (ready.environment / "half-written").touch()
    done = ready.run()
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1] == ready.started()
    assert not (ready.environment / "half-written").exists()
    assert " venv " in ready.called()
    assert ready.run().stdout == ready.started() + "\n"


def test_a_first_run_killed_while_installing_starts_afresh(machine: Machine) -> None:
    machine.put("python3")
    assert machine.run(CUT_SHORT="yes").returncode == -9
    assert machine.run().stdout.splitlines()[-1] == machine.started()


def test_a_changed_lock_is_installed_on_top(ready: Machine) -> None:
    (ready.environment / "kept").touch()
    (ready.checkout / "deploy/requirements.txt").write_text("# another lock\n")
    assert "up to date" in ready.run().stdout
    assert (ready.environment / "kept").exists()
    called = ready.called()
    assert " venv " not in called
    assert "--require-hashes -r" in called
    assert ready.run().stdout == ready.started() + "\n"


def test_a_moved_checkout_or_changed_python_starts_afresh(ready: Machine) -> None:
    ready.checkout = ready.checkout.rename(ready.folder / "moved")
    assert "Preparing" in ready.run().stdout
    assert "Preparing" not in ready.run().stdout
    ready.says = "good 3.13"
    assert "Preparing" in ready.run().stdout


def test_an_environment_that_lost_its_python_starts_afresh(ready: Machine) -> None:
    (ready.environment / "bin/python").unlink()
    assert "Preparing" in ready.run().stdout


def test_an_environment_made_by_hand_is_kept(ready: Machine) -> None:
    (ready.environment / "ready").unlink()
    (ready.environment / "mine").touch()
    assert "up to date" in ready.run().stdout
    assert (ready.environment / "mine").exists()
    assert ready.run().stdout == ready.started() + "\n"


def test_two_runs_at_once_do_not_undo_each_other(ready: Machine) -> None:
    (ready.environment / "unfinished").write_text(f"{os.getpid()}\n")
    done = ready.run()
    assert done.returncode == 1
    assert f"Another run (process {os.getpid()})" in done.stderr
    assert ready.called() == ""


# --- what goes wrong while installing -------------------------------------------------------------

FAILURES = [
    ("ERROR: [Errno 28] No space left on device", "The disk is full."),
    ("THESE PACKAGES DO NOT MATCH THE HASHES FROM THE FILE", "not the one that was locked"),
    ("WARNING: Retrying after NewConnectionError\nNo matching distribution", "no network"),
    ("ERROR: No matching distribution found for numpy", "no ready-made package"),
    ("ERROR: [Errno 13] Permission denied: 'x'", "belong to another user"),
    ("Segmentation fault", "pip says why above"),
]


@pytest.mark.parametrize(("pip_says", "told"), FAILURES)
def test_a_failed_install_is_explained_and_can_be_repeated(
    machine: Machine, pip_says: str, told: str
) -> None:
    machine.put("python3")
    done = machine.run(PIP_FAILS=pip_says)
    assert done.returncode == 1
    assert told in done.stderr
    assert pip_says in done.stderr
    assert "run again:" in done.stderr
    assert "rungwise try" not in done.stdout
    assert machine.run().stdout.splitlines()[-1] == machine.started()


def test_a_nearly_full_disk_is_said_before_anything_is_made(machine: Machine) -> None:
    machine.put("python3")
    (machine.tools / "df").unlink()
    machine.put("df", "#!/bin/sh\necho head; echo disk 9 9 20480 1% /\n")
    done = machine.run()
    assert done.returncode == 1
    assert "needs about 400 MB and 20 MB are free" in done.stderr
    assert not machine.environment.exists()


def test_a_real_install_without_network_says_so(tmp_path: Path) -> None:
    machine = Machine(tmp_path)
    closed = "http://127.0.0.1:9/"
    done = machine.run(
        PYTHON=sys.executable,
        PATH=os.environ["PATH"],
        PIP_CONFIG_FILE=os.devnull,
        PIP_INDEX_URL=closed,
        PIP_RETRIES="1",
        PIP_NO_CACHE_DIR="1",
    )
    assert done.returncode == 1
    assert "no network, or the proxy or package index" in done.stderr
    assert machine.environment.is_dir()


# --- sh deploy/test -------------------------------------------------------------------------------


@pytest.fixture
def without_chromium(machine: Machine) -> Machine:
    machine.put("python3")
    script = machine.checkout / "deploy/test"
    script.write_text(script.read_text().replace("/usr/bin/chromium ", "/nowhere/chromium "))
    machine.put("apt-get", '#!/bin/sh\necho "apt-get $*" >>"$CALLS"\n')
    return machine


def answering_id(machine: Machine, user: int) -> None:
    (machine.tools / "id").unlink()
    machine.put("id", f"#!/bin/sh\necho {user}\n")


def test_root_gets_what_the_tests_need_installed(without_chromium: Machine) -> None:
    answering_id(without_chromium, 0)
    done = without_chromium.run("test", "-k", "one")
    assert "Installing from Debian: chromium\n" in done.stdout
    assert done.stdout.splitlines()[-1].startswith("pytest -n 3")
    assert done.stdout.splitlines()[-1].endswith(" -k one")
    assert "apt-get install -y --no-install-recommends chromium\n" in without_chromium.called()


def test_whoever_lacks_the_right_is_told_what_to_ask_for(without_chromium: Machine) -> None:
    answering_id(without_chromium, 1000)
    done = without_chromium.run("test")
    assert done.returncode == 1
    assert "you lack the right to install them: chromium\n" in done.stderr
    assert "As root:  apt-get install chromium\n" in done.stderr
    assert without_chromium.called() == ""


def test_a_failing_debian_install_is_told(without_chromium: Machine) -> None:
    answering_id(without_chromium, 0)
    without_chromium.put("apt-get", "#!/bin/sh\necho 'Temporary failure'; exit 100\n")
    done = without_chromium.run("test")
    assert done.returncode == 1
    assert "Temporary failure" in done.stderr
    assert "Without these packages the tests cannot run: chromium" in done.stderr


def test_a_system_without_apt_is_told(without_chromium: Machine) -> None:
    (without_chromium.tools / "apt-get").unlink()
    done = without_chromium.run("test")
    assert done.returncode == 1
    assert "no apt-get" in done.stderr
