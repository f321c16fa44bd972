"""Shrink: weight that leaves cattle without feed and water, and what a pencil shrink does to the price.

Shrink is a share of the full weight, 0 to 1, everywhere in this module.

References
----------
.. [1] Mississippi State University Extension, Publication P2577 (read): about 1 % an hour for the first 3 to 4 hours
   off feed and water, then about 0.25 % an hour for the next 8 to 10 hours.
.. [2] Trade article, lautnerfarms.com/cowcalf-production (read; a weak source): 3 % for the first 100 miles and 0.5 to
   1.0 % for each further 100 miles.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# hours of fast loss, hours of slow loss; the two ends of the ranges that [1] prints
STANDING_METHODS = {"msu_p2577_high": (4.0, 10.0), "msu_p2577_low": (3.0, 8.0)}
DISTANCE_METHODS = {"trade_low": 0.005, "trade_high": 0.010}


def standing_shrink(hours: ArrayLike, method: str = "msu_p2577_high") -> Floats:
    """Share of weight lost standing without feed and water; transport stress comes on top.

    Parameters
    ----------
    hours : time off feed and water [h]
    method : ``"msu_p2577_high"`` (fast loss for 4 h, slow for 10 h) or ``"msu_p2577_low"`` (3 h and 8 h)

    Returns
    -------
    share of full weight [1]; NaN below 0 h and beyond the rule's last hour (14 h or 11 h)

    References
    ----------
    [1] of the module
    """
    try:
        fast, slow = STANDING_METHODS[method]
    except KeyError:
        raise ValueError(f"method {method!r} is not one of {', '.join(STANDING_METHODS)}") from None
    h = np.asarray(hours, dtype=np.float64)
    lost = 0.01 * np.minimum(h, fast) + 0.0025 * np.maximum(0.0, h - fast)
    return np.where((h >= 0) & (h <= fast + slow), lost, np.nan)


def distance_shrink(miles: ArrayLike, method: str = "trade_high") -> Floats:
    """Share of weight lost on the truck by the trade's distance rule [2]; NaN for a negative distance.

    The first 100 miles cost 3 % whatever part of them is driven; each further 100 miles pro rata.
    """
    try:
        further = DISTANCE_METHODS[method]
    except KeyError:
        raise ValueError(f"method {method!r} is not one of {', '.join(DISTANCE_METHODS)}") from None
    way = np.asarray(miles, dtype=np.float64)
    lost = np.where(way > 0, 0.03, 0.0) + further * np.maximum(0.0, way - 100) / 100
    return np.where(way >= 0, lost, np.nan)


def pay_weight(scale_weight: ArrayLike, pencil_shrink: ArrayLike) -> Floats:
    """Weight paid for [lb]: scale weight x (1 - pencil shrink)."""
    return np.asarray(np.asarray(scale_weight, float) * (1 - np.asarray(pencil_shrink, float)), dtype=np.float64)


def equivalent_price(price: ArrayLike, shrink: ArrayLike, other_shrink: ArrayLike) -> Floats:
    """Price at `other_shrink` that pays the same as `price` at `shrink`: p (1 - s) / (1 - s').

    Any unit per weight. With `other_shrink` 0 this is the net price on the full weight.
    """
    left = 1 - np.asarray(shrink, float)
    return np.asarray(np.asarray(price, float) * left / (1 - np.asarray(other_shrink, float)), dtype=np.float64)


def combined_shrink(*shares: ArrayLike) -> Floats:
    """Total of shrinks that follow one another: 1 - product of (1 - s)."""
    left: Floats = np.asarray(1.0)
    for share in shares:
        left = np.asarray(left * (1 - np.asarray(share, float)), dtype=np.float64)
    return np.asarray(1 - left, dtype=np.float64)
