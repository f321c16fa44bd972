"""Seasonal price indexes, both ways they are published; the two give different numbers, so each names its method.

A seasonal index is a mean of what past years did, not a forecast: show it with its years and its spread.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import median
from sideoats.errors import InputError

Floats: TypeAlias = NDArray[np.float64]
METHODS = {
    "year_mean": "ratio to the calendar year's mean",
    "centred_mean": "ratio to the centred 12-month mean",
}
MONTHS = 12


@dataclass(frozen=True)
class SeasonalIndex:
    """Index by calendar month, January first; 1 is an average month.

    Attributes
    ----------
    method : key of `METHODS`
    index : (12,) mean of the ratios, scaled to a mean of 1 under ``centred_mean``
    median : (12,) median of the ratios, not scaled
    spread : (12,) sample standard deviation (n - 1) of the ratios, not of prices
    count : (12,) years behind each month
    years : first and last year with a ratio
    ratios : (year, 12), NaN where a month has none
    """

    method: str
    index: Floats
    median: Floats
    spread: Floats
    count: NDArray[np.int64]
    years: tuple[int, int]
    ratios: Floats


def monthly_means(dates: ArrayLike, prices: ArrayLike) -> tuple[int, int, Floats]:
    """Mean price of each calendar month, from January of the first year to December of the last.

    Parameters
    ----------
    dates : (n,) days
    prices : (n,) any unit; missing and non-positive ones are left out

    Returns
    -------
    first year, last year, (years x 12,) means with NaN for a month without a price
    """
    months = np.asarray(dates, "datetime64[D]").astype("datetime64[M]").astype(np.int64) + 1970 * MONTHS
    price = np.asarray(prices, dtype=np.float64)
    good = np.isfinite(price) & (price > 0)
    if not good.any():
        raise InputError("no price above zero in the series", expected="dated prices")
    months, price = months[good], price[good]
    first, last = int(months.min()) // MONTHS, int(months.max()) // MONTHS
    size = (last - first + 1) * MONTHS
    at = months - first * MONTHS
    total, count = np.bincount(at, price, size), np.bincount(at, minlength=size)
    return first, last, np.divide(total, count, out=np.full(size, np.nan), where=count > 0)


def centred_mean(monthly: ArrayLike) -> Floats:
    """Centred 12-month mean (n,): half weight on the months six before and six after; NaN in the first and last six."""
    price = np.asarray(monthly, dtype=np.float64)
    out = np.full(price.shape, np.nan)
    if price.size > MONTHS:
        weights = np.full(MONTHS + 1, 1.0)
        weights[[0, -1]] = 0.5
        windows = np.lib.stride_tricks.sliding_window_view(price, MONTHS + 1)
        out[MONTHS // 2 : -(MONTHS // 2)] = windows @ weights / MONTHS
    return out


def seasonal_index(first_year: int, monthly: ArrayLike, method: str = "centred_mean") -> SeasonalIndex:
    """Seasonal index of monthly prices.

    Parameters
    ----------
    first_year : year of the first month, which is a January
    monthly : (years x 12,) mean prices, NaN where missing (`monthly_means` gives both)
    method : ``"year_mean"``: each month over the mean of its calendar year, years with a missing month left out; trend
        inside the year stays in the index. ``"centred_mean"``: each month over the centred 12-month mean, then scaled
        so that the twelve average 1; the first and last six months give no ratio.

    Raises
    ------
    InputError : a month without any ratio (the record is too short)

    References
    ----------
    ``year_mean`` as used by Mississippi State and Louisiana State extension (read); ``centred_mean`` is the classical
    ratio to moving average, the same as multiplicative decomposition with a filter of (1/2, 1, ..., 1, 1/2) / 12.
    """
    price = np.asarray(monthly, dtype=np.float64)
    if method not in METHODS:
        raise ValueError(f"method {method!r} is not one of {', '.join(METHODS)}")
    if price.size % MONTHS:
        raise ValueError(f"{price.size} months are not whole years")
    table = price.reshape(-1, MONTHS)
    base = table.mean(axis=1, keepdims=True) if method == "year_mean" else centred_mean(price).reshape(-1, MONTHS)
    ratios = table / base
    known = np.isfinite(ratios)
    count = known.sum(axis=0)
    if (count == 0).any():
        raise InputError(
            f"the price record gives no seasonal ratio for month {int(np.argmin(count)) + 1}",
            expected="at least two whole years of monthly prices",
        )
    index = np.nansum(ratios, axis=0) / count
    if method == "centred_mean":
        index = index / index.mean()
    held = np.flatnonzero(known.any(axis=1))
    squares = np.where(known, (ratios - np.nansum(ratios, axis=0) / count) ** 2, 0.0).sum(axis=0)
    spread = np.sqrt(np.divide(squares, count - 1, out=np.full(MONTHS, np.nan), where=count > 1))
    return SeasonalIndex(
        method=method,
        index=np.asarray(index),
        median=np.asarray(np.nanmedian(ratios, axis=0)),
        spread=spread,
        count=count.astype(np.int64),
        years=(first_year + int(held[0]), first_year + int(held[-1])),
        ratios=ratios,
    )


def seasonal_price(
    price: ArrayLike, index: SeasonalIndex, month: ArrayLike, later_month: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Price in a later month if the season runs as its mean: price x I_later / I_now, with the band of one spread.

    Parameters
    ----------
    price : mean price of `month`, any unit
    month, later_month : 1 to 12

    Returns
    -------
    expected, low, high in the price's unit; the band is x (1 -+ spread / index) of the later month
    """
    now, then = np.asarray(month, np.int64) - 1, np.asarray(later_month, np.int64) - 1
    expected = np.asarray(price, float) * index.index[then] / index.index[now]
    share = index.spread[then] / index.index[then]
    return np.asarray(expected), np.asarray(expected * (1 - share)), np.asarray(expected * (1 + share))


