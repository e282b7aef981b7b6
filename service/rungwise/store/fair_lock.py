"""A lock that is given in the order it was asked for."""

import threading
from collections import deque


class Turns:
    """A lock for threads, first come first served; a thread that has it may take it again.

    Python's own lock goes to whoever asks at the right moment, so a thread that writes without
    pause keeps the others waiting.
    """

    def __init__(self) -> None:
        self._inside = threading.Lock()
        self._waiting: deque[threading.Lock] = deque()
        self._owner: int | None = None
        self._depth = 0

    def __enter__(self) -> None:
        me = threading.get_ident()
        with self._inside:
            if self._owner in (None, me):
                self._owner = me
                self._depth += 1
                return
            mine = threading.Lock()
            mine.acquire()
            self._waiting.append(mine)
        # Whoever leaves hands over to the first in line, and only then lets it go on.
        mine.acquire()
        self._owner = me

    def __exit__(self, *_problem: object) -> None:
        with self._inside:
            self._depth -= 1
            if self._depth:
                return
            if self._waiting:
                self._depth = 1
                self._owner = -1
                self._waiting.popleft().release()
            else:
                self._owner = None
