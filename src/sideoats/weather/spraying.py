"""Hours fit for spraying: wind, drying of droplets, risk of an inversion, rain ahead. The label governs throughout.

Times are hours of local clock time, 0 to 24; sunrise and sunset are given in the same clock.
"""

from __future__ import annotations

from enum import IntFlag

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.weather.arrays import Floats, floats
from sideoats.weather.radiation import daylight_hours


class Fault(IntFlag):
    """Why an hour is not fit; bits, because an hour can have several faults."""

    NONE = 0
    CALM = 1
    WINDY = 2
    INVERSION = 4
    DRY = 8
    HUMID = 16
    RAIN = 32
    UNKNOWN = 64


FAULTS = {
    Fault.CALM: "wind below the lower limit: droplets drift unpredictably",
    Fault.WINDY: "wind above the upper limit",
    Fault.INVERSION: "an inversion is likely: drift can travel miles",
    Fault.DRY: "air too dry: droplets shrink and drift",
    Fault.HUMID: "air so humid that fine droplets hang",
    Fault.RAIN: "rain expected before the spray is rainfast",
    Fault.UNKNOWN: "wind, temperature or humidity not known",
}
BARRING = Fault.CALM | Fault.WINDY | Fault.INVERSION | Fault.DRY | Fault.RAIN | Fault.UNKNOWN


def fault_words(faults: int) -> list[str]:
    """The sentences behind a fault value."""
    return [text for flag, text in FAULTS.items() if faults & flag]


def sun_clock(latitude: ArrayLike, day: ArrayLike, *, noon: ArrayLike = 12.0) -> tuple[Floats, Floats]:
    """Sunrise and sunset in hours of the clock whose solar noon is `noon` (13.5 for much of daylight saving time)."""
    half = daylight_hours(latitude, day) / 2
    return floats(floats(noon) - half), floats(floats(noon) + half)


def inversion_likely(
    wind_mph: ArrayLike,
    hour: ArrayLike,
    sunrise: ArrayLike,
    sunset: ArrayLike,
    *,
    clear: ArrayLike = True,
    calm_below: float,
    before_sunset: float,
    after_sunrise: float,
) -> NDArray[np.bool_]:
    """True where a surface inversion should be suspected: clear, light wind, from before sunset to after sunrise.

    Parameters
    ----------
    wind_mph : [mph]
    hour, sunrise, sunset : clock hours
    clear : sky clear enough to radiate
    calm_below : wind below which air lies still [mph]
    before_sunset, after_sunrise : [h]
    """
    clock = floats(hour)
    dark = (clock >= floats(sunset) - before_sunset) | (clock <= floats(sunrise) + after_sunrise)
    return np.asarray(dark & np.asarray(clear, dtype=bool) & (floats(wind_mph) < calm_below))


def rain_within(rain: ArrayLike, hours: ArrayLike, *, least: float) -> NDArray[np.bool_]:
    """True for every hour that is followed, within so many hours, by an hour with at least `least` mm of rain.

    Parameters
    ----------
    rain : (..., hour) [mm]; NaN counts as dry
    hours : (...) or a number: hours that must stay dry, this one included
    """
    wet = np.nan_to_num(floats(rain)) >= least
    steps = wet.shape[-1]
    ahead = np.where(wet, np.arange(steps), 10 * steps)
    next_wet = np.minimum.accumulate(ahead[..., ::-1], axis=-1)[..., ::-1]
    return np.asarray(next_wet - np.arange(steps) < np.expand_dims(floats(hours), -1))


def judge_hours(
    wind_mph: ArrayLike,
    delta_t: ArrayLike,
    inversion: ArrayLike,
    rain_ahead: ArrayLike,
    *,
    wind_low: ArrayLike,
    wind_high: ArrayLike,
    too_humid: float,
    too_dry: float,
) -> NDArray[np.int64]:
    """Faults of each hour, as the bits of `Fault`; 0 for an hour fit to spray.

    Parameters
    ----------
    wind_mph : [mph], at the height of the boom or as the label says
    delta_t : dry-bulb less wet-bulb temperature [degC]
    inversion, rain_ahead : bool
    wind_low, wind_high : limits of the label, or of the district where the label gives none [mph]
    too_humid, too_dry : delta-T below and above which droplets hang or shrink [degC]
    """
    wind, drying = np.broadcast_arrays(floats(wind_mph), floats(delta_t))
    faults = np.zeros(np.broadcast_shapes(wind.shape, np.shape(inversion), np.shape(rain_ahead)), dtype=np.int64)
    for mask, fault in (
        (wind < wind_low, Fault.CALM), (wind > wind_high, Fault.WINDY),
        (np.asarray(inversion, dtype=bool), Fault.INVERSION), (drying > too_dry, Fault.DRY),
        (drying < too_humid, Fault.HUMID), (np.asarray(rain_ahead, dtype=bool), Fault.RAIN),
        (np.isnan(wind) | np.isnan(drying), Fault.UNKNOWN),
    ):  # fmt: skip
        faults = faults | np.where(mask, int(fault), 0)
    return faults