def year_ratios(index: SeasonalIndex, month: int, later_month: int) -> Floats:
    """(year,) later month over earlier month by each past year's ratios, crossing into the next year if need be."""
    ratios = index.ratios
    if later_month > month:
        moved = ratios[:, later_month - 1] / ratios[:, month - 1]
    else:
        moved = ratios[1:, later_month - 1] / ratios[:-1, month - 1]
    return np.asarray(moved[np.isfinite(moved)])


@dataclass(frozen=True)
class SeasonMove:
    """What past years did between the calendar months of two days; price ratios are later over earlier.

    Attributes
    ----------
    ratio, low, high : by the index of the two months, and its band of one spread
    years : first and last year of the index
    moves : (year,) ratio of each past year
    """

    ratio: float
    low: float
    high: float
    years: tuple[int, int]
    moves: Floats

    @property
    def mean(self) -> float:
        """Mean ratio of the years."""
        return float(self.moves.mean())

    @property
    def median(self) -> float:
        """Median ratio of the years."""
        return float(median(self.moves))

    def share_above(self, level: float) -> float:
        """Share of the years in which the price moved to more than `level` times what it was."""
        return float((self.moves > level).mean())


def season_move(dates: ArrayLike, prices: ArrayLike, on: date, later: date) -> SeasonMove | None:
    """The seasonal record between the months of `on` and `later`; None where no past year holds both.

    Raises
    ------
    InputError : the record is too short for an index
    """
    first, last, monthly = monthly_means(dates, prices)
    if last - first < 2:
        raise InputError("the price record is too short for a season", expected="two whole years of monthly prices")
    index = seasonal_index(first, monthly)
    moves = year_ratios(index, on.month, later.month)
    if not moves.size:
        return None
    ratio, low, high = seasonal_price(1.0, index, on.month, later.month)
    return SeasonMove(float(ratio), float(low), float(high), index.years, moves)
