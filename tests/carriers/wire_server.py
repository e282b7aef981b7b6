"""A carrier's HTTP interface on loopback that answers what a test tells it to."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from waiting import PATIENCE_S


@dataclass(frozen=True)
class Says:
    """A whole answer."""

    status: int
    body: str = ""
    media_type: str = "text/plain"


@dataclass(frozen=True)
class Misbehaves:
    """`hangs`: takes the request and says nothing; `drops`: takes it and closes the connection;
    `breaks off`: closes in the middle of the answer; `trickles`: one octet at a time, for ever;
    `floods`: an answer without end."""

    how: str


@dataclass
class Asked:
    """A request as it came."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class WireServer:
    """`says` is the answer to every request from now on; `asked` is every request so far."""

    says: Says | Misbehaves = Says(500)
    asked: list[Asked] = field(default_factory=list)
    url: str = ""
    done: threading.Event = field(default_factory=threading.Event)
    connections: list[socket.socket] = field(default_factory=list)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    wire: WireServer

    def setup(self) -> None:
        super().setup()
        self.wire.connections.append(self.connection)

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("content-length") or 0))
        headers = {name.lower(): value for name, value in self.headers.items()}
        self.wire.asked.append(Asked(self.command, self.path, headers, body))
        says = self.wire.says
        if isinstance(says, Says):
            self._say(says)
        else:
            self._misbehave(says.how)

    def _say(self, says: Says) -> None:
        content = says.body.encode()
        self.send_response(says.status)
        self.send_header("Content-Type", says.media_type)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def _misbehave(self, how: str) -> None:
        self.close_connection = True
        if how == "hangs":
            self.wire.done.wait(30)
        if how in ("hangs", "drops"):
            return
        self.send_response(202)
        self.send_header("Content-Length", "100000000")
        self.end_headers()
        self.wfile.write(b"0: Acc")
        while how != "breaks off" and not self.wire.done.is_set():
            try:
                self.wfile.write(b"x" if how == "trickles" else b"x" * 65536)
                self.wfile.flush()
            except OSError:
                return
            if how == "trickles":
                self.wire.done.wait(0.02)

    def log_message(self, *_: Any) -> None:
        pass


class _Server(ThreadingHTTPServer):
    daemon_threads = False
    request_queue_size = 128

    def handle_error(self, *_: Any) -> None:
        """Clients that hang up are part of the tests."""


@contextmanager
def wire_server() -> Iterator[WireServer]:
    """A server that runs until the end of the block, with every connection ended."""
    wire = WireServer()
    handler = type("Handler", (_Handler,), {"wire": wire})
    server = _Server(("127.0.0.1", 0), handler)
    wire.url = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield wire
    finally:
        wire.done.set()
        server.shutdown()
        for connection in wire.connections:  # kept ones too, or their threads would wait on
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        thread.join(PATIENCE_S)
        server.server_close()
