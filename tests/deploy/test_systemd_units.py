"""The systemd units: systemd finds no fault in them, and they are shut in as the page says."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
UNITS = sorted((ROOT / "deploy/systemd").iterdir())
SERVICES = [unit for unit in UNITS if unit.suffix == ".service"]
PAGE = (ROOT / "docs/installing.md").read_text(encoding="utf-8")
MOST_EXPOSED = 1.5
# What starts them; all that a release has in its folder at this name.
CURRENT = "/opt/rungwise/current"
# Lines in which the units differ on purpose; all others shut them in and must be alike.
OWN = ("ExecStart=", "Type=", "Restart", "Timeout", "Nice=", "LimitNOFILE=")
OWN += ("WatchdogSec=", "NotifyAccess=")


def lines(unit: Path, section: str) -> list[str]:
    text = re.split(r"^\[(\w+)\]$", unit.read_text(), flags=re.MULTILINE)
    body = dict(zip(text[1::2], text[2::2], strict=True))[section]
    return [line for line in body.splitlines() if line and line[0] != "#"]


def test_systemd_finds_no_fault(tmp_path: Path) -> None:
    """It answers 0 on names it doesn't know, so what it prints must be nothing."""
    command = tmp_path / ".venv/bin/rungwise"
    command.parent.mkdir(parents=True)
    command.write_text("#!/bin/sh\n")
    command.chmod(0o755)
    for unit in UNITS:
        text = unit.read_text().replace(CURRENT, str(tmp_path))
        (tmp_path / unit.name).write_text(text)
    files = [str(tmp_path / unit.name) for unit in UNITS]
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *files],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@pytest.mark.parametrize("unit", SERVICES, ids=lambda unit: unit.name)
def test_a_service_is_shut_in_as_the_page_says(unit: Path) -> None:
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", f"{unit}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    rated = re.search(r"exposure level for \S+: ([0-9.]+)", done.stdout)
    assert rated, done.stdout
    assert float(rated[1]) < MOST_EXPOSED
    assert f"a test holds it under {MOST_EXPOSED}" in PAGE
    version = subprocess.run(
        ["systemd-analyze", "--version"], capture_output=True, text=True, check=True
    )
    if version.stdout.startswith("systemd 252 "):
        assert f"at {rated[1]} of 10 (systemd 252" in PAGE


def test_all_services_are_shut_in_alike() -> None:
    walls = [
        [line for line in lines(unit, "Service") if not line.startswith(OWN)] for unit in SERVICES
    ]
    assert all(wall == walls[0] for wall in walls)
    assert "NoNewPrivileges=yes" in walls[0]


def test_a_further_process_differs_by_its_port_only() -> None:
    first, further = (ROOT / "deploy/systemd" / name for name in
                      ("rungwise.service", "rungwise@.service"))  # fmt: skip
    for section in ("Service", "Install"):
        ours = [line.replace(" --port %i", "") for line in lines(further, section)]
        assert ours == lines(first, section)


def test_the_timer_starts_a_service_that_is_there_and_the_page_names_each_unit() -> None:
    for unit in UNITS:
        name = unit.name.replace("@.", "@8781.")
        if unit.suffix == ".timer":
            assert unit.with_suffix(".service") in SERVICES
        if unit.name != "rungwise-backup.service":
            assert f"`{name}`" in PAGE


@pytest.mark.parametrize("unit", SERVICES, ids=lambda unit: unit.name)
def test_a_service_starts_what_a_release_has(unit: Path) -> None:
    (command,) = (line for line in lines(unit, "Service") if line.startswith("ExecStart="))
    for path in re.findall(rf"{CURRENT}/(\S+)", command):
        assert path == ".venv/bin/rungwise" or (ROOT / path).exists()
