"""What a day's weather means to cattle hour by hour: index by the hour, hours in each class, relief at night, cold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.weather import human, livestock
from sideoats.weather.arrays import Floats, floats
from sideoats.weather.diurnal import hourly_humidity, hourly_radiation, hourly_temperature


@dataclass(frozen=True)
class HerdDays:
    """Livestock indices of days, every array (...), one value a day.

    Attributes
    ----------
    climate_high, climate_low : highest and lowest comprehensive climate index of the day [degC]
    climate_shade : highest in full shade [degC]
    thi_high : highest temperature-humidity index; thi_adjusted_high with wind and sun
    hours : (..., class) hours of the day in each class of the climate index on the hot side
    first_hot_hour, last_hot_hour : solar hours between which the climate index is at or above `hot`; NaN where never
    recovery : hours of the day whose temperature-humidity index is low enough for cattle to cool off
    load : temperature-humidity index hours above the recovery level
    chill : lowest wind chill [degF]
    by_hour : (..., hour) comprehensive climate index at each solar hour [degC]
    """

    climate_high: Floats
    climate_low: Floats
    climate_shade: Floats
    thi_high: Floats
    thi_adjusted_high: Floats
    hours: NDArray[np.int64]
    first_hot_hour: Floats
    last_hot_hour: Floats
    recovery: NDArray[np.int64]
    load: Floats
    chill: Floats
    by_hour: Floats


def herd_days(
    tmax: ArrayLike,
    tmin: ArrayLike,
    vapour_pressure: ArrayLike,
    wind: ArrayLike,
    solar: ArrayLike,
    latitude: ArrayLike,
    day: ArrayLike,
    *,
    bounds: Sequence[float],
    hot: float,
    recovery_index: float,
    shade_share: float,
    tmin_next: ArrayLike | None = None,
) -> HerdDays:
    """Indices of every hour of every day, gathered by day.

    Parameters
    ----------
    tmax, tmin, tmin_next : [degC], shapes that broadcast
    vapour_pressure : [kPa], the same all day
    wind : [m/s], the same all day
    solar : [MJ/m2/day]
    latitude, day : degrees north; day of the year
    bounds : where the hot classes of the climate index begin [degC]
    hot : climate index from which cattle should not be worked [degC]
    recovery_index : temperature-humidity index at which cattle cool off
    shade_share : share of the sun's radiation in full shade
    """
    t = hourly_temperature(tmax, tmin, latitude, day, tmin_next=tmin_next)
    humid = hourly_humidity(t, vapour_pressure)
    sun = hourly_radiation(solar, latitude, day)
    blown = np.expand_dims(floats(wind), -1)
    held = np.clip(t, *livestock.RANGE)  # worse air is at least as bad as that of the range's end
    index = livestock.comprehensive_climate_index(held, humid, blown, sun)
    shaded = livestock.comprehensive_climate_index(held, humid, blown, sun * shade_share)
    thi = livestock.temperature_humidity_index(t, humid)
    adjusted = livestock.adjusted_index(thi, blown, sun)
    classes = livestock.class_number(index, bounds)
    hours = np.stack([(classes == c).sum(axis=-1) for c in range(len(bounds) + 1)], axis=-1)
    too_hot = index >= hot
    some = too_hot.any(axis=-1)
    first = np.where(some, np.argmax(too_hot, axis=-1), np.nan)
    last = np.where(some, index.shape[-1] - 1 - np.argmax(too_hot[..., ::-1], axis=-1), np.nan)
    coldest = human.wind_chill(tmin, wind) * 1.8 + 32
    return HerdDays(
        climate_high=index.max(axis=-1),
        climate_low=index.min(axis=-1),
        climate_shade=shaded.max(axis=-1),
        thi_high=thi.max(axis=-1),
        thi_adjusted_high=adjusted.max(axis=-1),
        hours=hours.astype(np.int64),
        first_hot_hour=floats(first),
        last_hot_hour=floats(last),
        recovery=livestock.recovery_hours(thi, recovery_index),
        load=livestock.index_hours(thi, recovery_index),
        chill=floats(coldest),
        by_hour=index,
    )
