"""Weather at scale: against refet and climate-indices on the same arrays; all degree-day methods in bounded memory.

Every line is a ratio within this run, or a peak of memory over the arrays that must exist anyway; no clock is asserted.
Run with ``python benchmarks/bench_weather.py [stations]``.
"""

from __future__ import annotations

import logging
import resource
import sys
import time
import tracemalloc
import warnings
from collections.abc import Callable
from contextlib import redirect_stdout
from io import StringIO
from typing import Any

import numpy as np

from sideoats.weather.degree_days import CUTOFFS, METHODS, degree_days
from sideoats.weather.drought import precipitation_index
from sideoats.weather.evapotranspiration import reference_et_daily
from sideoats.weather.radiation import wind_at_2m

YEARS = 30
MIB = 1024 * 1024


def timed(work: Callable[[], Any], repeat: int = 3) -> tuple[float, Any]:
    """Least seconds of a few runs, and the result."""
    best, result = np.inf, None
    for _ in range(repeat):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


def peak_mib(work: Callable[[], Any]) -> float:
    """Peak of NumPy and Python allocations while `work` runs, over what was held before [MiB]."""
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return (peak - before) / MIB


def reference_evapotranspiration(stations: int) -> None:
    """Daily reference ET, same equation (ASCE short), same arrays."""
    import refet

    rng = np.random.default_rng(1)
    days = YEARS * 365
    shape = (stations, days)
    latitude, elevation = rng.uniform(28, 48, (stations, 1)), rng.uniform(0, 1800, (stations, 1))
    day = (np.arange(days) % 365 + 1.0)[None, :]
    tmin = rng.normal(8, 8, shape)
    tmax = tmin + rng.uniform(2, 20, shape)
    vapour, solar, wind = rng.uniform(0.2, 2.5, shape), rng.uniform(3, 30, shape), rng.uniform(0.5, 7, shape)
    at_2m = wind_at_2m(wind, 2.0)  # refet makes 2 m wind of wind at 2 m, by a factor of 1.0002

    def ours(rows: slice = slice(None), workers: int = 1) -> Any:
        return reference_et_daily(
            tmax[rows], tmin[rows], vapour[rows], solar[rows], at_2m[rows], elevation_m=elevation[rows],
            latitude=latitude[rows], day=day, standard="asce_short", workers=workers,
        )  # fmt: skip

    def theirs(rows: slice = slice(None)) -> Any:
        where = (elevation[rows], latitude[rows], day)
        return refet.Daily(tmin[rows], tmax[rows], solar[rows], wind[rows], 2.0, *where, ea=vapour[rows]).eto()

    own, found = timed(ours)
    two, _ = timed(lambda: ours(workers=2))
    peer, expected = timed(theirs, 1)
    print(
        f"daily ET0, {stations} stations x {YEARS} years ({found.size:,} days): refet {peer:.2f} s, one thread "
        f"{own:.2f} s = {peer / own:.1f} times as fast, two threads {peer / two:.1f} times; largest difference "
        f"{float(np.abs(found - expected).max()):.0e} mm"
    )
    part = slice(0, max(1, stations // 10))
    small, big = peak_mib(lambda: ours(part)), peak_mib(lambda: theirs(part))
    print(
        f"daily ET0, peak memory on a tenth of them: {small:.0f} MiB, of which the result is "
        f"{found[part].nbytes / MIB:.0f}; refet {big:.0f} MiB"
    )


def drought_index(stations: int) -> None:
    """Six-month SPI: climate-indices one series at a time (its documented use) and by its one-pass block mode.

    It tests the goodness of its fits as it goes, which we leave to `fit_quality`; its log lines are switched off.
    """
    import structlog

    warnings.simplefilter("ignore")  # of the peer; this is a script
    from climate_indices import compute, indices

    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    rng = np.random.default_rng(2)
    rain = rng.gamma(2.0, 30.0, (stations, YEARS * 12)) * (rng.random((stations, YEARS * 12)) > 0.05)
    settings = (6, indices.Distribution.gamma, 1991, 1991, 2020, compute.Periodicity.monthly)
    own, found = timed(lambda: precipitation_index(rain, 6))
    block, few = np.ascontiguousarray(rain.T)[:, :, None], min(stations, 200)
    with redirect_stdout(StringIO()):
        one_pass, expected = timed(lambda: indices.spi(block, *settings, spatial_time_major=True), 2)
        alone, _ = timed(lambda: [indices.spi(row, *settings) for row in rain[:few]], 1)
    alone *= stations / few
    difference = float(np.nanmax(np.abs(found - expected[:, :, 0].T)))
    peak = peak_mib(lambda: precipitation_index(rain, 6))
    print(
        f"SPI-6, {stations} stations x {YEARS} years: climate-indices {one_pass:.2f} s in one pass, {alone:.1f} s "
        f"series by series (from {few}); ours {own:.2f} s = {one_pass / own:.1f} and {alone / own:.0f} times as fast; "
        f"largest difference {difference:.0e}; peak {peak:.0f} MiB for {rain.nbytes / MIB:.0f} MiB of rain"
    )


def all_degree_days(stations: int) -> None:
    """Every method with every cut-off it has; each result is summed and dropped: memory is one result and a block."""
    rng = np.random.default_rng(3)
    shape = (stations, YEARS * 365)
    tmin = rng.normal(52, 16, shape)
    tmax = tmin + rng.uniform(5, 40, shape)
    ways = [(m, c) for m in METHODS for c in CUTOFFS if not (m == "modified" and c in ("intermediate", "vertical"))]

    def everything() -> float:
        return sum(float(np.nansum(degree_days(tmax, tmin, 50, 86, method=m, cutoff=c))) for m, c in ways)

    def plain() -> Any:
        """Single sine, horizontal, as one would write it down in NumPy without blocks."""

        def area(threshold: float) -> Any:
            mean, half = (tmax + tmin) / 2, (tmax - tmin) / 2
            with np.errstate(invalid="ignore", divide="ignore"):
                angle = np.arcsin(np.clip((threshold - mean) / half, -1, 1))
                between = ((mean - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
            return np.where(tmin >= threshold, mean - threshold, np.where(tmax <= threshold, 0.0, between))

        return area(50) - area(86)

    seconds, _ = timed(everything, 1)
    reference, there = timed(plain, 2)
    own, found = timed(lambda: degree_days(tmax, tmin, 50, 86), 2)
    difference = float(np.abs(found - there).max())
    peak = peak_mib(lambda: degree_days(tmax, tmin, 50, 86, method="double_sine", cutoff="vertical"))
    print(
        f"degree-days, {stations} stations x {YEARS} years: all {len(ways)} methods and cut-offs in {seconds:.1f} s "
        f"({seconds / len(ways):.2f} s each); single sine {reference / own:.1f} times as fast as plain NumPy (largest "
        f"difference {difference:.0e}); peak of the widest {peak:.0f} MiB for a result of {tmax.nbytes / MIB:.0f}"
    )


def main() -> None:
    """Print one line a measurement."""
    stations = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    all_degree_days(stations // 2)
    drought_index(stations)
    reference_evapotranspiration(stations)
    rss = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak resident memory of the whole run, inputs and peers included: {rss:.0f} MiB")


if __name__ == "__main__":
    main()
