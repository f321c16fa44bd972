"""The week of an office, all questions: time and memory by size, engines side by side, and a second run after news.

python -m benchmarks.bench_scale [PLACES ...]     # 60 2000 10000 if none are named; 100000 for a state office

Every size gets a ledger of its own (`benchmarks.office`: no two places alike, a station for every thousand places) and
is run on two processes, serially and on Dask, each into a fresh store, and the three stores are compared to the bit.
Then one place in a hundred is counted or described anew, and the same command is run again.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import psutil

from benchmarks.office import build
from sideoats.demo.district import TODAY, ZONE
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week.engines import Dask, Engine, Processes, Serial
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

DRAWS = 500


class Memory:
    """Resident memory of this process and its children together, looked at five times a second; `peak` in MiB."""

    def __init__(self) -> None:
        self.peak, self._over = 0.0, threading.Event()

    def _look(self) -> None:
        me, total = psutil.Process(), 0
        for process in [me, *me.children(recursive=True)]:
            try:
                total += process.memory_info().rss
            except psutil.Error:  # it has just ended
                continue
        self.peak = max(self.peak, total / 2**20)

    def _watch(self) -> None:
        while not self._over.wait(0.2):
            self._look()

    def __enter__(self) -> Memory:
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()
        self._look()  # what took less than a fifth of a second was not looked at


@dataclass(frozen=True)
class Ran:
    """One run of the week into a store."""

    seconds: float
    peak: float
    places: int
    asked: int
    calls: int
    digest: str


def run(ledger: Path, store: Path, engine: Engine) -> Ran:
    """Run and look at what came of it."""
    with Memory() as memory:
        started = time.perf_counter()
        done = run_stored(ledger, TODAY, store, engine=engine, draws=DRAWS)
        seconds = time.perf_counter() - started
    with WeekStore(store) as week:
        return Ran(seconds, memory.peak, done.places, done.asked, done.calls, week.digest())


def news(ledger: Path, share: float) -> int:
    """A leaf count or a note at some of the places; how many."""
    with open_ledger(ledger) as opened:
        places = [p for p in opened.places() if p.kind not in ("station", "market")]
        chosen = places[:: round(1 / share)]
        seen = datetime(TODAY.year, TODAY.month, TODAY.day, 7, tzinfo=ZONE)
        opened.append(
            [
                NewEntry("leaf_counts", {"counts": "9,4,0,30"}, place=p.id, seen_at=seen)
                if p.kind == "field"
                else NewEntry("place", {"name": p.name, "kind": p.kind, **p.attributes, "variety": "Z"}, place=p.id,
                              farm=p.farm or None, seen_at=seen)
                for p in chosen
            ]
        )  # fmt: skip
    return len(chosen)


def _megabytes(path: Path) -> float:
    return path.stat().st_size / 1e6


def measure(places: int, folder: Path) -> Ran:
    """Print the lines of one size."""
    ledger = folder / "ledger.sqlite"
    started = time.perf_counter()
    build(ledger, places)
    built = time.perf_counter() - started
    pool = run(ledger, folder / "pool.week", Processes(2))
    print(
        f"{pool.places:,} places, {DRAWS} draws, all questions: {pool.calls:,} calls in {pool.seconds:.1f} s on 2 "
        f"processes, {1000 * pool.seconds / pool.places:.2f} ms a place, peak {pool.peak:,.0f} MiB in all; store "
        f"{_megabytes(folder / 'pool.week'):.1f} MB; ledger of {_megabytes(ledger):.0f} MB built in {built:.0f} s",
        flush=True,
    )
    serial = run(ledger, folder / "serial.week", Serial())
    dask = run(ledger, folder / "dask.week", Dask(None, 2))
    equal = serial.digest == dask.digest == pool.digest
    same = "equal to the bit" if equal else "NOT EQUAL"
    print(
        f"  serial {serial.seconds:.1f} s, the pool is {serial.seconds / pool.seconds:.2f} times as fast; Dask with "
        f"2 workers {dask.seconds:.1f} s ({serial.seconds / dask.seconds:.2f} times); the three stores are {same}",
        flush=True,
    )
    if not equal:
        raise SystemExit("engines that differ measure nothing; was the program edited while it ran?")
    changed = news(ledger, 0.01)
    again = run(ledger, folder / "pool.week", Serial())
    print(
        f"  news at {changed:,} places: {again.asked:,} asked again in {again.seconds:.1f} s, "
        f"{pool.seconds / again.seconds:.1f} times as fast as the first run, peak {again.peak:,.0f} MiB",
        flush=True,
    )
    return pool


def main() -> None:
    """A few lines a size, then the growth curve."""
    sizes = [int(word) for word in sys.argv[1:]] or [60, 2_000, 10_000]
    ran = []
    for places in sizes:
        with tempfile.TemporaryDirectory() as folder:
            ran.append(measure(places, Path(folder)))
    grown = [r for r in ran if r.places >= 1_000]
    if len(grown) > 1:
        slope, _ = np.polyfit(np.log([r.places for r in grown]), np.log([r.seconds for r in grown]), 1)
        per_place, start = np.polyfit([r.places for r in grown], [r.seconds for r in grown], 1)
        print(
            f"time grows as places to the {slope:.2f} (sizes from 1,000 places); as a line {start:.1f} s and "
            f"{1000 * per_place:.2f} ms a place"
        )


if __name__ == "__main__":
    main()
