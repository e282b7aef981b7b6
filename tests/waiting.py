"""Waiting for another thread or process: as long as a machine busy with other work may take."""

from collections.abc import Callable
from time import monotonic, sleep
from typing import TypeVar

T = TypeVar("T")
PATIENCE_S = 180.0


def until(found: Callable[[], T], within_s: float = PATIENCE_S) -> T:
    """What `found` gives as soon as it is true; fails with its last value when time is up."""
    end = monotonic() + within_s
    while True:
        value = found()
        if value:
            return value
        if monotonic() > end:
            raise AssertionError(f"not within {within_s} s: {value!r}")
        sleep(0.01)
