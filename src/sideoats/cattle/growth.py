"""Weights over time, and the gain or days that reach a target."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def weight_after(weight: ArrayLike, gain: ArrayLike, days: ArrayLike) -> Floats:
    """Weight [lb] after `days` [d] at a steady `gain` [lb/d]."""
    return np.asarray(np.asarray(weight, float) + np.asarray(gain, float) * np.asarray(days, float), dtype=np.float64)


def gain_needed(weight: ArrayLike, target: ArrayLike, days: ArrayLike) -> Floats:
    """Daily gain [lb/d] that takes `weight` to `target` [lb] in `days` [d]; NaN where no day is left."""
    ahead, left = np.broadcast_arrays(np.asarray(target, float) - np.asarray(weight, float), np.asarray(days, float))
    return np.asarray(np.divide(ahead, left, out=np.full(ahead.shape, np.nan), where=left > 0))


def days_to_reach(weight: ArrayLike, target: ArrayLike, gain: ArrayLike) -> Floats:
    """Days [d] to reach `target` at `gain` [lb/d]; 0 where it is reached, NaN where the animal does not gain."""
    ahead, rate = np.broadcast_arrays(
        np.maximum(np.asarray(target, float) - np.asarray(weight, float), 0.0), np.asarray(gain, float)
    )
    needed = np.divide(ahead, rate, out=np.full(ahead.shape, np.nan), where=rate > 0)
    return np.where(ahead == 0, 0.0, needed)


def feed_for_gain(gained: ArrayLike, feed_per_gain: ArrayLike) -> Floats:
    """Feed [lb] for `gained` [lb] at `feed_per_gain` [lb of feed a lb of gain], both as fed or both dry."""
    return np.asarray(np.asarray(gained, float) * np.asarray(feed_per_gain, float), dtype=np.float64)
