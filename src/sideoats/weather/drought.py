"""Drought indices: standardized precipitation (SPI), precipitation-evapotranspiration (SPEI), percentile classes.

Series are monthly (or any step with a fixed number of steps a year) along the last axis. Each calendar step is fitted
by itself over the calibration years. Fewer than 30 years make an unstable index, and a step in which much more than a
third of the years are dry makes a meaningless one: the caller must show it.

References
----------
.. [1] T.B. McKee, N.J. Doesken, J. Kleist, The relationship of drought frequency and duration to time scales, 8th AMS
   Conf. Applied Climatology, 1993 (from memory).
.. [2] H.C.S. Thom, Some methods of climatological analysis, WMO Technical Note 81, 1966 (gamma fit; from memory).
.. [3] S.M. Vicente-Serrano, S. Begueria, J.I. Lopez-Moreno, A multiscalar drought index sensitive to global warming, J.
   Climate 23:1696-1718, 2010; S. Begueria et al., Int. J. Climatol. 34:3001-3023, 2014 (unbiased moments; from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, floats

LIMIT = 3.09  # indices beyond +-3.09 (one in a thousand) are not told apart by 30 years, and most programs bound them
PWM_METHODS = ("unbiased", "plotting_position")


def running_sum(series: ArrayLike, steps: int) -> Floats:
    """Sum of each step and the `steps` - 1 before it, along the last axis; NaN where any of them is missing.

    Raises
    ------
    InputError : fewer than 1 step, or a series shorter than the sum
    """
    values = floats(series)
    if steps < 1 or steps > values.shape[-1]:
        raise InputError(f"a sum of {steps} steps", where="drought index", expected=f"1 to {values.shape[-1]} steps")
    if steps == 1:
        return values
    out = np.full(values.shape, np.nan)
    window = np.lib.stride_tricks.sliding_window_view(values, steps, axis=-1)
    out[..., steps - 1 :] = window.sum(axis=-1)
    return out


class Gamma(NamedTuple):
    """Gamma distribution of the wet years and the share of dry ones, each (...)."""

    shape: Floats
    scale: Floats
    dry_share: Floats


def fit_gamma(amounts: ArrayLike) -> Gamma:
    """Thom's approximate maximum-likelihood gamma fit [2] along the last axis, zeros set apart, NaN ignored.

    Parameters
    ----------
    amounts : (..., year), 0 or more
    """
    x = floats(amounts)
    wet = x > 0
    known = ~np.isnan(x)
    n_wet, n = wet.sum(axis=-1), known.sum(axis=-1)
    safe = np.where(wet, x, 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(wet, x, 0.0).sum(axis=-1) / n_wet
        spread = np.log(mean) - np.log(safe).sum(axis=-1) / n_wet
        shape = (1 + np.sqrt(1 + 4 * spread / 3)) / (4 * spread)
        return Gamma(floats(shape), floats(mean / shape), floats(1 - n_wet / n))


def gamma_index(amounts: ArrayLike, fitted: Gamma, *, limit: float = LIMIT) -> Floats:
    """Standard normal score of amounts (..., year) under a gamma fit with a mass at zero.

    A dry year scores the normal quantile of the share of dry years (the common convention; half of it is another, and
    gives -1.66 instead of -1.50 for two dry years in thirty).
    """
    from scipy.special import gammainc, ndtri

    x = floats(amounts)
    shape, scale, dry = (np.expand_dims(a, -1) for a in fitted)
    chance = dry + (1 - dry) * gammainc(shape, np.maximum(x, 0.0) / scale)
    return np.clip(ndtri(chance), -limit, limit)


def precipitation_index(
    series: ArrayLike, steps: int, *, per_year: int = 12, calibration: slice | None = None, limit: float = LIMIT
) -> Floats:
    """SPI of a rain series.

    Parameters
    ----------
    series : (..., step) rain of each month [mm]; the first step is the first of a year (pad with NaN to make it so)
    steps : how many months are summed
    per_year : steps in a year
    calibration : which years (by position) the distribution is fitted on; all where None
    limit : bound of the index

    Returns
    -------
    (..., step), NaN for the first steps and wherever a month is missing
    """
    years = _by_year(running_sum(series, steps), per_year)  # (..., step of year, year)
    fitted = fit_gamma(years[..., calibration or slice(None)])
    return _in_line(gamma_index(years, fitted, limit=limit), floats(series).shape)


class LogLogistic(NamedTuple):
    """Three-parameter log-logistic distribution, each (...): F(x) = 1 / (1 + (scale / (x - origin))^shape)."""

    scale: Floats
    shape: Floats
    origin: Floats


def fit_log_logistic(balance: ArrayLike, *, moments: str = "unbiased") -> LogLogistic:
    """Fit by probability-weighted moments [3] along the last axis, NaN ignored.

    Parameters
    ----------
    balance : (..., year)
    moments : ``unbiased`` (2014) or ``plotting_position`` (2010)

    A left-skewed sample gives a negative shape and scale; their ratio stays positive and the distribution is right.
    """
    from scipy.special import gamma as gamma_function

    if moments not in PWM_METHODS:
        raise InputError(f"{moments!r} moments", where="SPEI", expected="one of " + ", ".join(PWM_METHODS))
    x = np.sort(floats(balance), axis=-1)  # NaN last
    n = (~np.isnan(x)).sum(axis=-1, keepdims=True).astype(np.float64)
    i = np.arange(1.0, x.shape[-1] + 1)
    there = np.where(np.isnan(x), 0.0, x)
    with np.errstate(invalid="ignore", divide="ignore"):
        if moments == "unbiased":
            one, two = (n - i) / (n - 1), (n - i) * (n - i - 1) / ((n - 1) * (n - 2))
        else:
            one = 1 - (i - 0.35) / n
            two = one * one
        w0, w1, w2 = ((weight * there).sum(axis=-1) / n[..., 0] for weight in (np.ones_like(i), one, two))
        shape = (2 * w1 - w0) / (6 * w1 - w0 - 6 * w2)
        spread = gamma_function(1 + 1 / shape) * gamma_function(1 - 1 / shape)
        scale = (w0 - 2 * w1) * shape / spread
        return LogLogistic(floats(scale), floats(shape), floats(w0 - scale * spread))


def log_logistic_index(balance: ArrayLike, fitted: LogLogistic, *, limit: float = LIMIT) -> Floats:
    """Standard normal score of balances (..., year) under a log-logistic fit, bounded; beyond its end, the bound."""
    from scipy.special import ndtri

    x = floats(balance)
    scale, shape, origin = (np.expand_dims(a, -1) for a in fitted)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        ratio = scale / (x - origin)
        chance = 1 / (1 + np.maximum(ratio, 0.0) ** shape)
    beyond = np.where(scale > 0, 0.0, 1.0)  # x on the far side of the origin: below the least, or above the most
    chance = np.where(np.isnan(x) | (ratio > 0), chance, np.where(np.isnan(ratio), np.nan, beyond))
    return np.clip(ndtri(chance), -limit, limit)


def balance_index(
    balance: ArrayLike,
    steps: int,
    *,
    per_year: int = 12,
    calibration: slice | None = None,
    moments: str = "unbiased",
    limit: float = LIMIT,
) -> Floats:
    """SPEI of a series of rain less reference evapotranspiration [mm]; parameters as `precipitation_index`."""
    years = _by_year(running_sum(balance, steps), per_year)
    fitted = fit_log_logistic(years[..., calibration or slice(None)], moments=moments)
    return _in_line(log_logistic_index(years, fitted, limit=limit), floats(balance).shape)


def _by_year(series: Floats, per_year: int) -> Floats:
    """(..., step) as (..., step of the year, year), the last year padded with NaN."""
    steps = series.shape[-1]
    years = -(-steps // per_year)
    padded = np.full((*series.shape[:-1], years * per_year), np.nan)
    padded[..., :steps] = series
    return np.moveaxis(padded.reshape(*series.shape[:-1], years, per_year), -1, -2)


def _in_line(by_year: Floats, shape: tuple[int, ...]) -> Floats:
    flat = np.moveaxis(by_year, -1, -2).reshape(*by_year.shape[:-2], -1)
    return flat[..., : shape[-1]]


def percentile_of(index: ArrayLike) -> Floats:
    """Percentile [%] of a standard normal index."""
    from scipy.special import ndtr

    return floats(100 * ndtr(floats(index)))


def drought_class(percentile: ArrayLike, upper_bounds: ArrayLike) -> NDArray[np.int64]:
    """Drought class of a percentile [%]: -1 none, 0 to 4 for D0 to D4; a percentile AT a bound is in the drier class.

    Parameters
    ----------
    percentile : [%], unrounded; NaN gives -1
    upper_bounds : of D0, D1, ... falling, such as 30, 20, 10, 5, 2
    """
    p, bounds = floats(percentile), floats(upper_bounds)
    return np.asarray((p[..., None] <= bounds).sum(axis=-1) - 1, dtype=np.int64)
