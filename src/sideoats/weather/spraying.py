"""Hours fit for spraying: wind, drying of droplets, risk of an inversion, rain ahead. The label governs throughout.

Times are hours of local clock time, 0 to 24; sunrise and sunset are given in the same clock.
"""

from __future__ import annotations

from enum import IntFlag
from functools import reduce
from operator import or_

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
    DARK = 128
    FROST = 256
    COOL = 512
    HOT = 1024
    WARM = 2048
    OFF_HOURS = 4096
    HOUR = 8192
    TOWARD = 16384
    DRIFT = 32768
    BESIDE = 65536
    PRODUCT = 131072
    DOWNWIND = 262144
    LATE = 524288
    HIGH = 1048576
    NAME = 2097152


# In the order in which they are told; the sentences are ``spray.fault.<name>``.
FAULTS = (
    Fault.DRIFT, Fault.DOWNWIND, Fault.INVERSION, Fault.CALM, Fault.WINDY, Fault.HOT, Fault.FROST, Fault.DRY,
    Fault.HUMID, Fault.RAIN,
    Fault.OFF_HOURS, Fault.DARK, Fault.LATE, Fault.WARM, Fault.HIGH, Fault.COOL, Fault.HOUR, Fault.BESIDE, Fault.NAME,
    Fault.PRODUCT, Fault.TOWARD,
    Fault.UNKNOWN,
)  # fmt: skip
HAZARDS = Fault.INVERSION | Fault.DRIFT | Fault.DOWNWIND | Fault.HOT  # no money lifts these
QUESTIONS = (  # the label in hand, or a look, settles
    Fault.DARK
    | Fault.LATE
    | Fault.WARM
    | Fault.HIGH
    | Fault.COOL
    | Fault.HOUR
    | Fault.TOWARD
    | Fault.BESIDE
    | Fault.PRODUCT
    | Fault.NAME
)
BARRING = reduce(or_, FAULTS) & ~Fault.HUMID


MINUTE = 1 / 60  # hours: the clock is read no finer


def faults_of(faults: int) -> list[Fault]:
    """The faults behind a fault value, in the order in which they are told."""
    return [fault for fault in FAULTS if faults & fault]


def label_faults(
    temperature: ArrayLike,
    hour: ArrayLike,
    sunrise: ArrayLike,
    sunset: ArrayLike,
    volatile: ArrayLike,
    *,
    freeze: float,
    frost: float,
    cool: float,
    warm: float,
    hot: float,
    after_sunrise: float,
    before_sunset: float,
    frost_lies: float,
    warmest: ArrayLike | None = None,
    lasts: ArrayLike = 0.0,
) -> NDArray[np.int64]:
    """Faults of temperature and daylight that labels speak of, as the bits of `Fault`.

    Parameters
    ----------
    temperature : [degF]; NaN adds no fault
    hour, sunrise, sunset : clock hours; a NaN hour is not cleared, because it may be dark or still
    volatile : bool, herbicide that moves as vapour
    freeze, frost : at or below which it freezes, and below which a clear night leaves frost on plants [degF]
    cool : below which plants take little in [degF]
    warm, hot : above, and from which on, for a volatile herbicide [degF]
    after_sunrise, before_sunset : [h] hours that labels keep off for a volatile herbicide
    frost_lies : [h] after sunrise for which the frost of a night is taken to lie
    warmest : highest of the day or of the next, as far as it is known [degF]; vapour moves in it
    lasts : [h] from the clock hour to the end of the work, which must be inside the light and those hours too
    """
    t, clock, vapour = np.broadcast_arrays(floats(temperature), floats(hour), np.asarray(volatile, dtype=bool))
    high = np.fmax(t, floats(t if warmest is None else warmest))
    up, down = floats(sunrise), floats(sunset)
    dark = (clock < up) | (clock > down)
    off = (clock < up + after_sunrise) | (clock > down - before_sunset)
    end = np.where(vapour, down - before_sunset, down)
    late = (clock + floats(lasts) > end + MINUTE) & ~np.where(vapour, off, dark)
    night = dark | (clock < up + frost_lies)  # an hour that nobody told is asked for, and no frost is told for it
    white = (t <= freeze) | ((t <= frost) & night)  # dry air of 36 degF at noon is cold, and no frost
    faults = np.zeros(t.shape, dtype=np.int64)
    for mask, fault in (
        (dark, Fault.DARK),
        (white, Fault.FROST),
        (~white & (t < cool), Fault.COOL),
        (vapour & (high >= hot), Fault.HOT),
        (vapour & (high > warm) & (high < hot), Fault.WARM),
        (vapour & off, Fault.OFF_HOURS),
        (late, Fault.LATE),
        (np.isnan(clock), Fault.HOUR),
    ):
        faults = faults | np.where(mask, int(fault), 0)
    return faults


def highest_to_come(temperature: ArrayLike, hour: ArrayLike, sunrise: ArrayLike, *, swing: float, at: float) -> Floats:
    """Highest of the day that air of an hour may still come to [degF], on a quarter of a sine from sunrise.

    Parameters
    ----------
    temperature : [degF] at the hour
    hour, sunrise : clock hours; after `at`, and before sunrise, the air's own temperature and the whole swing count
    swing : lowest to highest of a day [degF]
    at : clock hour of the highest
    """
    up, clock = floats(sunrise), floats(hour)
    share = np.sin(np.pi / 2 * np.clip((clock - up) / (at - up), 0.0, 1.0))
    return floats(floats(temperature) + swing * (1 - share))


def blows_toward(wind_from: ArrayLike, side: ArrayLike) -> NDArray[np.bool_]:
    """True where wind may carry spray to something that lies on a side; NaN (not known) counts as true.

    Parameters
    ----------
    wind_from : compass degrees that the wind comes from
    side : compass degrees toward what is sensitive; within a right angle of the way the wind goes counts as toward it
    """
    away = (floats(wind_from) + 180.0 - floats(side) + 180.0) % 360.0 - 180.0
    return np.asarray(~(np.abs(away) > 90.0))


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
        (wind < wind_low, Fault.CALM),
        (wind > wind_high, Fault.WINDY),
        (np.asarray(inversion, dtype=bool), Fault.INVERSION),
        (drying > too_dry, Fault.DRY),
        (drying < too_humid, Fault.HUMID),
        (np.asarray(rain_ahead, dtype=bool), Fault.RAIN),
        (np.isnan(wind) | np.isnan(drying), Fault.UNKNOWN),
    ):
        faults = faults | np.where(mask, int(fault), 0)
    return faults
