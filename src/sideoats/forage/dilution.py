"""Blends of feeds on dry matter: shares, levels, pounds to weigh out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def parts_low_per_part_hot(hot: ArrayLike, low: ArrayLike, target: ArrayLike) -> Floats:
    """Parts of low feed to one part of hot feed that bring the mean to the target; NaN unless low < target < hot.

    ``x = (b - a) / (a - c)``, solved from ``a = (b + c x) / (1 + x)``.

    References
    ----------
    American Agricultural Laboratory (Nebraska), nitrate mixing guideline.
    """
    b, c, a = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(hot, low, target))
    inside = (c < a) & (a < b)
    return np.where(inside, (b - a) / np.where(inside, a - c, 1.0), np.nan)


def hot_share(hot: ArrayLike, low: ArrayLike, target: ArrayLike) -> Floats:
    """Share of the hot feed at which the blend reaches the target exactly; NaN unless low < target < hot.

    ``f = (a - c) / (b - c)``; the same reference.
    """
    b, c, a = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(hot, low, target))
    inside = (c < a) & (a < b)
    return np.where(inside, (a - c) / np.where(inside, b - c, 1.0), np.nan)


def safe_share(hot: ArrayLike, low: ArrayLike, ceiling: ArrayLike, drunk: ArrayLike = 0.0) -> Floats:
    """Largest share of the hot feed in whole percent that keeps the ration, water counted, UNDER the ceiling.

    Rounded down, so that the ration is never at the ceiling itself (classes are half-open).

    Parameters
    ----------
    hot, low : [ppm NO3-N dry]
    ceiling : [ppm NO3-N dry] that the whole ration must stay under
    drunk : [ppm of dry matter] that the water adds

    Returns
    -------
    share 0 to 1: 1 where the hot feed alone stays under, 0 where even the low feed does not or a value is unknown
    """
    b, c, top, water = (np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(hot, low, ceiling, drunk))
    room = top - water
    mixes = (c < room) & (b > c) & (b >= room * (1 - 1e-9))
    exact = np.where(mixes, (room - c) / np.where(mixes, b - c, 1.0), 0.0)
    share = np.clip(np.ceil(exact * 100.0 * (1 - 1e-9)) - 1.0, 0.0, 99.0) / 100.0
    return np.where(b < room * (1 - 1e-9), 1.0, np.where(mixes, share, 0.0))


def as_fed_pounds(shares: ArrayLike, intake_lb: ArrayLike, dry_matter: ArrayLike) -> Floats:
    """Pounds as fed of each feed, (..., feed): ``share * intake / dry matter`` (dry matter as a share)."""
    part = np.asarray(shares, dtype=np.float64)
    intake = np.asarray(intake_lb, dtype=np.float64)[..., None]
    return np.asarray(part * intake / np.asarray(dry_matter, dtype=np.float64), dtype=np.float64)
