"""What an option on futures is worth, and the volatility that its premium stands for.

References
----------
Black, F., 1976, J. Financial Economics 3:167-179 (from memory): call = F N(d1) - K N(d2), undiscounted, with
d1 = (ln(F/K) + v^2 T / 2) / (v sqrt(T)) and d2 = d1 - v sqrt(T). Worked values: tests/published/test_grain_options.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.decide.laws import normal_below

Floats = NDArray[np.float64]

_LEAST, _MOST, _HALVINGS = 1e-4, 5.0, 60  # yearly volatility searched, and halvings of that span


def black_call(futures: ArrayLike, strike: ArrayLike, volatility: ArrayLike, years: ArrayLike) -> Floats:
    """Expected worth of a call at its last day, in the unit of `futures`; undiscounted.

    Parameters
    ----------
    futures, strike : prices above zero
    volatility : standard deviation of the log price over a year, above zero
    years : time to the last day, above zero
    """
    price, level, spread, time = (np.asarray(x, np.float64) for x in (futures, strike, volatility, years))
    width = spread * np.sqrt(time)
    upper = np.log(price / level) / width + width / 2
    return np.asarray(price * normal_below(upper) - level * normal_below(upper - width))


def implied_volatility(premium: ArrayLike, futures: ArrayLike, strike: ArrayLike, years: ArrayLike) -> Floats:
    """Yearly volatility at which `black_call` equals `premium`.

    NaN where no volatility does: a premium under what the call would bring at once, or not under the futures price.
    """
    asked, price, level, time = np.broadcast_arrays(
        *(np.asarray(x, np.float64) for x in (premium, futures, strike, years))
    )
    low, high = np.full(asked.shape, _LEAST), np.full(asked.shape, _MOST)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        dear = black_call(price, level, middle, time) > asked
        low, high = np.where(dear, low, middle), np.where(dear, middle, high)
    possible = (asked > np.maximum(price - level, 0.0)) & (asked < price)
    return np.where(possible, (low + high) / 2, np.nan)
