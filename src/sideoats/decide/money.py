"""Money over time: partial budgets, net present value, annuities (textbook definitions; values checked in tests)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def partial_budget(
    added_returns: ArrayLike, reduced_costs: ArrayLike, added_costs: ArrayLike, reduced_returns: ArrayLike
) -> Floats:
    """Net change: (added returns + reduced costs) - (added costs + reduced returns), each summed over its items."""
    gains = np.sum(np.asarray(added_returns, float)) + np.sum(np.asarray(reduced_costs, float))
    return np.asarray(gains - np.sum(np.asarray(added_costs, float)) - np.sum(np.asarray(reduced_returns, float)))


def net_present_value(flows: ArrayLike, rate: ArrayLike, *, axis: int = -1) -> Floats:
    """Sum of flow_t / (1 + rate)^t along `axis`, the first flow at t = 0; rate per period, broadcast over the rest."""
    cash = np.moveaxis(np.asarray(flows, float), axis, -1)
    discount = (1 + np.asarray(rate, float))[..., None] ** -np.arange(cash.shape[-1])
    return np.asarray((cash * discount).sum(axis=-1), dtype=np.float64)


def annuity_factor(rate: ArrayLike, periods: ArrayLike) -> Floats:
    """Present value of 1 a period for `periods` periods: (1 - (1+r)^-n)/r, n at r = 0."""
    r, n = np.asarray(rate, float), np.asarray(periods, float)
    safe = np.where(r == 0, 1.0, r)
    return np.asarray(np.where(r == 0, n, (1 - (1 + safe) ** -n) / safe), dtype=np.float64)


def internal_rate(flows: ArrayLike) -> float:
    """Rate at which the net present value is zero; NaN where there is no sign change between -99 % and 1000 %."""
    from scipy.optimize import brentq

    cash = np.asarray(flows, float)

    def value(rate: float) -> float:
        return float(net_present_value(cash, rate))

    if value(-0.99) * value(10.0) > 0:
        return float("nan")
    return float(brentq(value, -0.99, 10.0, xtol=1e-14))
