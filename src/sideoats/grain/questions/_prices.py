"""Grain prices of the coming months for the questions of this room, on the outlook's shared draws.

No drift is invented: the mean over the draws is what is quoted for that month, or today's price where nothing is.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.grain.carry import MONTH_DAYS
from sideoats.grain.holding import MONTHS_AHEAD, month_marks
from sideoats.outlook.draws import Outlook

Floats = NDArray[np.float64]

OUTLOOK_NAMES = {"sorghum": "grain sorghum"}


def price_ratios(
    outlook: Outlook,
    commodity: str,
    volatility: Floats,
    histories: NDArray[np.object_],
    *,
    history_years: float,
    months: int = MONTHS_AHEAD,
) -> Floats:
    """Price over its expected value, (place, draw, month), mean 1 over the draws of every place and month.

    The commodity's draws of the outlook, shared by every question; where a row states its own yearly volatility, the
    same draws stretched to it (lognormal); where it brings its own price history, blocks of that history's moves
    (`sideoats.outlook.prices.block_log_paths`) on shared uniforms.

    Parameters
    ----------
    volatility : (place,) standard deviation of the log price over a year, NaN where not stated [1]
    histories : (place,) tuples of (date, price), or None
    history_years : newest years of a history that are used [year]
    """
    days = month_marks(months) * MONTH_DAYS
    shared = np.log(outlook.price_ratio(OUTLOOK_NAMES.get(commodity, commodity), days))
    log_ratio = np.repeat(shared[None], len(volatility), axis=0)
    stated = ~np.isnan(volatility)
    if stated.any():
        shock = (shared - shared.mean(axis=0)) / shared.std(axis=0)
        spread = volatility[stated, None] * np.sqrt(days / 365.0)[None, :]
        log_ratio[stated] = spread[:, None, :] * shock[None] - spread[:, None, :] ** 2 / 2
    done: dict[Any, Floats | None] = {}
    for row, series in enumerate(histories):
        if series is None or stated[row]:
            continue
        if series not in done:
            done[series] = history_log_ratios(outlook, series, days, years=history_years)
        own = done[series]
        if own is not None:
            log_ratio[row] = own
    ratio = np.exp(log_ratio)
    return np.asarray(ratio / ratio.mean(axis=1, keepdims=True), dtype=np.float64)


def history_log_ratios(
    outlook: Outlook, series: Sequence[tuple[date, float]], days: Floats, *, years: float
) -> Floats | None:
    """Log price over today's from blocks of a history's newest years, (draw, k); None where it is too short to use."""
    from sideoats.errors import InputError
    from sideoats.outlook.prices import BLOCK_DAYS, block_log_paths, block_starts, long_enough, shared_span

    when = np.array([d for d, _ in series], dtype="datetime64[D]")
    price = np.array([p for _, p in series], dtype=np.float64)
    recent = when >= when.max() - np.timedelta64(round(years * 365.25), "D")
    usable = long_enough({"own": (when[recent], price[recent])})
    if not usable:
        return None
    try:
        first, last = shared_span(usable)
    except InputError:
        return None
    blocks = int(np.ceil(days.max() / BLOCK_DAYS))
    uniform = outlook.generator("grain price blocks").random((outlook.draws, blocks))
    return block_log_paths(*usable["own"], block_starts(uniform, first, last), days)
