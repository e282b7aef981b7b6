"""How often a token may call: a bucket for each, refilled at a steady rate, in this process."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

MOST_KNOWN = 10_000


@dataclass(slots=True)
class _Bucket:
    left: float
    at: float


class Limits:
    """`per_minute` calls a minute, and as many at once after a quiet minute."""

    def __init__(self, per_minute: int, clock: Callable[[], float] = monotonic) -> None:
        self._most = float(per_minute)
        self._per_s = per_minute / 60
        self._clock = clock
        self._buckets: dict[int, _Bucket] = {}
        self._lock = threading.Lock()

    def wait_s(self, token_id: int) -> float:
        """0 when the call may go on, and is counted; otherwise the seconds until one may."""
        now = self._clock()
        with self._lock:
            bucket = self._buckets.get(token_id)
            if bucket is None:
                if len(self._buckets) >= MOST_KNOWN:
                    self._buckets.clear()
                bucket = self._buckets[token_id] = _Bucket(self._most, now)
            bucket.left = min(bucket.left + (now - bucket.at) * self._per_s, self._most)
            bucket.at = now
            if bucket.left < 1:
                return (1 - bucket.left) / self._per_s
            bucket.left -= 1
            return 0.0
