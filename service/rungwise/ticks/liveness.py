"""Telling systemd that this process is alive (sd_notify), so that a hung one is started anew.

A process with ticks is alive while its own ticks come to an end, well or not: when the database is
away, a new start would help nobody. One without ticks is alive while its watchdog's thread runs.
"""

import logging
import os
import socket
from collections.abc import Callable
from time import monotonic

log = logging.getLogger(__name__)

ALIVE = b"WATCHDOG=1"
# Longer than any tick takes, and shorter than WatchdogSec in deploy/systemd.
HUNG_AFTER_S = 120.0


class Liveness:
    """When each tick of this process last ended."""

    def __init__(self, steady: Callable[[], float] = monotonic) -> None:
        self._steady = steady
        self._ended: dict[str, float] = {}

    def expect(self, name: str) -> None:
        """From now on this tick must end again and again."""
        self._ended[name] = self._steady()

    def ended(self, name: str) -> None:
        self._ended[name] = self._steady()

    def forget(self) -> None:
        """The ticks are stopped on purpose."""
        self._ended.clear()

    @property
    def hung(self) -> list[str]:
        now = self._steady()
        return [name for name, at in self._ended.items() if now - at > HUNG_AFTER_S]


def tell_systemd(liveness: Liveness, place: str | None = None) -> bool:
    """Say that the process is alive, if it is and anybody asked for it; whether it was said."""
    place = os.environ.get("NOTIFY_SOCKET") if place is None else place
    hung = liveness.hung
    if hung:
        log.error("these ticks hang: %s", ", ".join(hung))
    if not place or hung:
        return False
    # Linux writes an address without a file with a zero in front; systemd writes it as @.
    address = f"\0{place[1:]}" if place.startswith("@") else place
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as notify:
            notify.connect(address)
            notify.sendall(ALIVE)
    except OSError as problem:
        log.error("systemd cannot be told that the service is alive: %s", type(problem).__name__)
        return False
    return True
