"""What is installed is known: its licences are listed, and its known holes can be asked about."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs/licences.md"
LOCKS = {
    "served": "requirements.txt",
    "signing in": "requirements-sign-in.txt",
    "tested": "requirements-test.txt",
}


def locked(file: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    text = (ROOT / "deploy" / file).read_text(encoding="utf-8")
    for name, version in re.findall(r"^([\w.-]+)==([\w.+!-]+)", text, re.MULTILINE):
        found.setdefault(name, []).append(version)
    return found


def listed(part: str) -> dict[str, tuple[list[str], str]]:
    rows = re.findall(r"^\| ([\w.-]+) \| ([\w.+!, -]+) \| (.+) \|$", part, re.MULTILINE)
    return {
        name: (versions.split(", "), licence)
        for name, versions, licence in rows
        if name not in ("package", "---")
    }


def test_the_list_of_licences_is_complete_for_the_locks() -> None:
    _, served, signing_in, tested = PAGE.read_text(encoding="utf-8").split("\n## ")
    had: dict[str, list[str]] = {}
    for part, file in zip((served, signing_in, tested), LOCKS.values(), strict=True):
        wanted = {name: versions for name, versions in locked(file).items() if name not in had}
        found = {name: versions for name, (versions, _) in listed(part).items()}
        assert found == wanted, "run sh deploy/licences"
        had |= wanted


def test_nothing_is_served_under_a_licence_that_reaches_our_own_code() -> None:
    served, _, _ = PAGE.read_text(encoding="utf-8").partition("## What only the tests use")
    for name, (_, licence) in listed(served).items():
        assert licence.strip(), name
        assert not re.search(r"(?<!L)GPL|SSPL|BUSL|Commons Clause|Proprietary", licence), name
        if re.search(r"LGPL|MPL|EPL", licence):
            assert name in served.partition("## What is served")[0], f"say what {name} asks for"


# --- asking about known holes ---------------------------------------------------------------------

# Stands in for pip-audit: answers as $SAYS, and notes what it was asked.
STAND_IN = """#!/bin/sh
[ "$1" != --version ] || exit 0
printf '%s\\n' "$@" >"$ASKED"
case $SAYS in
    nothing) echo 'No known vulnerabilities found' ;;
    found) echo 'Found 2 known vulnerabilities in 1 package' >&2; exit 1 ;;
    unknown) echo 'ERROR: Dependency not found and could not be audited: a' >&2; exit 1 ;;
    *) echo 'requests.exceptions.ConnectionError: no such host' >&2; exit 1 ;;
esac
"""


@pytest.mark.parametrize(
    ("says", "code", "told"),
    [
        ("nothing", 0, "No known vulnerabilities"),
        ("found", 1, "sh deploy/lock --upgrade"),
        ("unknown", 2, "says nothing about them"),
        ("offline", 2, "It needs the internet"),
    ],
)
def test_the_audit_tells_nothing_known_from_nothing_asked(
    tmp_path: Path, says: str, code: int, told: str
) -> None:
    shutil.copytree(ROOT / "deploy", tmp_path / "deploy")
    tool = tmp_path / ".venv-audit/bin/pip-audit"
    tool.parent.mkdir(parents=True)
    tool.write_text(STAND_IN)
    tool.chmod(0o755)
    asked = tmp_path / "asked"
    done = subprocess.run(
        ["sh", str(tmp_path / "deploy/audit"), "-s", "osv"],
        env={**os.environ, "SAYS": says, "ASKED": str(asked)},
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert done.returncode == code, done.stderr
    assert told in done.stdout + done.stderr
    given = asked.read_text().splitlines()
    assert {"--strict", "--require-hashes", "--disable-pip"} <= set(given)
    assert str(tmp_path / "deploy/requirements-test.txt") in given
    assert given[-2:] == ["-s", "osv"]


def test_what_is_audited_holds_everything_that_is_served() -> None:
    served, tested = locked(LOCKS["served"]), locked(LOCKS["tested"])
    assert {name: tested.get(name) for name in served} == served
