"""Prices of the future from their own past: calendar blocks of past moves, or a lognormal about a futures quote.

Pure functions of arrays. `sideoats.outlook.paths` calls them with the shared draws; nothing here knows a commodity.
Days are calendar days, 365 to a year in the lognormal formulas. No function here forecasts a drift: block paths
are centred so that the mean price over the draws equals today's price, and the lognormal's mean is the quote.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.records import dataclass

Floats: TypeAlias = NDArray[np.float64]
Dates: TypeAlias = NDArray[np.datetime64]
History: TypeAlias = Mapping[str, tuple[Dates, Floats]]
DAYS_A_YEAR = 365.0
BLOCK_DAYS = 91
LEAST_HISTORY_DAYS = 3 * 365


# --- moves of the past ------------------------------------------------------------------------------------------------


def log_moves(prices: ArrayLike, axis: int = 0) -> Floats:
    """Log of each price over the one before it, along `axis`; NaN beside a missing price or one not above zero."""
    given = np.asarray(prices, dtype=np.float64)
    safe = np.where(given > 0, given, np.nan)
    return np.asarray(np.diff(np.log(safe), axis=axis), dtype=np.float64)


def yearly_volatility(prices: ArrayLike, per_year: float) -> float:
    """Standard deviation of the log price over a year: sd of the log moves (n - 1) x sqrt(`per_year`).

    `per_year` is 12 for monthly, 52 for weekly prices. Monthly AVERAGES smooth the price and bias this down, by about
    sqrt(2/3) for a random walk (Working 1960; from memory).
    """
    moves = log_moves(prices)
    moves = moves[np.isfinite(moves)]
    return float(moves.std(ddof=1) * np.sqrt(per_year)) if moves.size > 1 else float("nan")


def move_correlation(moves: ArrayLike) -> Floats:
    """Correlation of columns of log moves (time, commodity) over rows where both are known; NaN below three rows."""
    table = np.asarray(moves, dtype=np.float64)
    count = table.shape[1]
    out = np.eye(count)
    for i in range(count):
        for j in range(i):
            both = np.isfinite(table[:, i]) & np.isfinite(table[:, j])
            enough = both.sum() >= 3
            out[i, j] = out[j, i] = np.corrcoef(table[both, i], table[both, j])[0, 1] if enough else np.nan
    return out


def clean_series(dates: ArrayLike, prices: ArrayLike) -> tuple[Dates, Floats]:
    """Dates and prices in order, one a day (the last given), without missing or non-positive prices."""
    when, price = np.asarray(dates, "datetime64[D]"), np.asarray(prices, dtype=np.float64)
    if when.shape != price.shape or when.ndim != 1:
        raise InputError(f"{when.size} dates and {price.size} prices", expected="one price a date")
    good = np.isfinite(price) & (price > 0) & ~np.isnat(when)
    when, price = when[good], price[good]
    order = np.argsort(when, kind="stable")
    when, price = when[order], price[order]
    last = np.append(when[1:] != when[:-1], True) if when.size else np.zeros(0, bool)
    return when[last], price[last]


# --- calendar blocks --------------------------------------------------------------------------------------------------


def long_enough(history: History, least_days: int = LEAST_HISTORY_DAYS) -> dict[str, tuple[Dates, Floats]]:
    """The series that reach over at least `least_days` days with at least one price in three months on average."""
    found = {}
    for name, (dates, prices) in history.items():
        when, price = clean_series(dates, prices)
        if when.size > 1:
            span = int((when[-1] - when[0]).astype(np.int64))
            if span >= least_days and when.size >= span / BLOCK_DAYS:
                found[name] = (when, price)
    return found


def shared_span(history: History, block_days: int = BLOCK_DAYS) -> tuple[np.datetime64, np.datetime64]:
    """First and last day on which a block can start in every series of the history.

    Raises
    ------
    InputError : no series, or no day on which a whole block lies in all of them
    """
    if not history:
        raise InputError("no price history is on file", expected="dated prices over three years or more")
    first = max(dates[0] for dates, _ in history.values())
    last = min(dates[-1] for dates, _ in history.values()) - np.timedelta64(block_days, "D")
    if last < first:
        raise InputError(
            f"price histories share no stretch of {block_days} days",
            where=", ".join(sorted(history)),
            todo="give quotes of the same years for each",
        )
    return np.datetime64(first, "D"), np.datetime64(last, "D")


def block_starts(uniform: ArrayLike, first: np.datetime64, last: np.datetime64) -> Dates:
    """Start days of blocks from uniform draws in [0, 1), any shape; every day from `first` to `last` equally likely."""
    days = int((last - first).astype(np.int64)) + 1
    step = np.floor(np.asarray(uniform, dtype=np.float64) * days).astype("timedelta64[D]")
    return np.asarray(first + step, dtype="datetime64[D]")


def block_log_paths(
    dates: ArrayLike,
    prices: ArrayLike,
    starts: ArrayLike,
    at_days: ArrayLike,
    *,
    block_days: int = BLOCK_DAYS,
    centred: bool = True,
) -> Floats:
    """Log of the future price over today's, built from blocks of one series' own past moves.

    Draw the starts once and use them for every commodity: then each draw joins moves of the same past weeks, and the
    correlation between commodities is that of the record. Blocks keep the record's own autocorrelation, unlike single
    moves drawn one by one (Kuensch 1989, moving blocks; from memory).

    Parameters
    ----------
    dates, prices : (n,) the record, oldest first, prices above zero; weekly, monthly or irregular
    starts : (draw, block) days on which the blocks begin; a block takes its first price at or before that day
    at_days : (k,) days from today, at most ``block_days`` x blocks
    block_days : length of a block [d]
    centred : take out the record's mean move, and scale so that the mean ratio over the draws is 1 at each day

    Returns
    -------
    (draw, k). Between two prices of the record a path holds the root of the elapsed share of the move, so that the
    variance, not the move, grows evenly with time: a straight line would make weeks inside a monthly record too calm.
    """
    when = np.asarray(dates, "datetime64[D]").astype(np.int64).astype(np.float64)
    log_price = np.log(np.asarray(prices, dtype=np.float64))
    if centred:
        log_price = log_price - (log_price[-1] - log_price[0]) / (when[-1] - when[0]) * (when - when[0])
    begin = np.asarray(starts, "datetime64[D]").astype(np.int64).astype(np.float64)
    ahead = np.asarray(at_days, dtype=np.float64)
    blocks = begin.shape[1]
    if ahead.size and ahead.max() > blocks * block_days:
        raise ValueError(f"{ahead.max():g} days ahead need more than {blocks} blocks of {block_days} days")
    anchor = np.clip(np.searchsorted(when, begin, side="right") - 1, 0, when.size - 1)
    whole = _moved(when, log_price, anchor, np.full((1, 1), float(block_days)))
    before = np.concatenate([np.zeros((begin.shape[0], 1)), np.cumsum(whole, axis=1)], axis=1)
    block = np.minimum(np.ceil(ahead / block_days).astype(np.int64) - 1, blocks - 1).clip(0)
    paths = before[:, block] + _moved(when, log_price, anchor[:, block], (ahead - block * block_days)[None, :])
    if centred:
        paths = paths - np.log(np.exp(paths).mean(axis=0))
    return np.asarray(paths, dtype=np.float64)


def _moved(when: Floats, log_price: Floats, anchor: NDArray[np.int64], elapsed: Floats) -> Floats:
    """Log price `elapsed` days after the price at index `anchor`, less that price; shapes broadcast."""
    target = when[anchor] + elapsed
    left = np.clip(np.searchsorted(when, target, side="right") - 1, 0, when.size - 1)
    right = np.minimum(left + 1, when.size - 1)
    gap = np.maximum(when[right] - when[left], 1.0)
    part = np.sqrt(np.clip((target - when[left]) / gap, 0.0, 1.0))
    return np.asarray(log_price[left] - log_price[anchor] + part * (log_price[right] - log_price[left]))


@dataclass(frozen=True)
class Calendar:
    """Days on which blocks may begin, shared by every commodity: (draw, block) arrays of days from `first` to `last`.

    Each series takes, for each block, the first of the days that lies in its own record. Series that were quoted over
    the same years then share every block, others those that begin where both were, and no series is narrowed or moved
    by what else is on file.
    """

    first: np.datetime64
    last: np.datetime64
    tries: Iterable[Dates]

    def starts(self, spare: Dates, first: np.datetime64, last: np.datetime64) -> Dates:
        """(draw, block) first days between `first` and `last`; `spare` where no try lies there.

        All of `spare` for a record that reaches out of the calendar, whose older days would never be drawn.
        """
        if first < self.first or last > self.last:
            return spare
        found, open_ = spare.copy(), np.ones(spare.shape, bool)
        for days in self.tries:
            fits = open_ & (days >= first) & (days <= last)
            found[fits] = days[fits]
            open_ &= ~fits
            if not open_.any():
                break
        return found


def history_log_paths(
    history: History, commodity: str, uniform: ArrayLike, at_days: ArrayLike, calendar: Calendar | None = None
) -> Floats:
    """Block paths of one commodity over the whole span of its own record.

    Parameters
    ----------
    history : commodity -> (dates, prices); only the commodity's own series is read
    commodity : a name in the history
    uniform : (draw, block) draws in [0, 1), the same for every commodity
    at_days : (k,) days from today
    calendar : days of the blocks shared with other commodities; by `uniform` alone where None

    Returns
    -------
    (draw, k) log of price over today's price

    Raises
    ------
    InputError : the commodity has no record of three years
    """
    usable = long_enough({name: series for name, series in history.items() if name == commodity})
    if commodity not in usable:
        enough = ", ".join(long_enough(history)) or "none"
        raise InputError(f"no record of three years or more for {commodity!r}", expected=f"one of {enough}")
    first, last = shared_span(usable)
    starts = block_starts(uniform, first, last)
    if calendar is not None:
        starts = calendar.starts(starts, first, last)
    return block_log_paths(*usable[commodity], starts, at_days)


# --- lognormal about a quote ------------------------------------------------------------------------------------------


def lognormal_price(quote: ArrayLike, volatility: ArrayLike, days: ArrayLike, normal: ArrayLike) -> Floats:
    """Price after `days`, F exp(-s^2 T / 2 + s sqrt(T) z): mean F, median F exp(-s^2 T / 2).

    Parameters
    ----------
    quote : futures price F for that time, any money unit
    volatility : standard deviation s of the log price over a year [1]
    days : calendar days ahead [d]; T = days / 365
    normal : standard normal draws z, broadcast with the rest

    References
    ----------
    Black, F., J. Financial Economics 3:167-179, 1976 (from memory): the futures price as the risk-neutral mean.
    """
    years = np.asarray(days, float) / DAYS_A_YEAR
    spread = np.asarray(volatility, float) * np.sqrt(years)
    return np.asarray(
        np.asarray(quote, float) * np.exp(spread * np.asarray(normal, float) - spread**2 / 2), dtype=np.float64
    )


def chance_above(quote: ArrayLike, level: ArrayLike, volatility: ArrayLike, days: ArrayLike) -> Floats:
    """P(price > level) under `lognormal_price`: the standard normal integral to (ln(F/K) - s^2 T / 2) / (s sqrt T)."""
    from scipy.special import ndtr

    spread = np.asarray(volatility, float) * np.sqrt(np.asarray(days, float) / DAYS_A_YEAR)
    ratio = np.log(np.asarray(quote, float) / np.asarray(level, float))
    return np.asarray(ndtr((ratio - spread**2 / 2) / spread), dtype=np.float64)


def lognormal_percentile(quote: ArrayLike, volatility: ArrayLike, days: ArrayLike, share: ArrayLike) -> Floats:
    """Price that `share` (0 to 1) of the futures lie below."""
    from scipy.special import ndtri

    return lognormal_price(quote, volatility, days, ndtri(np.asarray(share, float)))


def lognormal_worst_mean(quote: ArrayLike, volatility: ArrayLike, days: ArrayLike, share: ArrayLike) -> Floats:
    """Mean price in the worst `share` of the futures: F N(z - s sqrt T) / share with z the share's normal quantile."""
    from scipy.special import ndtr, ndtri

    spread = np.asarray(volatility, float) * np.sqrt(np.asarray(days, float) / DAYS_A_YEAR)
    part = np.asarray(share, float)
    return np.asarray(np.asarray(quote, float) * ndtr(ndtri(part) - spread) / part, dtype=np.float64)


