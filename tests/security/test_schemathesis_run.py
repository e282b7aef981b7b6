"""The API served on this machine, and schemathesis's own command run against its description."""

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from fuzzing_api import Called, make_called

# Of which dates a day may be told, which of a client's rungs and gates there are, and at which
# hours the practice texts, cannot be said in a schema.
TOLD = "/(days|reading|plan|plan/preview)$"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[str, Called]]:
    """The API's address, and its world."""
    called = make_called(tmp_path)
    server = uvicorn.Server(uvicorn.Config(called.world.app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}/api/v1", called
    server.should_exit = True
    thread.join()
    called.world.store.close()


def test_every_check_holds_for_every_call_that_the_description_covers(
    served, tmp_path: Path
) -> None:
    """All of schemathesis's checks, with its systematic cases: edges of every value, values left
    out or wrong, methods that are not there, calls without the token. It takes seconds because it
    is a program of its own that makes hundreds of calls.
    """
    address, called = served
    called.world.app.state.api_document()  # made once, and slow on a busy machine
    others, told = run_on(address, called, tmp_path), run_on(address, called, tmp_path, told=True)
    for run in (others, told):
        assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]
        assert "Operations" in run.stdout


def run_on(
    address: str, called: Called, folder: Path, *, told: bool = False
) -> subprocess.CompletedProcess[str]:
    """All checks of all calls but those of TOLD; of these all but whether what fits is taken."""
    which = ("--exclude-path-regex", TOLD)
    if told:
        which = ("--include-path-regex", TOLD, "--exclude-checks", "positive_data_acceptance")
    return subprocess.run(
        [
            *(sys.executable, "-m", "schemathesis.cli", "run", f"{address}/openapi.json"),
            *("--header", f"Authorization: Bearer {called.token}", "--url", address),
            *("--phases", "coverage", "--no-color", "--seed", "1", "--request-timeout", "300"),
            *which,
        ],
        cwd=folder,  # it keeps what it finds in its own folder
        capture_output=True,
        text=True,
        check=False,
    )
