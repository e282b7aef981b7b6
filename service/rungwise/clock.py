"""Where the time comes from. Everything else is given it."""

import threading
from datetime import UTC, datetime, timedelta
from typing import Protocol

from sqlmodel import select

from rungwise.store import Store
from rungwise.store.tables import DemoClock, Practice


class Clock(Protocol):
    def now(self) -> datetime: ...


class SystemClock:
    """The machine's clock, in UTC."""

    def now(self) -> datetime:
        return datetime.now(UTC)


class HandClock:
    """A clock that moves only when it is set: for the demo's past and for tests."""

    def __init__(self, at: datetime) -> None:
        self._at = at
        self._lock = threading.Lock()

    def now(self) -> datetime:
        with self._lock:
            return self._at

    def set(self, at: datetime) -> None:
        with self._lock:
            self._at = max(at, self._at)

    def advance(self, by: timedelta) -> None:
        self.set(self.now() + by)


class AheadClock:
    """The demo's clock: the machine's, ahead by what the demo database says."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def now(self) -> datetime:
        with self._store.read() as session:
            row = session.get(DemoClock, 1)
        return datetime.now(UTC) + timedelta(seconds=row.ahead_s if row else 0.0)

    def share_played(self) -> float | None:
        """The share of a new demo's weeks that has been played; None once they all have."""
        with self._store.read() as session:
            row = session.get(DemoClock, 1)
            began = session.exec(select(Practice.created_at).limit(1)).first()
        if row is None or row.ahead_s >= 0 or began is None:
            return None
        return 1 + row.ahead_s / (datetime.now(UTC) - began).total_seconds()

    def set(self, at: datetime) -> None:
        """Move the demo on to `at`; never back."""
        ahead_s = (at - datetime.now(UTC)).total_seconds()
        with self._store.write() as session:
            row = session.get(DemoClock, 1)
            if row is not None:
                row.ahead_s = max(row.ahead_s, ahead_s)
                session.add(row)
