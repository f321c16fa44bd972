"""Failed sign-ins, counted so that no one can try passwords for long, and no one can lock anybody else out.

Each pair of account and address is slowed down by itself: the right password from elsewhere, or of somebody else at
the same address, goes in at once. A try is counted before its password is hashed, so that tries sent together are
counted together; and only a few are hashed at a time, because each takes 64 MB.
"""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Iterator
from contextlib import contextmanager

QUARTER = 900.0  # seconds
_HASHED_AT_ONCE = 2
_SECONDS_IN_LINE = 3.0


class Strikes:
    """Failed sign-ins of the last quarter of an hour, by account and address; the longest silent are forgotten."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._failed: OrderedDict[tuple[str, str], deque[float]] = OrderedDict()
        self._slots = threading.BoundedSemaphore(_HASHED_AT_ONCE)

    def admit(self, pair: tuple[str, str], now: float, most: int) -> bool:
        """Count a try before it is made; False, and not counted, where `pair` has had its `most` of the quarter."""
        with self._lock:
            times = self._failed.setdefault(pair, deque(maxlen=1000))
            self._failed.move_to_end(pair)
            while times and now - times[0] > QUARTER:
                times.popleft()
            while len(self._failed) > 20_000:
                self._failed.popitem(last=False)
            if len(times) >= most:
                return False
            times.append(now)
            return True

    def clear(self, pair: tuple[str, str]) -> None:
        """Forget the failures of someone who got in."""
        with self._lock:
            self._failed.pop(pair, None)

    @contextmanager
    def slot(self) -> Iterator[bool]:
        """One of the few places where a password is hashed; False where none comes free in time."""
        got = self._slots.acquire(timeout=_SECONDS_IN_LINE)
        try:
            yield got
        finally:
            if got:
                self._slots.release()
