"""A process says that it is alive, as sd_notify(3) describes, until one of its ticks hangs."""

import asyncio
import re
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from rungwise.app import create_app
from rungwise.clock import SystemClock
from rungwise.parts import Parts
from rungwise.settings import Settings
from rungwise.store import Store
from rungwise.ticks.liveness import HUNG_AFTER_S, Liveness, tell_systemd
from rungwise.ticks.watchdog import LOOK_EVERY_S

UNITS = Path(__file__).parents[2] / "deploy/systemd"


@pytest.fixture
def systemd(tmp_path: Path) -> Iterator[socket.socket]:
    """The socket on which systemd listens, as NOTIFY_SOCKET names it."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        listening.settimeout(60)
        yield listening


def heard(systemd: socket.socket) -> list[bytes]:
    found = []
    systemd.setblocking(False)
    try:
        while True:
            found.append(systemd.recv(100))
    except BlockingIOError:
        return found


def test_a_process_whose_ticks_end_is_alive_and_one_whose_tick_hangs_is_not(systemd) -> None:
    at = [0.0]
    liveness = Liveness(lambda: at[0])
    place = systemd.getsockname()
    assert tell_systemd(liveness, place), "without ticks of its own it need not wait for any"
    for name in ("due", "send"):
        liveness.expect(name)
    at[0] = HUNG_AFTER_S
    assert tell_systemd(liveness, place)
    liveness.ended("send")
    at[0] += 1
    assert liveness.hung == ["due"]
    assert not tell_systemd(liveness, place)
    liveness.ended("due")
    assert tell_systemd(liveness, place)
    assert heard(systemd) == [b"WATCHDOG=1"] * 3


def test_an_address_without_a_file_is_found_too() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind("\0rungwise-liveness-test")
        assert tell_systemd(Liveness(), "@rungwise-liveness-test")
        assert heard(listening) == [b"WATCHDOG=1"]


def test_where_nobody_listens_nothing_is_said(tmp_path: Path) -> None:
    assert not tell_systemd(Liveness(), "")
    assert not tell_systemd(Liveness(), str(tmp_path / "gone"))


@pytest.mark.parametrize("ticks", [True, False])
def test_the_service_says_so_as_soon_as_it_runs(
    systemd, store: Store, monkeypatch: pytest.MonkeyPatch, ticks: bool
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", systemd.getsockname())
    settings = Settings(database_url=store.url, ticks=ticks)
    app = create_app(parts=Parts(settings, store, SystemClock(), {}))

    async def serve() -> bytes:
        async with app.router.lifespan_context(app):
            return systemd.recv(100)

    assert asyncio.run(serve()) == b"WATCHDOG=1"


def test_the_units_wait_longer_than_a_hang_takes_to_be_seen() -> None:
    for unit in ("rungwise.service", "rungwise@.service"):
        text = (UNITS / unit).read_text()
        waits = int(re.search(r"^WatchdogSec=(\d+)$", text, re.MULTILINE)[1])
        assert waits > HUNG_AFTER_S + 3 * LOOK_EVERY_S
        assert "\nNotifyAccess=main\n" in text
