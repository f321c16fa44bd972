"""Reference evapotranspiration, daily and hourly: FAO-56, and the ASCE standardized equation for short and tall crops.

All three are  [0.408 D (Rn - G) + g Cn/(T + 273) u2 (es - ea)] / [D + g (1 + Cd u2)]  with different constants:

=============  ==================  =========  =============  ================================
standard       daily Cn, Cd        hourly Cn  hourly Cd      other
=============  ==================  =========  =============  ================================
fao56          900, 0.34           37         0.34           G 0.1 Rn by day, 0.5 Rn by night
asce_short     900, 0.34           37         0.24 | 0.96    G 0.1 | 0.5
asce_tall      1600, 0.38          66         0.25 | 1.70    G 0.04 | 0.2
=============  ==================  =========  =============  ================================

The ASCE forms also round the radiation constants differently and take the ratio of solar to clear-sky radiation as 0.3
or more. By the hour FAO-56 and ASCE differ by some 5 %: do not compare them with each other.

References
----------
.. [1] R.G. Allen, L.S. Pereira, D. Raes, M. Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Rome,
   1998, chapter 4.
.. [2] ASCE-EWRI, The ASCE standardized reference evapotranspiration equation, ASCE, Reston, 2005 (constants as coded in
   the public packages refet 0.5.0 and pyfao56 1.4.3, which reproduce it; the report itself not read).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.weather import psychrometrics, radiation
from sideoats.weather.arrays import Floats, by_blocks, floats


@dataclass(frozen=True)
class Standard:
    """Constants of one standard. Pairs are (day, night) of the hourly form; sigma in MJ/m2/day/K4."""

    daily: tuple[float, float]
    hourly_numerator: float
    hourly_denominator: tuple[float, float]
    soil_heat: tuple[float, float]
    sigma_daily: float
    sigma_hourly: float
    slope: float
    solar_constant: float  # MJ/m2/h
    cloud_floor: float


_ASCE = {
    "sigma_daily": 4.901e-9,
    "sigma_hourly": 2.042e-10,
    "slope": 2503.0,
    "solar_constant": 4.92,
    "cloud_floor": 1.35 * 0.3 - 0.35,  # the ratio of measured to clear-sky radiation is not taken below 0.3
}
STANDARDS = {
    "fao56": Standard(
        (900.0, 0.34), 37.0, (0.34, 0.34), (0.1, 0.5), 4.903e-9, 4.903e-9 / 24, 4098.0 * 0.6108, 60 * 0.0820, -0.35
    ),
    "asce_short": Standard((900.0, 0.34), 37.0, (0.24, 0.96), (0.1, 0.5), **_ASCE),
    "asce_tall": Standard((1600.0, 0.38), 66.0, (0.25, 1.70), (0.04, 0.2), **_ASCE),
}


def _standard(name: str) -> Standard:
    if name not in STANDARDS:
        raise InputError(f"{name!r} is not a standard", where="reference ET", expected="one of " + ", ".join(STANDARDS))
    return STANDARDS[name]


def reference_et_daily(
    tmax: ArrayLike,
    tmin: ArrayLike,
    vapour_pressure: ArrayLike,
    solar: ArrayLike,
    wind_2m: ArrayLike,
    *,
    elevation_m: ArrayLike,
    latitude: ArrayLike,
    day: ArrayLike,
    soil_heat: ArrayLike = 0.0,
    standard: str = "fao56",
    workers: int = 1,
) -> Floats:
    """Reference evapotranspiration of each day [mm/day].

    Parameters
    ----------
    tmax, tmin : daily extremes [degC]
    vapour_pressure : actual vapour pressure [kPa], see `psychrometrics`
    solar : solar radiation [MJ/m2/day], see `radiation` for days without a measurement
    wind_2m : wind at 2 m [m/s], see `radiation.wind_at_2m`
    elevation_m : [m]
    latitude : degrees north, below 66 in absolute value for the sunset angle to mean what it should
    day : day of the year
    soil_heat : [MJ/m2/day]; 0 for days
    standard : one of `STANDARDS`
    workers : threads for large arrays

    Returns
    -------
    [mm/day] of the broadcast shape; NaN where an input is NaN, where tmax is below tmin, or where vapour pressure, wind
    or radiation is negative
    """
    rule = _standard(standard)
    return by_blocks(
        _daily,
        tmax,
        tmin,
        vapour_pressure,
        solar,
        wind_2m,
        elevation_m,
        latitude,
        day,
        soil_heat,
        rule=rule,
        workers=workers,
    )


def _daily(
    tmax: Floats,
    tmin: Floats,
    ea: Floats,
    solar: Floats,
    wind: Floats,
    elevation: Floats,
    latitude: Floats,
    day: Floats,
    ground: Floats,
    *,
    rule: Standard,
) -> Floats:
    numerator, denominator = rule.daily
    clear_share = radiation.clear_sky(rule.solar_constant / (60 * radiation.SOLAR_CONSTANT), elevation)
    clear = np.maximum(radiation.extraterrestrial_daily(latitude, day) * clear_share, 1e-9)
    gamma = psychrometrics.psychrometric_constant(psychrometrics.pressure(elevation))
    mean = (tmax + tmin) * 0.5
    curve = np.exp(17.27 * mean / (mean + 237.3)) * rule.slope / np.square(mean + 237.3)
    deficit = 0.3054 * (np.exp(17.27 * tmax / (tmax + 237.3)) + np.exp(17.27 * tmin / (tmin + 237.3))) - ea
    cloud = np.maximum(1.35 * np.minimum(solar / clear, 1.0) - 0.35, rule.cloud_floor)
    fourth = np.square(np.square(tmax + 273.16)) + np.square(np.square(tmin + 273.16))
    longwave = (0.5 * rule.sigma_daily) * fourth * (0.34 - 0.14 * np.sqrt(np.maximum(ea, 0.0))) * cloud
    energy = 0.408 * curve * ((1 - radiation.ALBEDO_GRASS) * solar - longwave - ground)
    air = gamma * (numerator * wind / (mean + 273.0)) * np.maximum(deficit, 0.0)
    total = (energy + air) / (curve + gamma * (1.0 + denominator * wind))
    return np.where((tmax >= tmin) & (wind >= 0) & (solar >= 0) & (ea >= 0), total, np.nan)


def reference_et_hourly(
    temperature: ArrayLike,
    vapour_pressure: ArrayLike,
    solar: ArrayLike,
    wind_2m: ArrayLike,
    *,
    elevation_m: ArrayLike,
    latitude: ArrayLike,
    longitude: ArrayLike,
    day: ArrayLike,
    utc_midpoint: ArrayLike,
    night_solar_ratio: ArrayLike = 0.8,
    standard: str = "fao56",
) -> Floats:
    """Reference evapotranspiration of one hour [mm/h].

    Parameters
    ----------
    temperature : mean of the hour [degC]
    vapour_pressure : [kPa]
    solar : [MJ/m2/h]
    wind_2m : [m/s]
    elevation_m, latitude, longitude : [m, degrees north, degrees EAST]
    day : day of the year at the place
    utc_midpoint : UTC clock time in the middle of the hour
    night_solar_ratio : solar over clear-sky radiation that stands for the sky while the sun is below 0.3 rad (the ratio
        of the last hours before sunset; 0.4 to 0.6 in humid, 0.7 to 0.8 in dry country)
    standard : one of `STANDARDS`

    Returns
    -------
    [mm/h] of the broadcast shape, slightly negative on some nights; NaN where an input is NaN
    """
    rule = _standard(standard)
    scale = rule.solar_constant / (60 * radiation.SOLAR_CONSTANT)
    clear = radiation.clear_sky(
        radiation.extraterrestrial_hourly(latitude, longitude, day, utc_midpoint) * scale, elevation_m
    )
    low_sun = radiation.sun_height(latitude, longitude, day, utc_midpoint) < 0.3
    t, ea, sun, wind = (floats(x) for x in (temperature, vapour_pressure, solar, wind_2m))
    measured = sun / np.where(clear > 0, clear, np.nan)
    ratio = np.where(low_sun | ~(clear > 0), night_solar_ratio, np.minimum(measured, 1.0))
    cloud = np.maximum(1.35 * ratio - 0.35, rule.cloud_floor)
    fourth = np.square(np.square(t + 273.16))
    longwave = rule.sigma_hourly * fourth * (0.34 - 0.14 * np.sqrt(ea)) * cloud
    net = (1 - radiation.ALBEDO_GRASS) * sun - longwave
    by_day = net > 0
    ground = np.where(by_day, *rule.soil_heat) * net
    denominator = np.where(by_day, *rule.hourly_denominator)
    curve = np.exp(17.27 * t / (t + 237.3)) * rule.slope / np.square(t + 237.3)
    gamma = psychrometrics.psychrometric_constant(psychrometrics.pressure(elevation_m))
    deficit = psychrometrics.saturation_vapour_pressure(t) - ea
    air = gamma * rule.hourly_numerator / (t + 273.0) * wind * np.maximum(deficit, 0.0)
    total = (0.408 * curve * (net - ground) + air) / (curve + gamma * (1 + denominator * wind))
    return floats(total)


def hargreaves(tmax: ArrayLike, tmin: ArrayLike, *, latitude: ArrayLike, day: ArrayLike) -> Floats:
    """Reference evapotranspiration [mm/day] from temperature alone, FAO-56 eq. 52; NaN where tmax is below tmin."""
    high, low = floats(tmax), floats(tmin)
    swing = np.sqrt(np.where(high >= low, high - low, np.nan))
    water = 0.408 * radiation.extraterrestrial_daily(latitude, day)
    return floats(0.0023 * ((high + low) / 2 + 17.8) * swing * water)


@dataclass(frozen=True)
class FilledInputs:
    """Inputs of `reference_et_daily` with the fall-backs applied, and which of them were."""

    vapour_pressure: Floats
    solar: Floats
    wind_2m: Floats
    estimated: dict[str, NDArray[np.bool_]]


def fall_backs(
    tmax: ArrayLike,
    tmin: ArrayLike,
    *,
    latitude: ArrayLike,
    day: ArrayLike,
    elevation_m: ArrayLike = 0.0,
    vapour_pressure: ArrayLike = np.nan,
    solar: ArrayLike = np.nan,
    wind_2m: ArrayLike = np.nan,
    dew_below_minimum: ArrayLike = 0.0,
    usual_wind_2m: ArrayLike = 2.0,
    coastal: bool = False,
) -> FilledInputs:
    """FAO-56's estimates for humidity (eq. 48), radiation (eq. 50) and wind (2 m/s, chapter 3) where they are NaN.

    Parameters
    ----------
    dew_below_minimum : [degC] how far the dew point lies below the minimum: 0 humid or irrigated, 2 to 3 arid
    usual_wind_2m : the wind that stands in [m/s]; better the station's own mean of the season
    coastal : see `radiation.from_temperature`

    Returns
    -------
    FilledInputs : ``estimated`` has one mask a variable, True where the estimate stands; show it beside the result
    """
    high, low = floats(tmax), floats(tmin)
    top = radiation.extraterrestrial_daily(latitude, day)
    clear = radiation.clear_sky(top, elevation_m)
    stand_in = {
        "vapour_pressure": psychrometrics.vapour_pressure_from_minimum(low, below_minimum=dew_below_minimum),
        "solar": radiation.from_temperature(high, low, top, coastal=coastal, clear=clear),
        "wind_2m": floats(usual_wind_2m),
    }
    filled, estimated = {}, {}
    for name, given in (("vapour_pressure", vapour_pressure), ("solar", solar), ("wind_2m", wind_2m)):
        known, guess = np.broadcast_arrays(floats(given), stand_in[name])
        estimated[name] = np.isnan(known)
        filled[name] = np.where(estimated[name], guess, known)
    return FilledInputs(**filled, estimated=estimated)
