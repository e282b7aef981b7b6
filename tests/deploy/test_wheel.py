"""The wheel by itself, in a clean environment away from the checkout: it carries all it needs."""

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def run(*command: str | Path, cwd: Path, **more: str) -> str:
    """What a command prints; without our own paths and settings in its environment."""
    ours = ("PYTHON", "PIP_", "RUNGWISE_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env={**kept, **more},
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def pip(*arguments: str | Path, cwd: Path) -> None:
    command = (sys.executable, "-m", "pip", *arguments, "--no-index", "--no-deps")
    run(*command, cwd=cwd, PIP_DISABLE_PIP_VERSION_CHECK="1")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built as `pip wheel` builds it, with the locked build backend."""
    folder = tmp_path_factory.mktemp("wheel")
    pip("wheel", "--no-build-isolation", "--wheel-dir", folder, ROOT, cwd=folder)
    return next(folder.glob("rungwise-*.whl"))


@pytest.fixture(scope="module")
def programs(wheel: Path) -> Path:
    """The folder of programs of an environment that holds the wheel, and sees what it needs.

    What it needs comes from the tests' environment; the checkout's own entry does not come along,
    for a folder named in a .pth file has no .pth files of its own.
    """
    home = wheel.parent / "installed"
    venv.create(home)
    libraries = next((home / "lib").glob("python*")) / "site-packages"
    pip("--python", home / "bin/python", "install", wheel, cwd=wheel.parent)
    (libraries / "needed.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    return home / "bin"


def test_it_holds_one_package_with_the_migrations(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as held:
        names = held.namelist()
    assert {name.partition("/")[0].partition("-")[0] for name in names} == {"rungwise"}
    versions = {path.name for path in (ROOT / "migrations/versions").glob("*.py")}
    assert {
        Path(name).name for name in names if name.startswith("rungwise/migrations/versions/")
    } == versions
    inside = {name for name in names if name.startswith("rungwise/")}
    tracked = {
        path.relative_to(ROOT / "service").as_posix()
        for path in (ROOT / "service/rungwise").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert tracked <= inside


def test_the_demo_loads_and_a_database_migrates(programs: Path, tmp_path: Path) -> None:
    where = run(
        programs / "python", "-c", "import rungwise; print(rungwise.__file__)", cwd=tmp_path
    )
    assert Path(where.strip()).is_relative_to(programs.parent)

    demo = tmp_path / "demo.sqlite3"
    said = run(programs / "rungwise", "try", "--load-only", "--file", demo, cwd=tmp_path)
    assert "The demo is ready" in said

    url = f"sqlite:///{tmp_path / 'new.sqlite3'}"
    said = run(programs / "rungwise", "migrate", cwd=tmp_path, RUNGWISE_DATABASE_URL=url)
    assert said.startswith("Migrated from empty to ")
    said = run(programs / "rungwise", "migrate", cwd=tmp_path, RUNGWISE_DATABASE_URL=url)
    assert "already" in said


def test_what_a_checkout_keeps_beside_the_package_is_found(programs: Path, tmp_path: Path) -> None:
    asked = "from rungwise.commands.setup_files import KANNEL_TEMPLATE as t; print(t.read_text())"
    said = run(programs / "python", "-c", asked, cwd=tmp_path)
    assert said.strip() == (ROOT / "deploy/kannel/kannel.conf").read_text().strip()
