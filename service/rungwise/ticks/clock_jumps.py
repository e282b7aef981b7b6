"""Noticing that the machine's clock was set forward, before anything is done by a wrong time."""

import logging
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import monotonic

log = logging.getLogger(__name__)

# A clock that drifts is corrected by less than this; more is a step.
STEP = timedelta(minutes=2)
# A wrong step is usually taken back within this, for time servers are asked every minute or so.
WAIT_S = 60.0


def _utc_now() -> datetime:
    return datetime.now(UTC)


class ClockWatch:
    """Compares the clock that people set with the one that nobody sets.

    After a step forward nothing is done for a minute: by a wrong time, prompts would leave early
    and days would be recorded as missed. A step that is still there then is taken to be right. A
    step back does no harm, because each date has its prompt at most once. A machine that slept
    looks like a step forward; the minute is soon over.
    """

    def __init__(
        self, wall: Callable[[], datetime] = _utc_now, steady: Callable[[], float] = monotonic
    ) -> None:
        self._wall = wall
        self._steady = steady
        self._ahead = self._now_ahead()
        self._until = steady()

    def trusted(self) -> bool:
        """Whether to act by the clock now."""
        ahead = self._now_ahead()
        if ahead - self._ahead >= STEP:
            seconds = (ahead - self._ahead).total_seconds()
            log.warning("the clock was set forward by %.0f s; waiting %.0f s", seconds, WAIT_S)
            self._until = self._steady() + WAIT_S
        self._ahead = ahead
        return self._steady() >= self._until

    def _now_ahead(self) -> timedelta:
        since_any_start = self._wall() - datetime.fromtimestamp(0, UTC)
        return since_any_start - timedelta(seconds=self._steady())
