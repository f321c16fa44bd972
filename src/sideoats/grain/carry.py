"""What it costs to keep grain, and what a later price must reach: carry, break-even, basis, spread, storage hedge.

Months are twelfths of a year (365/12 days). Interest is simple. Prices are USD/bu, arrays broadcast.

References
----------
Working, H., 1949. The theory of price of storage. American Economic Review 39:1254-1262 (from memory).
McNeill, S., Johnson, D., 2011, University of Kentucky: interest on the spread between two delivery months (printed
example in tests/published/test_grain_carry.py).
Reinbott, D., University of Missouri Extension: on-farm storage returns, variable cost = interest + a monthly charge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

MONTH_DAYS = 365.0 / 12.0
MONTHS = 12.0


def _floats(*values: ArrayLike) -> tuple[Floats, ...]:
    return tuple(np.asarray(v, dtype=np.float64) for v in values)


def storage_charge(
    months: ArrayLike,
    per_month: ArrayLike,
    *,
    free_days: ArrayLike = 0.0,
    minimum: ArrayLike = 0.0,
    handling: ArrayLike = 0.0,
) -> Floats:
    """What the store asks for, USD/bu, under a schedule with free days, a minimum and one-time handling.

    Parameters
    ----------
    months : time stored [month]; nothing is charged at zero
    per_month : running charge [USD/bu/month]
    free_days : days at the start that are not charged [day]
    minimum : least running charge once the free days are over [USD/bu]
    handling : taking in and out, once [USD/bu]

    Returns
    -------
    USD/bu; NaN where months is negative
    """
    time, rate, free, least, once = _floats(months, per_month, free_days, minimum, handling)
    charged = np.maximum(time - free / MONTH_DAYS, 0.0)
    charge = np.where(charged > 0, np.maximum(rate * charged, least), 0.0) + once
    return np.where(time < 0, np.nan, np.where(time > 0, charge, 0.0))


def interest_cost(price: ArrayLike, annual_rate: ArrayLike, months: ArrayLike) -> Floats:
    """Simple interest on the value of the grain, USD/bu: price x rate x months / 12."""
    value, rate, time = _floats(price, annual_rate, months)
    return np.asarray(value * rate * time / MONTHS, dtype=np.float64)


def daily_interest(price: ArrayLike, annual_rate: ArrayLike) -> Floats:
    """Simple interest for one day, USD/bu/day, on a year of 365 days."""
    value, rate = _floats(price, annual_rate)
    return np.asarray(value * rate / 365.0, dtype=np.float64)


def carrying_cost(
    price: ArrayLike, months: ArrayLike, *, storage: ArrayLike, annual_rate: ArrayLike, loss: ArrayLike = 0.0
) -> Floats:
    """Cost of keeping a bushel, USD/bu: storage + interest + loss valued at today's price.

    Parameters
    ----------
    price : today's net price [USD/bu]
    months : time kept [month]
    storage : total storage and handling for that time [USD/bu], as from `storage_charge`
    annual_rate : interest per year [1/year], 0.08 for 8 %
    loss : shrink and quality loss over the whole time, share of value [1]

    Notes
    -----
    Valuing the loss at today's price rather than at the later one errs by loss x (later price - today's price).
    """
    value, time, store, rate, lost = _floats(price, months, storage, annual_rate, loss)
    return np.asarray(store + interest_cost(value, rate, time) + value * lost, dtype=np.float64)


def break_even_price(
    price: ArrayLike, months: ArrayLike, *, storage: ArrayLike, annual_rate: ArrayLike, loss: ArrayLike = 0.0
) -> Floats:
    """Net price that must be had after `months` to equal selling today: price + `carrying_cost`, USD/bu."""
    cost = carrying_cost(price, months, storage=storage, annual_rate=annual_rate, loss=loss)
    return np.asarray(np.asarray(price, dtype=np.float64) + cost, dtype=np.float64)


def indifference_price(
    later_price: ArrayLike, months: ArrayLike, *, storage: ArrayLike, annual_rate: ArrayLike, loss: ArrayLike = 0.0
) -> Floats:
    """Today's price at which selling now equals `later_price` after `months`, USD/bu: `break_even_price` turned round.

    (later - storage) / (1 + rate x months / 12 + loss)
    """
    later, time, store, rate, lost = _floats(later_price, months, storage, annual_rate, loss)
    return np.asarray((later - store) / (1.0 + rate * time / MONTHS + lost), dtype=np.float64)


def basis(cash: ArrayLike, futures: ArrayLike) -> Floats:
    """Cash price less the futures price of a named contract, USD/bu."""
    local, quoted = _floats(cash, futures)
    return np.asarray(local - quoted, dtype=np.float64)


def spread(near: ArrayLike, deferred: ArrayLike) -> Floats:
    """Deferred contract less the near one, USD/bu; below zero is an inverse (the market pays not to store)."""
    first, second = _floats(near, deferred)
    return np.asarray(second - first, dtype=np.float64)


def share_of_full_carry(
    near: ArrayLike, deferred: ArrayLike, months: ArrayLike, *, storage: ArrayLike, annual_rate: ArrayLike
) -> Floats:
    """Spread over the cost of storing between the two contracts (storage + interest on the near one), 1 = full carry.

    `storage` is the total for the months between [USD/bu]. NaN where that cost is not above zero.
    """
    first, time = _floats(near, months)
    cost = np.asarray(storage, dtype=np.float64) + interest_cost(first, annual_rate, time)
    gap = spread(near, deferred)
    empty = np.full(np.broadcast(gap, cost).shape, np.nan)
    return np.asarray(np.divide(gap, cost, out=empty, where=cost > 0))


def storage_hedge_return(
    cash_now: ArrayLike, deferred_now: ArrayLike, basis_later: ArrayLike, cost: ArrayLike
) -> Floats:
    """Return to storing with the deferred contract sold, USD/bu, whatever futures do.

    (deferred_now + basis_later) - cash_now - cost, where `basis_later` is the basis to that contract when the grain is
    sold and `cost` the carrying cost until then. Commission and margin money are not in it.
    """
    cash, sold, later, carried = _floats(cash_now, deferred_now, basis_later, cost)
    return np.asarray(sold + later - cash - carried, dtype=np.float64)
