"""Dryland yield from stored soil water and rain: published straight lines between water used and grain."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def yield_from_water(used_in: ArrayLike, slope: float, threshold_in: float) -> Floats:
    """Grain [bu/ac] = slope [bu/ac/in] x (water used [in] - threshold [in]), not below zero.

    Water used is seasonal evapotranspiration. A boundary line (French and Schultz; the plains frontier) is an upper
    limit, a regression (Musick) is a mean: say which was used.
    """
    return np.maximum(slope * (np.asarray(used_in, np.float64) - threshold_in), 0.0)


def water_used(stored_in: ArrayLike, rain_in: ArrayLike, rain_used: ArrayLike) -> Floats:
    """Seasonal water use [in]: plant-available water at sowing plus the share of season rain that is used."""
    return np.asarray(stored_in, np.float64) + np.asarray(rain_in, np.float64) * np.asarray(rain_used, np.float64)


def used_so_far(start_in: ArrayLike, stored_in: ArrayLike, rain_in: ArrayLike, rain_used: ArrayLike) -> Floats:
    """Water used since sowing [in]: what the soil has lost since, and the share of the rain since that was used."""
    drawn = np.asarray(start_in, np.float64) - np.asarray(stored_in, np.float64)
    return np.maximum(drawn + np.asarray(rain_in, np.float64) * np.asarray(rain_used, np.float64), 0.0)


def stored_water(moist_depth_ft: ArrayLike, per_foot: ArrayLike) -> Floats:
    """Plant-available water [in] from the depth a probe goes in [ft] and the water a moist foot holds [in/ft]."""
    return np.asarray(moist_depth_ft, np.float64) * np.asarray(per_foot, np.float64)


def northwest_yield(
    stored_in: ArrayLike, spring_rain_in: ArrayLike, vegetative_in: float, per_stored: float, per_rain: float
) -> Floats:
    """Grain [bu/ac] where rain falls in winter: (stored - vegetative need) x slope + spring rain x its own slope."""
    stored = np.maximum(np.asarray(stored_in, np.float64) - vegetative_in, 0.0)
    return stored * per_stored + np.asarray(spring_rain_in, np.float64) * per_rain
