"""Leaf disease of wheat: what a published chance of a response says of its mean, and what a spray returns.

References
----------
[1] Kansas State Univ. Agronomy eUpdate 560, 1 Apr 2016: chances of a response of more than 4 bu/ac to a fungicide
[2] Wegulo (Univ. of Nebraska) as used by North Dakota State Univ. Crop & Pest Report 5, 7 Jun 2007: profit = Y f P - C
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def mean_response(chance: float, worthwhile: float, spread: float) -> float:
    """Mean share of yield saved, at which the response passes `worthwhile` with this chance [1]_: ``w + s z``.

    The response is normal with standard deviation `spread`, z the standard normal quantile of the chance. All of them
    shares of the yield, the chance above 0 and under 1.
    """
    return worthwhile + spread * NormalDist().inv_cdf(chance)


def response_return(yields: ArrayLike, price: ArrayLike, share: ArrayLike, cost: ArrayLike) -> Floats:
    """Return of a spray that saves `share` of the yield: ``Y f P - C`` [2]_ [USD/ac].

    `yields` [bu/ac], `price` [USD/bu], `cost` [USD/ac].
    """
    y, p, f, c = (np.asarray(x, float) for x in (yields, price, share, cost))
    return np.asarray(y * f * p - c)


def rain_multiple(rain: ArrayLike, low: float, high: float) -> Floats:
    """What each year's rain does to the response: `low` in the driest to `high` in the wettest year of the record.

    `rain` (station, year) totals of the days ahead [mm]; shares its shape with the result.  Evenly spaced by rank,
    since the published trials give an order (wetter, more) and no slope that carries over.
    """
    totals = np.asarray(rain, float)
    years = totals.shape[-1]
    if years == 1:
        return np.full(totals.shape, 0.5 * (low + high))
    rank = totals.argsort(axis=-1, kind="stable").argsort(axis=-1, kind="stable")
    return np.asarray(low + (high - low) * rank / (years - 1))
