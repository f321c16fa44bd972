"""Hours out of a day's extremes: temperature by the hour, sunshine spread over the day, humidity at each hour.

References
----------
.. [1] W.J. Parton, J.A. Logan, A model for diurnal variation in soil and air temperature, Agric. Meteorol. 23:205-216,
   1981 (sine by day, exponential by night, coefficients for 1.5 m: from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sideoats.weather import psychrometrics
from sideoats.weather.arrays import Floats, floats
from sideoats.weather.radiation import daylight_hours

_LAG_AFTER_NOON, _NIGHT_DECAY, _LAG_AFTER_SUNRISE = 1.86, 2.20, -0.17  # [1]: a, b, c
HOURS = np.arange(24.0)


def hourly_temperature(
    tmax: ArrayLike, tmin: ArrayLike, latitude: ArrayLike, day: ArrayLike, *, tmin_next: ArrayLike | None = None
) -> Floats:
    """Air temperature at each hour of solar time, 0 to 23 [1].

    Parameters
    ----------
    tmax, tmin : of the day (...) [degC]
    latitude, day : degrees north; day of the year
    tmin_next : next day's minimum, towards which the evening cools; this day's where None

    Returns
    -------
    (..., 24) [degC]; before sunrise the evening curve of the day itself is used (its own minimum at sunrise)
    """
    high, low, after, length = np.broadcast_arrays(
        floats(tmax), floats(tmin), floats(tmin if tmin_next is None else tmin_next), daylight_hours(latitude, day)
    )
    high, low, after, length = (np.expand_dims(a, -1) for a in (high, low, after, length))
    coldest = 12 - length / 2 + _LAG_AFTER_SUNRISE  # hour of the minimum
    sunset = 12 + length / 2
    by_day = (high - low) * np.sin(np.pi * (HOURS - coldest) / (length + 2 * _LAG_AFTER_NOON)) + low
    at_sunset = (high - low) * np.sin(np.pi * (sunset - coldest) / (length + 2 * _LAG_AFTER_NOON)) + low
    night = 24 - length + _LAG_AFTER_SUNRISE
    evening = sunset <= HOURS
    since = np.where(evening, HOURS - sunset, HOURS + 24 - sunset)
    towards = np.where(evening, after, low)
    end = np.exp(-_NIGHT_DECAY)
    curve = (np.exp(-_NIGHT_DECAY * np.clip(since / night, 0, 1)) - end) / (1 - end)
    by_night = towards + (at_sunset - towards) * curve
    return floats(np.where((coldest <= HOURS) & ~evening, by_day, by_night))


def hourly_radiation(solar: ArrayLike, latitude: ArrayLike, day: ArrayLike) -> Floats:
    """A day's radiation [MJ/m2/day] spread over the hours of solar time by the height of the sun, (..., 24) [W/m2]."""
    total, length = np.broadcast_arrays(floats(solar), daylight_hours(latitude, day))
    total, length = np.expand_dims(total, -1), np.expand_dims(length, -1)
    shape = np.maximum(np.cos(np.pi * (HOURS - 12) / np.maximum(length, 0.1)), 0.0)
    shape = np.where(np.abs(HOURS - 12) < length / 2, shape, 0.0)
    return np.asarray(total * 1e6 / 3600 * shape / np.maximum(shape.sum(axis=-1, keepdims=True), 1e-12))


def hourly_humidity(temperature: ArrayLike, vapour_pressure: ArrayLike) -> Floats:
    """Relative humidity 0 to 1 at each hour, for a vapour pressure [kPa] (...) that stays the same all day."""
    return psychrometrics.humidity_at(floats(temperature), np.expand_dims(floats(vapour_pressure), -1))