def cash_price(futures: ArrayLike, basis: ArrayLike, basis_sd: ArrayLike = 0.0, normal: ArrayLike = 0.0) -> Floats:
    """Cash price from a futures price: futures + basis + basis sd x z, all in the price's own unit."""
    return np.asarray(
        np.asarray(futures, float) + np.asarray(basis, float) + np.asarray(basis_sd, float) * np.asarray(normal, float),
        dtype=np.float64,
    )


def correlated(normal: ArrayLike, correlation: ArrayLike) -> Floats:
    """Standard normals with a stated correlation from independent ones.

    Parameters
    ----------
    normal : (..., k) independent standard normals
    correlation : (k, k), symmetric with ones on the diagonal

    Raises
    ------
    InputError : the table is not symmetric, not of ones on the diagonal, or no set of prices can have it
    """
    table = np.asarray(correlation, dtype=np.float64)
    if table.ndim != 2 or not np.allclose(table, table.T) or not np.allclose(np.diag(table), 1):
        raise InputError("the correlation table is not square, symmetric and one on its diagonal")
    values, vectors = np.linalg.eigh(table)
    if values.min() < -1e-8:
        raise InputError("no prices can be correlated as the table says", todo="bring the correlations nearer to zero")
    root = vectors * np.sqrt(np.clip(values, 0, None))
    return np.asarray(np.asarray(normal, float) @ root.T, dtype=np.float64)
