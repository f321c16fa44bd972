"""The week, asked once for each state of the ledger and each day, in the background, with its progress.

A page never waits for it: it shows the newest week there is, says when something was recorded since, and the new one
takes its place when it is done.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sideoats.errors import SideoatsError

_MOST_KEPT = 8
_MOST_WAITING = 2  # days of one account
log = logging.getLogger("sideoats.desk")


@dataclass
class Asked:
    """One week: the calls when it is done, how far it is before, one line when it failed."""

    on: date
    head: int
    week: Any = None
    done: int = 0
    total: int = 0
    failed: str = ""
    begun: bool = False
    dropped: bool = False  # another one of the same day, or of the same person, took its place before it was begun
    who: str = ""
    finished: threading.Event = field(default_factory=threading.Event)

    @property
    def ready(self) -> bool:
        """Whether the calls are there."""
        return self.week is not None


Run = Callable[[date, Callable[[int, int], None]], Any]


class Weeks:
    """Weeks by day, the newest state of the ledger first asked for.

    Parameters
    ----------
    head : gives the state of the ledger that calls depend on
    first : gives the day that goes before all others, so that what was just entered is never kept waiting by them
    run : works a week out for a day and reports (done, total) on the way
    """

    def __init__(self, head: Callable[[], int], run: Run, first: Callable[[], date | None] = lambda: None) -> None:
        self._head, self._run, self._first = head, run, first
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="week")
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[date, int], Asked] = OrderedDict()
        self._had: dict[str, int] = {}

    def close(self) -> None:
        """Let the running week finish, start no other."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def on(self, day: date, *, wait: float = 0, who: str = "") -> tuple[Asked, bool]:
        """The newest week that is ready for `day`, or the one being worked out; and whether it is up to date.

        Parameters
        ----------
        wait : seconds to wait for an up-to-date one before an older one is given
        who : the account that asks; only its newest few days wait to be worked out
        """
        current = self._current(day, who)
        if wait:
            current.finished.wait(wait)
        if current.ready or current.failed:
            return current, True
        older = self.ready(day)
        return (older, False) if older is not None else (current, True)

    def ready(self, day: date) -> Asked | None:
        """The newest week of a day that is worked out, if there is one; nothing is begun."""
        with self._lock:
            done = [asked for (on, _), asked in self._kept.items() if on == day and asked.ready]
        return max(done, key=lambda asked: asked.head, default=None)

    def _current(self, day: date, who: str) -> Asked:
        key = (day, self._head())
        with self._lock:
            asked = self._kept.get(key)
            if asked is None:
                self._drop_waiting(day, who)
                asked = self._kept[key] = Asked(*key, who=who)
                self._pool.submit(self._work)
                self._forget()
            self._kept.move_to_end(key)
        return asked

    def _waiting(self) -> list[Asked]:
        return [asked for asked in self._kept.values() if not asked.begun]

    def _drop_waiting(self, day: date, who: str) -> None:
        """While entries stream in, only the newest state of a day waits; and of one person only the newest few days."""
        same = [asked for asked in self._waiting() if asked.on == day]
        own = [asked for asked in self._waiting() if who and asked.who == who and asked.on not in (day, self._first())]
        for asked in (*same, *own[: max(len(own) - _MOST_WAITING + 1, 0)]):
            asked.dropped = True
            asked.finished.set()
            del self._kept[(asked.on, asked.head)]

    def _next(self) -> Asked | None:
        """The first day before all others, then whoever has had the fewest weeks worked out, then the first to ask."""
        waiting = self._waiting()
        if not waiting:
            return None
        asked = min(waiting, key=lambda a: (a.on != self._first(), self._had.get(a.who, 0)))
        asked.begun = True
        if asked.on != self._first():
            self._had[asked.who] = self._had.get(asked.who, 0) + 1
            if len(self._had) > 1000:
                self._had.clear()
        return asked

    def _forget(self) -> None:
        """Drop the longest unused weeks, never one that is being worked out."""
        for key in [k for k, asked in self._kept.items() if asked.finished.is_set()]:
            if len(self._kept) <= _MOST_KEPT:
                return
            del self._kept[key]

    def _work(self) -> None:
        with self._lock:
            asked = self._next()
        if asked is None:
            return

        def progress(done: int, total: int) -> None:
            asked.done, asked.total = int(done), int(total)

        try:
            asked.week = self._run(asked.on, progress)
        except SideoatsError as error:
            asked.failed = str(error)
        except Exception as error:
            asked.failed = f"The week could not be worked out ({type(error).__name__})."
            log.exception("the week of %s", asked.on)
        finally:
            asked.finished.set()


@dataclass(frozen=True)
class NoPlaces:
    """The week of a ledger without places: nothing is asked of nothing."""

    on: date
    calls: tuple[Any, ...] = ()
    problems: tuple[Any, ...] = ()


def week_runner(ledger: Any, draws: int, seed: int | None) -> Run:
    """The real week over a ledger."""

    def run(on: date, progress: Callable[[int, int], None]) -> Any:
        from sideoats.outlook.draws import DEFAULT_SEED
        from sideoats.week import run_week

        if not ledger.places(on):
            return NoPlaces(on)
        return run_week(ledger, on, draws=draws, seed=DEFAULT_SEED if seed is None else seed, progress=progress)

    return run
