"""Balance sheet arithmetic, and the range of prices that went with such a sheet in the user's own history.

The range is what happened, not a forecast: no coefficient is shipped, because published ones did not outlast their
years (Westcott and Hoffman 1999 and its successors; see docs/grain.md).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BalanceSheet:
    """One marketing year, all in one unit (million bu, million t); arrays broadcast."""

    supply: Floats
    use: Floats
    ending_stocks: Floats
    stocks_to_use: Floats


def balance_sheet(
    beginning_stocks: ArrayLike, production: ArrayLike, imports: ArrayLike, domestic_use: ArrayLike, exports: ArrayLike
) -> BalanceSheet:
    """Supply, use, ending stocks and stocks-to-use (a share) of a marketing year.

    Rounded published rows need not add up exactly; the totals here are of the rows given.
    """
    begin, grown, bought, eaten, sold = (
        np.asarray(x, np.float64) for x in (beginning_stocks, production, imports, domestic_use, exports)
    )
    supply, use = np.asarray(begin + grown + bought), np.asarray(eaten + sold)
    ending = np.asarray(supply - use)
    return BalanceSheet(supply, use, ending, stocks_to_use(ending, use))


def stocks_to_use(ending_stocks: ArrayLike, total_use: ArrayLike) -> Floats:
    """Ending stocks as a share of total use; NaN where use is not above zero."""
    stocks, use = np.asarray(ending_stocks, np.float64), np.asarray(total_use, np.float64)
    empty = np.full(np.broadcast(stocks, use).shape, np.nan)
    return np.asarray(np.divide(stocks, use, out=empty, where=use > 0))


@dataclass(frozen=True)
class PriceRange:
    """Prices that went with a stocks-to-use ratio in a history; USD in the unit of the history.

    Attributes
    ----------
    middle, low, high : fitted price and the range that would have held `coverage` of such years
    residual_sd : of log price about the fitted line
    years : number of years used
    inside : whether the ratio lies inside the range of ratios seen
    """

    middle: float
    low: float
    high: float
    residual_sd: float
    slope: float
    years: int
    inside: bool


def price_range(
    stocks_to_use_now: float, history_stocks_to_use: ArrayLike, history_price: ArrayLike, *, coverage: float = 0.8
) -> PriceRange:
    """Range of prices seen at such a stocks-to-use ratio, from the user's own years.

    ln price = a + b ln(stocks-to-use) by least squares, with the Student t range for a single new year:
    fit +/- t s sqrt(1 + 1/n + (x - mean)^2 / Sxx). Four years or more are needed; NaN otherwise, or where a ratio or
    price is not above zero.
    """
    from scipy.special import stdtrit

    x_all, y_all = np.asarray(history_stocks_to_use, np.float64), np.asarray(history_price, np.float64)
    good = (x_all > 0) & (y_all > 0)
    x, y = np.log(x_all[good]), np.log(y_all[good])
    n = int(x.size)
    if n < 4 or stocks_to_use_now <= 0 or np.ptp(x) == 0:
        nan = float("nan")
        return PriceRange(nan, nan, nan, nan, nan, n, False)
    middle_x = x.mean()
    about = x - middle_x
    slope = float(about @ y / (about @ about))
    fitted = y.mean() + slope * about
    residual = float(np.sqrt(((y - fitted) ** 2).sum() / (n - 2)))
    here = float(np.log(stocks_to_use_now)) - middle_x
    centre = float(y.mean() + slope * here)
    reach = float(stdtrit(n - 2, 0.5 + coverage / 2)) * residual * float(np.sqrt(1 + 1 / n + here**2 / (about @ about)))
    seen = bool(x_all[good].min() <= stocks_to_use_now <= x_all[good].max())
    low, middle, high = (float(np.exp(v)) for v in (centre - reach, centre, centre + reach))
    return PriceRange(middle, low, high, residual, slope, n, seen)
