"""A real Kannel on loopback, set up as deploy/kannel/kannel.conf says."""

import re
import socket
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from smpp_operator import Operator, operator_on
from waiting import until

CONFIG = Path(__file__).parents[2] / "deploy/kannel/kannel.conf"
BEARERBOX = Path("/usr/sbin/bearerbox")
SMSBOX = Path("/usr/sbin/smsbox")
MISSING = (
    "Kannel is not installed, and this test drives the real one. "
    "Run `sh deploy/test`, which installs it, or as root: apt-get install kannel"
)
# A gateway that has quick tests instead of a long life.
QUICKER = {
    "sms-combine-concatenated-mo-timeout = 10": "sms-combine-concatenated-mo-timeout = 1",
    "sms-resend-freq = 10": "sms-resend-freq = 1",
    "reconnect-delay = 10": "reconnect-delay = 1",
    "http-queue-delay = 10": "http-queue-delay = 1",
}


@dataclass(frozen=True)
class Gateway:
    """A running Kannel and the operator it is bound to. `url` is where it takes texts."""

    url: str
    operator: Operator
    folder: Path


def config(words: Mapping[str, str], ports: Mapping[int, int], folder: Path) -> str:
    """The shipped configuration with its @WORDS@, ports and folders put in."""
    text = CONFIG.read_text()
    for word, value in words.items():
        assert f"@{word}@" in text, word
        text = text.replace(f"@{word}@", value)
    for usual, ours in QUICKER.items():
        assert usual in text
        text = text.replace(usual, ours)
    for usual_port, port in ports.items():
        assert re.search(rf"\b{usual_port}\b", text), usual_port
        text = re.sub(rf"\b{usual_port}\b", str(port), text)
    text = text.replace("/var/spool/kannel", str(folder)).replace("/var/log/kannel", str(folder))
    left = re.findall(r"@[A-Z_]+@", "\n".join(active(text)))
    assert not left, left
    return text


def active(text: str) -> list[str]:
    return [line for line in text.splitlines() if not line.startswith("#")]


def free_ports(count: int) -> list[int]:
    with ExitStack() as stack:
        held = [stack.enter_context(closing(socket.socket())) for _ in range(count)]
        for one in held:
            one.bind(("127.0.0.1", 0))
        return [one.getsockname()[1] for one in held]


def need(*programs: Path) -> None:
    """Fail, and say how to install Kannel; a test must not pass because it is not there."""
    if not all(program.exists() for program in programs):
        raise FileNotFoundError(MISSING)


@contextmanager
def kannel(words: Mapping[str, str], callback_port: int, folder: Path) -> Iterator[Gateway]:
    """Kannel and its operator until the end of the block, on ports of their own."""
    need(BEARERBOX, SMSBOX)
    admin, boxes, sendsms, operator_port = free_ports(4)
    for name in ("store", "dlr"):
        (folder / name).mkdir(parents=True)
    file = folder / "kannel.conf"
    ports = {13000: admin, 13001: boxes, 13013: sendsms, 8780: callback_port}
    link = {"OPERATOR_HOST": "127.0.0.1", "OPERATOR_PORT": str(operator_port)}
    file.write_text(config({**words, **link}, ports, folder))
    with ExitStack() as stack:
        operator = stack.enter_context(operator_on(operator_port))
        stack.enter_context(running(BEARERBOX, file, boxes))
        stack.enter_context(running(SMSBOX, file, sendsms))
        until(lambda: operator.bound)
        yield Gateway(f"http://127.0.0.1:{sendsms}", operator, folder)


@contextmanager
def running(program: Path, file: Path, port: int) -> Iterator[None]:
    """The program, once it listens on its port; gone at the end of the block, or with us."""
    log = file.with_name(f"{program.name}.out")
    with log.open("w") as out:
        process = subprocess.Popen(
            ["setpriv", "--pdeathsig", "KILL", program, "-v", "4", file],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
        )
        try:
            until(lambda: process.poll() is not None or listens(port))
            assert process.poll() is None, log.read_text()
            yield
        finally:
            process.kill()  # asked politely, it waits for its queues
            process.wait()


def listens(port: int) -> bool:
    with closing(socket.socket()) as probe:
        probe.settimeout(0.2)
        return probe.connect_ex(("127.0.0.1", port)) == 0
