"""`sh deploy/try` for real, as a newcomer runs it: a bare copy, the real locks, the real demo."""

import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[2]
PATIENCE_S = 900
LEFT_OUT = shutil.ignore_patterns(
    ".venv*", ".git", ".data", ".*_cache", "__pycache__", "*.egg-info"
)


@dataclass
class Running:
    process: subprocess.Popen[bytes]
    output: Path
    address: str

    def said(self) -> str:
        return self.output.read_text()

    def wait_until_served(self) -> httpx.Response:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            assert self.process.poll() is None, self.said()
            try:
                return httpx.get(self.address, follow_redirects=True, timeout=60)
            except httpx.TransportError:
                time.sleep(0.1)
        raise AssertionError(f"not served after {PATIENCE_S} s:\n{self.said()}")

    def wait_until_played(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while "The demo is ready" not in self.said():
            assert self.process.poll() is None, self.said()
            assert time.monotonic() < deadline, self.said()
            time.sleep(0.1)

    def first_look(self) -> str:
        """The page behind the link that is printed once."""
        link = re.search(r"Open +(\S+)", self.said())
        assert link, self.said()
        return httpx.get(link[1], follow_redirects=True, timeout=60).text


def signed_in(running: Running) -> str:
    """The page that the printed e-mail address and password open."""
    said = running.said()
    email = re.search(r"Sign in as +(\S+@\S+)", said)
    password = re.search(r"Password +(.+)", said)
    assert email, said
    assert password, said
    with httpx.Client(base_url=running.address, follow_redirects=True, timeout=60) as browser:
        form = browser.get("/sign-in").text
        csrf = re.search(r'name="csrf" value="([^"]+)"', form)
        assert csrf, form
        answer = browser.post(
            "/sign-in",
            data={"csrf": csrf[1], "next": "/", "email": email[1], "password": password[1].strip()},
        )
        assert answer.status_code == 200, answer.text
        return answer.text


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def trying(checkout: Path, elsewhere: Path, port: int) -> Iterator[Running]:
    output = elsewhere.with_name(f"output-{time.monotonic_ns()}")
    command = ["env", f"PYTHON={sys.executable}", "sh", str(checkout / "deploy/try")]
    with output.open("wb") as file:
        process = subprocess.Popen(
            [*command, "--port", str(port)],
            cwd=elsewhere,
            stdin=subprocess.DEVNULL,
            stdout=file,
            stderr=subprocess.STDOUT,
        )
    try:
        yield Running(process, output, f"http://127.0.0.1:{port}/")
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def test_one_command_serves_the_demo_again_and_again(tmp_path: Path) -> None:
    checkout, elsewhere = tmp_path / "checkout", tmp_path / "elsewhere"
    shutil.copytree(ROOT, checkout, ignore=LEFT_OUT)
    elsewhere.mkdir()
    port = free_port()

    with trying(checkout, elsewhere, port) as first:
        page = first.wait_until_served()
        assert page.status_code == 200
        assert "invented practice" in page.text
        # At once, before the weeks are played; and by that link once only.
        assert 'action="/sign-out"' in first.first_look()
        assert 'action="/sign-out"' not in first.first_look()
        first.wait_until_played()
        assert "fell" in signed_in(first)
        assert first.address in first.said()
        assert "Preparing" in first.said()
        assert "invented practice: 50%\n" in first.said()

        with trying(checkout, elsewhere, port) as second:
            assert second.process.wait(PATIENCE_S) != 0
            assert f"already listens on 127.0.0.1:{port}" in second.said()
            assert "Preparing" not in second.said()
    assert first.process.returncode in (0, 130, -signal.SIGINT)

    with trying(checkout, elsewhere, port) as again:
        again.wait_until_served()
        assert 'action="/sign-out"' in signed_in(again)
        assert "Preparing" not in again.said()
        assert "%" not in again.said()
    assert "Traceback" not in first.said() + second.said() + again.said()

    assert list(elsewhere.iterdir()) == []
    # Everything it made is out of sight or an installed package's own note.
    made = {path.name for path in checkout.iterdir()} - {path.name for path in ROOT.iterdir()}
    assert {name for name in made if name[0] != "."} <= {"rungwise.egg-info"}
