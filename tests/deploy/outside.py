"""What stands around an installation in these tests: a web server, and a person at a terminal."""

import os
import pty
import re
import select
import signal
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from waiting import PATIENCE_S


@contextmanager
def answering(status: int, body: str = "", *, server: str = "127.0.0.1") -> Iterator[str]:
    """An HTTP server that answers everything alike; gives its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.rfile.read(int(self.headers.get("content-length") or 0))
            self.send_response(status)
            self.send_header("Content-Length", str(len(body.encode())))
            self.end_headers()
            self.wfile.write(body.encode())

        do_POST = do_GET  # noqa: N815

        def log_message(self, *_: Any) -> None:
            pass

    with ThreadingHTTPServer((server, 0), Handler) as http:
        thread = threading.Thread(target=http.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield f"http://{server}:{http.server_port}"
        finally:
            http.shutdown()
            thread.join(PATIENCE_S)


def at_terminal(
    command: Sequence[str],
    answers: Mapping[str, str | list[str]],
    environ: Mapping[str, str] | None = None,
    cwd: Path | None = None,
    patience_s: float = PATIENCE_S,
) -> tuple[int, str]:
    """Run a command at a terminal of its own, as a person would; its exit code and the screen.

    `answers`: what is typed at a prompt that holds these words; at every other prompt, only Enter.
    A list is typed one after the other when the prompt comes again.
    """
    waiting = {words: [said] if isinstance(said, str) else list(said) for words, said in
               answers.items()}  # fmt: skip
    child, terminal = pty.fork()
    if child == 0:
        try:
            if cwd is not None:
                os.chdir(cwd)
            os.execvpe(command[0], list(command), dict(environ or os.environ))
        finally:
            os._exit(127)
    screen, looked = "", 0
    until = time.monotonic() + patience_s
    try:
        while time.monotonic() < until:
            if select.select([terminal], [], [], 0.2)[0]:
                try:
                    screen += os.read(terminal, 4096).decode(errors="replace")
                except OSError:  # the command has ended
                    break
            # A prompt is the last line, and waits without a line break.
            last = screen[looked:].rpartition("\n")[2]
            if re.search(r": $", last):
                said = next((w for words, w in waiting.items() if words in last), [])
                os.write(terminal, (said.pop(0) if len(said) > 1 else "".join(said)).encode())
                os.write(terminal, b"\n")
                looked = len(screen)
        else:
            os.kill(child, signal.SIGKILL)
    finally:
        os.close(terminal)
        status = os.waitpid(child, 0)[1]
    return os.waitstatus_to_exitcode(status), screen.replace("\r\n", "\n")
