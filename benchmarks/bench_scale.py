"""The week at 60, 2,000 and more places, all questions, on one and two cores: time, memory, growth, a second run.

python -m benchmarks.bench_scale [PLACES ...]      # 60 2000 10000 if none are named; 100000 for a state office
"""

from __future__ import annotations

import math
import resource
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from benchmarks.office import build
from sideoats.demo.district import TODAY
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week.engines import Dask, Engine, Processes, Serial
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

DRAWS = 500


def peak_mib() -> float:
    """Largest resident size of this process plus that of its largest child so far."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return (own + 2 * child) / 1024


def run(ledger: Path, store: Path, engine: Engine) -> tuple[float, int, int, str]:
    """Seconds, places asked, calls, digest."""
    started = time.perf_counter()
    done = run_stored(ledger, TODAY, store, engine=engine, draws=DRAWS)
    seconds = time.perf_counter() - started
    week = WeekStore(store)
    digest = week.digest()
    week.close()
    return seconds, done.asked, done.calls, digest


def change(ledger: Path, share: float) -> int:
    """Count leaves again on some places, so that their fingerprints change."""
    with open_ledger(ledger) as opened:
        fields = [p.id for p in opened.places() if p.kind == "field"]
        seen = next(iter(opened.history(kind="quote", since=TODAY - timedelta(days=40)))).seen_at
        all_places = len(opened.places())
        chosen = fields[:: max(1, round(len(fields) / (share * all_places)))]
        opened.append([NewEntry("note", {"text": "looked again"}, place=p, seen_at=seen) for p in chosen])
        opened.append([NewEntry("leaf_counts", {"counts": "9,4,0,30"}, place=p, seen_at=seen) for p in chosen])
    return len(chosen)


def main() -> None:
    """One line a size, then the growth exponent."""
    sizes = [int(word) for word in sys.argv[1:]] or [60, 2_000, 10_000]
    times: list[tuple[int, float]] = []
    for places in sizes:
        with tempfile.TemporaryDirectory() as folder:
            ledger, at = Path(folder) / "ledger.sqlite", Path(folder)
            started = time.perf_counter()
            build(ledger, places)
            built = time.perf_counter() - started
            pool, asked, calls, digest = run(ledger, at / "pool.week", Processes(2))
            line = f"{asked:,} places, {DRAWS} draws: {calls:,} calls in {pool:.1f} s on 2 processes"
            times.append((asked, pool))
            if places <= 10_000:
                serial, _, _, same = run(ledger, at / "serial.week", Serial())
                dask, _, _, same_dask = run(ledger, at / "dask.week", Dask(None, 2))
                equal = "equal to the bit" if same == same_dask == digest else "NOT EQUAL"
                line += f", {serial:.1f} s serial (ratio {serial / pool:.2f}), {dask:.1f} s Dask; {equal}"
            changed = change(ledger, 0.01)
            second, again, _, _ = run(ledger, at / "pool.week", Serial())
            size = (at / "pool.week").stat().st_size / 1e6
            print(
                f"{line}; {changed} places changed: {again} asked again in {second:.1f} s (ratio {pool / second:.1f}); "
                f"store {size:.0f} MB; ledger built in {built:.1f} s; peak about {peak_mib():.0f} MiB",
                flush=True,
            )
    if len(times) > 1:
        (n0, t0), (n1, t1) = times[-2:]
        print(f"growth exponent between the last two sizes: {math.log(t1 / t0) / math.log(n1 / n0):.2f}")


if __name__ == "__main__":
    main()
