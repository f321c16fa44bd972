"""Sun and radiation: extraterrestrial, clear-sky, from sunshine or temperature, net; by day and by hour.

Latitude and longitude in degrees (north and east positive), radiation in MJ/m2 for the day or hour unless said
otherwise, `day` the day of the year (1 to 366).

References
----------
.. [1] R.G. Allen, L.S. Pereira, D. Raes, M. Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Rome,
   1998, chapters 3 and 4 (equation numbers from memory; values checked against its examples 7 to 16 and 19).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sideoats.weather.arrays import Floats, floats

SOLAR_CONSTANT = 0.0820  # MJ/m2/min
ALBEDO_GRASS = 0.23
_YEAR = 2 * np.pi / 365


def earth_sun_distance(day: ArrayLike) -> Floats:
    """Inverse relative distance earth to sun [1], eq. 23."""
    return floats(1 + 0.033 * np.cos(_YEAR * floats(day)))


def declination(day: ArrayLike) -> Floats:
    """Solar declination [rad], eq. 24."""
    return floats(0.409 * np.sin(_YEAR * floats(day) - 1.39))


def sunset_hour_angle(latitude: ArrayLike, day: ArrayLike) -> Floats:
    """Sunset hour angle [rad], eq. 25; 0 in polar night, pi in polar day."""
    return floats(np.arccos(_cosine_of_sunset(np.radians(floats(latitude)), declination(day))))


def _cosine_of_sunset(phi: Floats, sun: Floats) -> Floats:
    """Cosine of the sunset hour angle for a latitude and a declination [rad], held to -1..1 for polar day and night."""
    return floats(np.clip(np.tan(phi) * -np.tan(sun), -1.0, 1.0))


def daylight_hours(latitude: ArrayLike, day: ArrayLike) -> Floats:
    """Longest possible sunshine [h], eq. 34."""
    return floats(24 / np.pi * sunset_hour_angle(latitude, day))


def extraterrestrial_daily(latitude: ArrayLike, day: ArrayLike) -> Floats:
    """Radiation above the air on a level surface [MJ/m2/day], eq. 21."""
    phi, sun = np.radians(floats(latitude)), declination(day)
    cosine = _cosine_of_sunset(phi, sun)
    path = np.arccos(cosine) * (np.sin(phi) * np.sin(sun)) + np.cos(phi) * np.cos(sun) * np.sqrt(1 - cosine * cosine)
    return floats(path * (24 * 60 / np.pi * SOLAR_CONSTANT * earth_sun_distance(day)))


def solar_hour_angle(longitude: ArrayLike, day: ArrayLike, utc_hour: ArrayLike) -> Floats:
    """Hour angle of the sun [rad, -pi to pi, 0 at solar noon], eq. 31 and 32 written for UTC and east longitude.

    Parameters
    ----------
    longitude : degrees east
    day : day of the year
    utc_hour : UTC clock time, hours
    """
    b = 2 * np.pi * (floats(day) - 81) / 364
    season = 0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    angle = np.pi / 12 * (floats(utc_hour) + floats(longitude) / 15 + season - 12)
    return floats(np.mod(angle + np.pi, 2 * np.pi) - np.pi)


def extraterrestrial_hourly(
    latitude: ArrayLike, longitude: ArrayLike, day: ArrayLike, utc_midpoint: ArrayLike
) -> Floats:
    """Radiation above the air in one hour [MJ/m2/h], eq. 28, cut at sunrise and sunset; 0 at night.

    Parameters
    ----------
    latitude, longitude : degrees north, degrees east
    day : day of the year at the place
    utc_midpoint : UTC clock time in the middle of the hour
    """
    phi, sun = np.radians(floats(latitude)), declination(day)
    sunset = sunset_hour_angle(latitude, day)
    angle = solar_hour_angle(longitude, day, utc_midpoint)
    first = np.clip(angle - np.pi / 24, -sunset, sunset)
    last = np.clip(angle + np.pi / 24, -sunset, sunset)
    path = (last - first) * np.sin(phi) * np.sin(sun) + np.cos(phi) * np.cos(sun) * (np.sin(last) - np.sin(first))
    return floats(12 * 60 / np.pi * SOLAR_CONSTANT * earth_sun_distance(day) * path)


def sun_height(latitude: ArrayLike, longitude: ArrayLike, day: ArrayLike, utc_hour: ArrayLike) -> Floats:
    """Angle of the sun above the horizon [rad], negative at night."""
    phi, sun = np.radians(floats(latitude)), declination(day)
    angle = solar_hour_angle(longitude, day, utc_hour)
    return np.asarray(np.arcsin(np.sin(phi) * np.sin(sun) + np.cos(phi) * np.cos(sun) * np.cos(angle)))


def clear_sky(extraterrestrial: ArrayLike, elevation_m: ArrayLike) -> Floats:
    """Radiation under a clear sky, in the unit of `extraterrestrial`, eq. 37."""
    return floats((0.75 + 2e-5 * floats(elevation_m)) * floats(extraterrestrial))


def from_sunshine(
    sunshine_hours: ArrayLike, latitude: ArrayLike, day: ArrayLike, *, a: float = 0.25, b: float = 0.50
) -> Floats:
    """Solar radiation [MJ/m2/day] from hours of bright sunshine, eq. 35 (Angstrom)."""
    share = floats(sunshine_hours) / daylight_hours(latitude, day)
    return floats((a + b * share) * extraterrestrial_daily(latitude, day))


def from_temperature(
    tmax: ArrayLike, tmin: ArrayLike, extraterrestrial: ArrayLike, *, coastal: bool = False, clear: ArrayLike = np.inf
) -> Floats:
    """Solar radiation where it was not measured, from the day's swing, eq. 50 (Hargreaves).

    Parameters
    ----------
    tmax, tmin : [degC]
    extraterrestrial : [MJ/m2/day]
    coastal : the coefficient for the coast (0.19) instead of inland (0.16)
    clear : clear-sky radiation, which the result never exceeds

    Returns
    -------
    [MJ/m2/day]; NaN where tmax is below tmin
    """
    swing = floats(tmax) - floats(tmin)
    root = np.sqrt(np.where(swing >= 0, swing, np.nan))
    return np.minimum((0.19 if coastal else 0.16) * root * floats(extraterrestrial), floats(clear))


def net_shortwave(solar: ArrayLike, *, albedo: float = ALBEDO_GRASS) -> Floats:
    """Net shortwave radiation, in the unit of `solar`, eq. 38."""
    return floats((1 - albedo) * floats(solar))


def net_longwave_daily(
    tmax: ArrayLike, tmin: ArrayLike, vapour_pressure: ArrayLike, solar: ArrayLike, clear: ArrayLike
) -> Floats:
    """Net longwave radiation lost in a day [MJ/m2/day], eq. 39.

    Parameters
    ----------
    tmax, tmin : [degC]
    vapour_pressure : [kPa]
    solar, clear : measured and clear-sky radiation [MJ/m2/day]; their ratio counts as at most 1
    """
    fourth = ((floats(tmax) + 273.16) ** 4 + (floats(tmin) + 273.16) ** 4) / 2
    cloud = 1.35 * np.minimum(floats(solar) / floats(clear), 1.0) - 0.35
    return floats(4.903e-9 * fourth * (0.34 - 0.14 * np.sqrt(floats(vapour_pressure))) * cloud)


def net_longwave_hourly(temperature: ArrayLike, vapour_pressure: ArrayLike, solar_ratio: ArrayLike) -> Floats:
    """Net longwave radiation lost in an hour [MJ/m2/h], eq. 39 with the hourly constant.

    `solar_ratio` is measured over clear-sky radiation; for the night use the last ratio of the afternoon, or 0.4 to 0.6
    in humid and 0.7 to 0.8 in dry country (FAO-56 chapter 4).
    """
    fourth = (floats(temperature) + 273.16) ** 4
    cloud = 1.35 * np.minimum(floats(solar_ratio), 1.0) - 0.35
    return floats(4.903e-9 / 24 * fourth * (0.34 - 0.14 * np.sqrt(floats(vapour_pressure))) * cloud)


def soil_heat_monthly(before: ArrayLike, this_month: ArrayLike, after: ArrayLike | None = None) -> Floats:
    """Soil heat flux of a month [MJ/m2/day] from monthly mean temperatures [degC], eq. 43; eq. 44 without `after`."""
    if after is None:
        return floats(0.14 * (floats(this_month) - floats(before)))
    return floats(0.07 * (floats(after) - floats(before)))


def wind_at_2m(wind: ArrayLike, height_m: ArrayLike) -> Floats:
    """Wind at 2 m above grass [m/s] from wind at another height, eq. 47."""
    return floats(floats(wind) * 4.87 / np.log(67.8 * floats(height_m) - 5.42))
