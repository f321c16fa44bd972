"""Failed sign-ins, counted so that no one can try passwords for long."""

from __future__ import annotations

import threading
from collections import OrderedDict, deque

QUARTER = 900.0  # seconds


class Strikes:
    """Failed sign-ins of the last quarter of an hour, by account and by address; the longest silent are forgotten."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._failed: OrderedDict[str, deque[float]] = OrderedDict()

    def count(self, who: str, now: float) -> int:
        """Failures of `who` that still count."""
        with self._lock:
            times = self._failed.get(who)
            while times and now - times[0] > QUARTER:
                times.popleft()
            return len(times) if times else 0

    def add(self, who: str, now: float) -> None:
        """One more failure."""
        with self._lock:
            self._failed.setdefault(who, deque(maxlen=100)).append(now)
            self._failed.move_to_end(who)
            while len(self._failed) > 20_000:
                self._failed.popitem(last=False)

    def clear(self, who: str) -> None:
        """Forget the failures of someone who got in."""
        with self._lock:
            self._failed.pop(who, None)
