"""Cold: spring freezes by growth stage, and what winter does to the crown. Screening, never a loss by itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact

Floats = NDArray[np.float64]


def degree_hours_below(hourly: ArrayLike, threshold: ArrayLike) -> tuple[Floats, Floats]:
    """Degree-hours and hours at or below a threshold.

    Parameters
    ----------
    hourly : (..., hour) temperature [degF]
    threshold : (...) [degF]

    Returns
    -------
    degree-hours [degF h], hours at or below [h]; NaN where an hour is missing
    """
    t = np.asarray(hourly, np.float64)
    line = np.asarray(threshold, np.float64)[..., None]
    gone = np.isnan(t).any(axis=-1)
    degrees = np.where(gone, np.nan, np.maximum(line - t, 0.0).sum(axis=-1))
    hours = np.where(gone, np.nan, (t <= line).sum(axis=-1, dtype=np.float64))
    return np.asarray(degrees), np.asarray(hours)


def night_hours_below(tmax: ArrayLike, tmin: ArrayLike, threshold: ArrayLike) -> Floats:
    """Hours of a day below a threshold from its extremes, all in one unit, by a sine day.

    The hours fall around sunrise in one stretch on a usual night; a front breaks that rule.
    """
    high, low, line = np.broadcast_arrays(*(np.asarray(v, np.float64) for v in (tmax, tmin, threshold)))
    mean, swing = (high + low) / 2, (high - low) / 2
    flat = swing < 1e-9  # a day without a swing: the line is above or below all of it
    at = np.clip((line - mean) / np.where(flat, 1.0, swing), -1.0, 1.0)
    share = 0.5 + np.arcsin(at) / np.pi
    return np.asarray(24.0 * np.where(flat, (line >= mean).astype(float), share))


def threshold_of(table: Fact, stage: str) -> float:
    """Temperature [degF] at which a stage is at risk; NaN where the table has no such stage."""
    for row in table.rows:
        if row[0] == stage:
            return float(row[1])
    return float("nan")


def exposed(low: ArrayLike, hours: ArrayLike, threshold: ArrayLike, least_hours: float) -> NDArray[np.bool_]:
    """True where the low [degF] reached the threshold for at least `least_hours`; unknown hours count as enough."""
    reached = np.asarray(low, np.float64) <= np.asarray(threshold, np.float64)
    length = np.asarray(hours, np.float64)
    return np.asarray(reached & (np.isnan(length) | (length >= least_hours)))


def yield_kept(dead: ArrayLike, regained: ArrayLike) -> Floats:
    """Share of yield left [1]: a share of stems is dead, and later tillers give back a share of what those carried."""
    return 1.0 - np.asarray(dead, np.float64) * (1.0 - np.asarray(regained, np.float64))


def crown_exposure(crown: ArrayLike, threshold: float) -> tuple[Floats, Floats]:
    """Hours below a threshold and the lowest of crown temperatures (..., hour) [degF]; NaN hours are ignored."""
    t = np.asarray(crown, np.float64)
    return np.asarray((t < threshold).sum(axis=-1, dtype=np.float64)), np.asarray(np.nanmin(t, axis=-1))


def vernalisation_rate(mean_temperature: ArrayLike, lowest: float, best: float, highest: float) -> Floats:
    """Effectiveness of a day for vernalisation [0 to 1] by the beta function of Wang and Engel (1998).

    f = (2 (T-a)^k (b-a)^k - (T-a)^2k) / (b-a)^2k with k = ln 2 / ln((c-a)/(b-a)); 1 at the best, 0 at both ends.
    All temperatures in degC. From memory.
    """
    t = np.asarray(mean_temperature, np.float64)
    k = np.log(2.0) / np.log((highest - lowest) / (best - lowest))
    above = np.clip(t - lowest, 0.0, None)
    span = (best - lowest) ** k
    rate = (2 * above**k * span - above ** (2 * k)) / span**2
    return np.asarray(np.where((t > lowest) & (t < highest), np.maximum(rate, 0.0), 0.0))
