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
    dropped: bool = False  # a newer state of the ledger was asked for before this one was begun
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
    run : works a week out for a day and reports (done, total) on the way
    """

    def __init__(self, head: Callable[[], int], run: Run) -> None:
        self._head, self._run = head, run
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="week")
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[date, int], Asked] = OrderedDict()

    def close(self) -> None:
        """Let the running week finish, start no other."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def on(self, day: date, *, wait: float = 0) -> tuple[Asked, bool]:
        """The newest week that is ready for `day`, or the one being worked out; and whether it is up to date.

        Parameters
        ----------
        wait : seconds to wait for an up-to-date one before an older one is given
        """
        current = self._current(day)
        if wait:
            current.finished.wait(wait)
        if current.ready or current.failed:
            return current, True
        with self._lock:
            older = [asked for (on, _), asked in self._kept.items() if on == day and asked.ready]
        return (max(older, key=lambda asked: asked.head), False) if older else (current, True)

    def _current(self, day: date) -> Asked:
        key = (day, self._head())
        with self._lock:
            asked = self._kept.get(key)
            if asked is None:
                self._drop_waiting(day)
                asked = self._kept[key] = Asked(*key)
                self._pool.submit(self._work, asked)
                self._forget()
            self._kept.move_to_end(key)
        return asked

    def _drop_waiting(self, day: date) -> None:
        """While entries stream in, only the newest state waits behind the week that is being worked out."""
        for key, asked in list(self._kept.items()):
            if asked.on == day and not asked.begun:
                asked.dropped = True
                asked.finished.set()
                del self._kept[key]

    def _forget(self) -> None:
        """Drop the longest unused weeks, never one that is being worked out."""
        for key in [k for k, asked in self._kept.items() if asked.finished.is_set()]:
            if len(self._kept) <= _MOST_KEPT:
                return
            del self._kept[key]

    def _work(self, asked: Asked) -> None:
        def progress(done: int, total: int) -> None:
            asked.done, asked.total = int(done), int(total)

        with self._lock:
            if asked.dropped:
                return
            asked.begun = True
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
