"""Selling in parts: mean and spread of k sales on different dates.

Textbook algebra of a sum of correlated amounts; splitting sales over the season is common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def equal_shares(parts: int) -> Floats:
    """Shares of a sale in `parts` equal parts, adding to one."""
    return np.full(parts, 1.0 / parts)


def split_mean(net_price: ArrayLike, shares: ArrayLike) -> Floats:
    """Mean net price of a sale in parts, USD/bu: net prices along the last axis, weighted by `shares`."""
    return np.asarray(np.asarray(net_price, np.float64) @ np.asarray(shares, np.float64), dtype=np.float64)


def split_sd(sd: ArrayLike, correlation: ArrayLike, shares: ArrayLike) -> float:
    """Standard deviation of the mean net price of a sale in parts, in the unit of `sd`.

    Parameters
    ----------
    sd : (k,), standard deviation of the net price at each date
    correlation : (k, k), or one number for every pair of dates
    shares : (k,), adding to one

    Notes
    -----
    variance = sum_ij w_i w_j s_i s_j rho_ij. Dates share one price level, so rho is high and splitting calms little.
    """
    spread, weight = np.asarray(sd, np.float64), np.asarray(shares, np.float64)
    rho = np.asarray(correlation, np.float64)
    if rho.ndim == 0:
        rho = np.where(np.eye(spread.size, dtype=bool), 1.0, rho)
    scaled = spread * weight
    return math.sqrt(max(float(scaled @ rho @ scaled), 0.0))


def draw_correlation(net_price: ArrayLike) -> Floats:
    """Correlation between sale dates seen in draws, (date, date), from net prices (draw, date)."""
    return np.asarray(np.corrcoef(np.asarray(net_price, np.float64), rowvar=False), dtype=np.float64)
