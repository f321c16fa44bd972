"""Selling food direct: a stand, a fair, a mobile kitchen. Break-even sales and the money of a day that may be wet.

Textbook cost-volume-profit arithmetic, and the single-period stock problem for how much to prepare.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def contribution(price: ArrayLike, unit_cost: ArrayLike, fee_share: ArrayLike = 0.0) -> Floats:
    """What one sale leaves for fixed cost, USD: price x (1 - share taken by host, card or tax) - cost of the food."""
    paid, cost, fee = (np.asarray(x, np.float64) for x in (price, unit_cost, fee_share))
    return np.asarray(paid * (1.0 - fee) - cost, dtype=np.float64)


def break_even_sales(fixed_cost: ArrayLike, margin: ArrayLike) -> Floats:
    """Portions to sell before fixed cost is covered: fixed / contribution; infinite where a sale leaves nothing."""
    fixed, left = np.asarray(fixed_cost, np.float64), np.asarray(margin, np.float64)
    shape = np.broadcast(fixed, left).shape
    with np.errstate(over="ignore"):  # next to nothing left of a sale: more portions than there are numbers, infinite
        return np.asarray(np.divide(fixed, left, out=np.full(shape, np.inf), where=left > 0))


def break_even_prepared(
    fixed_cost: ArrayLike, margin: ArrayLike, unit_cost: ArrayLike, prepared: ArrayLike, spoilage: ArrayLike
) -> Floats:
    """Portions to sell when `prepared` portions are made and the unsold ones are partly or wholly lost.

    (fixed + unit cost x spoilage x prepared) / (contribution + unit cost x spoilage); above `prepared` it cannot be
    reached with that many, infinite where a sale gains nothing.
    """
    cost, lost = np.asarray(unit_cost, np.float64), np.asarray(spoilage, np.float64)
    waste = cost * lost
    return break_even_sales(
        np.asarray(fixed_cost, np.float64) + waste * np.asarray(prepared, np.float64),
        np.asarray(margin, np.float64) + waste,
    )


def triangular(uniform: ArrayLike, low: ArrayLike, likely: ArrayLike, high: ArrayLike) -> Floats:
    """Triangular draws from uniform ones, by inversion; the ends and the likeliest value are the user's own guess."""
    u, a, c, b = (np.asarray(x, np.float64) for x in (uniform, low, likely, high))
    width = b - a
    safe = np.where(width > 0, width, 1.0)
    turn = (c - a) / safe
    rising = a + np.sqrt(np.maximum(u * width * (c - a), 0.0))
    falling = b - np.sqrt(np.maximum((1.0 - u) * width * (b - c), 0.0))
    return np.asarray(np.where(width > 0, np.where(u < turn, rising, falling), c), dtype=np.float64)


def critical_share(price: ArrayLike, unit_cost: ArrayLike, spoilage: ArrayLike, fee_share: ArrayLike = 0.0) -> Floats:
    """Chance of selling out at which one more portion just pays, 0 to 1: the quantile of demand to prepare for.

    under / (under + over), where under is the contribution missed and over the cost of the share of unsold food lost.
    """
    under = np.maximum(contribution(price, unit_cost, fee_share), 0.0)
    over = np.asarray(unit_cost, np.float64) * np.asarray(spoilage, np.float64)
    total = np.asarray(under + over)
    return np.asarray(np.divide(under, total, out=np.zeros(total.shape), where=total > 0))


def stand_profit(
    demand: ArrayLike,
    prepared: ArrayLike,
    *,
    price: ArrayLike,
    unit_cost: ArrayLike,
    fixed_cost: ArrayLike,
    spoilage: ArrayLike = 1.0,
    fee_share: ArrayLike = 0.0,
) -> tuple[Floats, Floats]:
    """Portions sold and money left over an event.

    Parameters
    ----------
    demand : (..., day) portions asked for each day; NaN for a day on which the stand is not open at all
    prepared : portions made ready each day, broadcast against demand without its last axis
    price, unit_cost : per portion [USD]
    fixed_cost : for the whole event: space, licences, fuel, hired help [USD]
    spoilage : share of unsold portions that is lost [1]
    fee_share : share of the takings that goes to host, cards or tax [1]

    Returns
    -------
    sold : (...,) portions over the event
    profit : (...,) USD
    """
    asked = np.asarray(demand, np.float64)
    ready = np.asarray(prepared, np.float64)[..., None]
    closed = np.isnan(asked)
    sold_day = np.where(closed, 0.0, np.minimum(asked, ready))
    sold = sold_day.sum(axis=-1)
    left = np.where(closed, 0.0, ready - sold_day)
    wasted = (left * np.asarray(spoilage, np.float64)[..., None]).sum(axis=-1)
    margin = contribution(price, unit_cost, fee_share)
    profit = sold * margin - wasted * np.asarray(unit_cost, np.float64) - np.asarray(fixed_cost, np.float64)
    return np.asarray(sold), np.asarray(profit, dtype=np.float64)
