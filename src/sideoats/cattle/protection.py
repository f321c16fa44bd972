"""Net prices of cattle under the tools that fix or floor them [USD/cwt].

B is the futures price at the end, b the local basis then: cash is B + b. All arguments broadcast.

References
----------
Arithmetic of hedges, options and price insurance: Feuz, D. (net price the same at any end), Burdine, K., Univ. of
Kentucky, 2024 (indemnity); worked values in tests/published/test_cattle_protection.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def hedged(cash: ArrayLike, sold_at: ArrayLike, end: ArrayLike, fee: ArrayLike, share: ArrayLike = 1.0) -> Floats:
    """Cash price and short futures: cash + share (sold - end - fee); `share` of the pounds sold forward."""
    sold, now, cost = (np.asarray(x, float) for x in (sold_at, end, fee))
    return np.asarray(np.asarray(cash, float) + np.asarray(share, float) * (sold - now - cost))


def floored(cash: ArrayLike, strike: ArrayLike, end: ArrayLike, paid: ArrayLike, share: ArrayLike = 1.0) -> Floats:
    """Cash price and a put: cash + share (max(strike - end, 0) - paid), `paid` with interest and commission."""
    worth = np.maximum(np.asarray(strike, float) - np.asarray(end, float), 0.0)
    return np.asarray(np.asarray(cash, float) + np.asarray(share, float) * (worth - np.asarray(paid, float)))


def indemnity(insured: ArrayLike, ending: ArrayLike) -> Floats:
    """What price insurance pays: the coverage price over the ending value of the class, never below 0."""
    return np.asarray(np.maximum(np.asarray(insured, float) - np.asarray(ending, float), 0.0))


def subsidy_share(level: ArrayLike, lowest: Sequence[float], shares: Sequence[float]) -> Floats:
    """Share of the premium that the government pays at a coverage `level`; NaN under the lowest level.

    Parameters
    ----------
    lowest, shares : (step,) level from which a share is paid, rising
    """
    given = np.asarray(level, float)
    step = np.searchsorted(np.asarray(lowest, float), given + 1e-9, side="right") - 1
    return np.where(np.isfinite(given) & (step >= 0), np.asarray(shares, float)[np.maximum(step, 0)], np.nan)


def contracts(pounds: ArrayLike, contract: float) -> tuple[Floats, Floats]:
    """Whole contracts nearest to `pounds` [lb], and the share of the pounds that they cover."""
    weight = np.asarray(pounds, float)
    whole = np.maximum(np.round(weight / contract), 1.0)
    return whole, whole * contract / weight
