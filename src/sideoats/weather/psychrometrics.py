"""Humidity of air: vapour pressure, dew point, relative humidity, wet bulb, delta-T.

Temperatures in degC, pressures in kPa, relative humidity 0 to 1 throughout.

References
----------
.. [1] R.G. Allen, L.S. Pereira, D. Raes, M. Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Rome,
   1998, chapter 3 (equation numbers in the docstrings are its own, from memory; values checked against its examples).
.. [2] R. Stull, Wet-bulb temperature from relative humidity and air temperature, J. Appl. Meteor. Climatol.
   50:2267-2269, 2011.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, floats

PSYCHROMETERS = {"ventilated": 0.000662, "natural": 0.000800, "indoor": 0.001200}


def pressure(elevation_m: ArrayLike) -> Floats:
    """Mean air pressure at an elevation [kPa], FAO-56 eq. 7."""
    return floats(101.3 * ((293.0 - 0.0065 * floats(elevation_m)) / 293.0) ** 5.26)


def psychrometric_constant(pressure_kpa: ArrayLike) -> Floats:
    """Psychrometric constant [kPa/degC], FAO-56 eq. 8."""
    return floats(0.665e-3 * floats(pressure_kpa))


def saturation_vapour_pressure(temperature: ArrayLike) -> Floats:
    """Saturation vapour pressure over water [kPa] at a temperature [degC], FAO-56 eq. 11."""
    t = floats(temperature)
    return floats(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def mean_saturation_vapour_pressure(tmax: ArrayLike, tmin: ArrayLike) -> Floats:
    """Mean of the saturation vapour pressures at the day's extremes [kPa], FAO-56 eq. 12 (never at the mean)."""
    return (saturation_vapour_pressure(tmax) + saturation_vapour_pressure(tmin)) / 2


def saturation_slope(temperature: ArrayLike) -> Floats:
    """Slope of the saturation vapour pressure curve [kPa/degC], FAO-56 eq. 13."""
    t = floats(temperature)
    return floats(4098.0 * saturation_vapour_pressure(t) / (t + 237.3) ** 2)


def vapour_pressure_from_psychrometer(
    wet_bulb: ArrayLike, dry_bulb: ArrayLike, pressure_kpa: ArrayLike, *, kind: str = "ventilated"
) -> Floats:
    """Actual vapour pressure [kPa] from a psychrometer, FAO-56 eq. 15 and 16.

    Parameters
    ----------
    wet_bulb, dry_bulb : [degC]
    pressure_kpa : [kPa]
    kind : ventilated (about 5 m/s), natural (about 1 m/s) or indoor
    """
    if kind not in PSYCHROMETERS:
        raise InputError(f"{kind!r} is no kind of psychrometer", expected="one of " + ", ".join(PSYCHROMETERS))
    fall = PSYCHROMETERS[kind] * floats(pressure_kpa) * (floats(dry_bulb) - floats(wet_bulb))
    return saturation_vapour_pressure(wet_bulb) - fall


def vapour_pressure_from_humidity(
    tmax: ArrayLike,
    tmin: ArrayLike,
    *,
    humidity_max: ArrayLike | None = None,
    humidity_min: ArrayLike | None = None,
    humidity_mean: ArrayLike | None = None,
) -> Floats:
    """Actual vapour pressure of a day [kPa] from whatever humidity was measured, best first.

    Both extremes (FAO-56 eq. 17), the maximum alone (eq. 18), or the mean alone (eq. 19). Humidity 0 to 1.

    Raises
    ------
    InputError : no humidity given
    """
    warm, cold = saturation_vapour_pressure(tmax), saturation_vapour_pressure(tmin)
    if humidity_max is not None and humidity_min is not None:
        return floats((cold * floats(humidity_max) + warm * floats(humidity_min)) / 2)
    if humidity_max is not None:
        return floats(cold * floats(humidity_max))
    if humidity_mean is not None:
        return floats((warm + cold) / 2 * floats(humidity_mean))
    raise InputError(
        "no humidity was given", where="vapour pressure", todo="give a dew point, or use the minimum temperature"
    )


def vapour_pressure_from_minimum(tmin: ArrayLike, *, below_minimum: ArrayLike = 0.0) -> Floats:
    """Actual vapour pressure [kPa] when humidity was not measured: dew point taken as `tmin` less some degrees.

    FAO-56 eq. 48: 0 degC below the minimum over well-watered ground, 2 to 3 degC in arid country.
    """
    return saturation_vapour_pressure(floats(tmin) - floats(below_minimum))


def dew_point(vapour_pressure: ArrayLike) -> Floats:
    """Dew point [degC] of a vapour pressure [kPa]: the inverse of `saturation_vapour_pressure`; NaN at 0 or below."""
    e = floats(vapour_pressure)
    log = np.log(np.where(e > 0, e, np.nan) / 0.6108)
    return floats(237.3 * log / (17.27 - log))


def relative_humidity(temperature: ArrayLike, dew: ArrayLike) -> Floats:
    """Relative humidity 0 to 1 from temperature and dew point [degC]; above 1 where the dew point is the higher."""
    return saturation_vapour_pressure(dew) / saturation_vapour_pressure(temperature)


def humidity_at(temperature: ArrayLike, vapour_pressure: ArrayLike) -> Floats:
    """Relative humidity 0 to 1 of air of a given vapour pressure [kPa] at a temperature [degC]; at most 1."""
    return np.minimum(floats(vapour_pressure) / saturation_vapour_pressure(temperature), 1.0)


def wet_bulb(temperature: ArrayLike, humidity: ArrayLike, *, pressure_kpa: ArrayLike = 101.3) -> Floats:
    """Ventilated wet-bulb temperature [degC] by solving the psychrometer equation (FAO-56 eq. 15) for it.

    Parameters
    ----------
    temperature : [degC]
    humidity : 0 to 1
    pressure_kpa : [kPa]

    Returns
    -------
    [degC]; NaN for humidity outside 0 to 1
    """
    t, h = np.broadcast_arrays(floats(temperature), floats(humidity))
    h = np.where((h >= 0) & (h <= 1), h, np.nan)
    vapour = h * saturation_vapour_pressure(t)
    gamma = PSYCHROMETERS["ventilated"] * floats(pressure_kpa)
    wet = t - (1 - h) * 10.0
    for _ in range(25):  # Newton on a smooth, increasing function; 8 rounds reach 1e-12 inside the range of weather
        excess = saturation_vapour_pressure(wet) - gamma * (t - wet) - vapour
        step = excess / (saturation_slope(wet) + gamma)
        wet = wet - step
        if not np.nanmax(np.abs(step), initial=0.0) > 1e-10:
            break
    return floats(wet)


def delta_t(temperature: ArrayLike, humidity: ArrayLike, *, pressure_kpa: ArrayLike = 101.3) -> Floats:
    """Dry-bulb less wet-bulb temperature [degC]: how fast spray droplets dry."""
    return floats(temperature) - wet_bulb(temperature, humidity, pressure_kpa=pressure_kpa)
