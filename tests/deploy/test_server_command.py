"""deploy/rungwise, the command of a server: what it says where it can't go on."""

import os
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "deploy/rungwise"


def said_by(tmp_path: Path, user: int, *arguments: str) -> str:
    """What it says for that user id, and a server's folders below `tmp_path`."""
    tools = tmp_path / "tools"
    tools.mkdir(exist_ok=True)
    stand_ins = {"id": f"echo {user}", "setpriv": 'echo "setpriv $*"; env | grep RUNGWISE_ || true'}
    for name, does in stand_ins.items():
        (tools / name).write_text(f"#!/bin/sh\n{does}\n")
        (tools / name).chmod(0o755)
    here = tmp_path / "rungwise"
    text = SCRIPT.read_text()
    for place in ("/etc/rungwise", "/opt/rungwise", "/var/lib/rungwise"):
        assert place in text
        (tmp_path / place.lstrip("/")).mkdir(parents=True, exist_ok=True)
        text = text.replace(place, f"{tmp_path}{place}")
    here.write_text(text)
    done = subprocess.run(
        ["sh", str(here), *arguments],
        env={"PATH": f"{tools}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        check=False,
    )
    return f"{done.returncode}\n{done.stdout}{done.stderr}"


def test_who_is_not_root_is_told(tmp_path: Path) -> None:
    assert said_by(tmp_path, 1000, "check") == "1\nRun it as root: sudo rungwise check\n"


def test_before_setup_it_says_where_to_begin(tmp_path: Path) -> None:
    said = said_by(tmp_path, 0, "check")
    assert said.startswith("1\n")
    assert "Begin with: rungwise setup" in said


@pytest.mark.parametrize("arguments", [("check", "--json"), ("client", "add", "--name", "A B")])
def test_it_goes_on_as_the_service_with_its_settings(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    settings = tmp_path / "etc/rungwise/environment"
    settings.parent.mkdir(parents=True)
    settings.write_text("# ours\nRUNGWISE_LOG_LEVEL='a b'\n")
    said = said_by(tmp_path, 0, *arguments)
    assert said.startswith("0\nsetpriv --reuid=rungwise --regid=rungwise --init-groups")
    assert f"/current/.venv/bin/rungwise {' '.join(arguments)}\n" in said
    assert "RUNGWISE_LOG_LEVEL=a b\n" in said


def test_setup_stays_root_and_becomes_the_service_by_itself(tmp_path: Path) -> None:
    command = tmp_path / "opt/rungwise/current/.venv/bin/rungwise"
    command.parent.mkdir(parents=True)
    command.write_text('#!/bin/sh\necho "$*"\n')
    command.chmod(0o755)
    said = said_by(tmp_path, 0, "setup", "--test-text", "+12025550123")
    assert said == (
        f"0\nsetup --file {tmp_path}/etc/rungwise/environment --user rungwise "
        "--test-text +12025550123\n"
    )
