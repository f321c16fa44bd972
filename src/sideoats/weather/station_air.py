"""Stations of an outlook as arrays: where they stand, the wind and humidity that their season usually brings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.station import StationDays
from sideoats.weather import psychrometrics, radiation
from sideoats.weather.arrays import Floats, floats


@dataclass(frozen=True)
class StationAir:
    """One row a station, in the order asked for.

    Attributes
    ----------
    latitude, elevation_m : (station,)
    wind : (station, 12) mean wind at 2 m in each calendar month [m/s]
    humidity : (station, 12) mean relative humidity, NaN where the station never measured it
    measured : (station,) True where the wind is the station's own
    located : (station,) True where the latitude is the station's own
    """

    latitude: Floats
    elevation_m: Floats
    wind: Floats
    humidity: Floats
    measured: NDArray[np.bool_]
    located: NDArray[np.bool_]

    def only(self, row: int) -> StationAir:
        """One station as a table of one row."""
        at = [row]
        return StationAir(
            self.latitude[at],
            self.elevation_m[at],
            self.wind[at],
            self.humidity[at],
            self.measured[at],
            self.located[at],
        )

    def vapour_pressure(self, tmax: Floats, tmin: Floats, month: NDArray[np.int64]) -> Floats:
        """Vapour pressure [kPa] of days (station, ..., day) from the month's usual humidity, else from the minimum.

        `month` (day,) counts from 0. The day's air is never taken drier than 10 % of the humidity at the minimum, nor
        wetter than saturated at the minimum.
        """
        at_minimum = psychrometrics.saturation_vapour_pressure(tmin)
        usual = self.humidity[:, month]
        usual = usual.reshape(usual.shape[0], *([1] * (tmin.ndim - 2)), usual.shape[1])
        from_humidity = usual * psychrometrics.mean_saturation_vapour_pressure(tmax, tmin)
        return np.where(np.isnan(from_humidity), at_minimum, np.clip(from_humidity, 0.1 * at_minimum, at_minimum))


def station_air(
    records: Mapping[str, StationDays], stations: tuple[str, ...], *, usual_wind: float, usual_latitude: float
) -> StationAir:
    """Monthly means of each station's own record, with stand-ins where it measured nothing.

    Parameters
    ----------
    records : station id -> record
    stations : ids, the station axis
    usual_wind : wind at 2 m where none was measured [m/s]
    usual_latitude : degrees north where the station's is not on file
    """
    n = len(stations)
    latitude, elevation = np.full(n, np.nan), np.zeros(n)
    wind, humidity = np.full((n, 12), np.nan), np.full((n, 12), np.nan)
    for row, name in enumerate(stations):
        record = records[name]
        latitude[row] = record.latitude
        elevation[row] = record.elevation_m if np.isfinite(record.elevation_m) else 0.0
        month = record.times.astype("datetime64[M]").astype(np.int64) % 12
        wind[row] = radiation.wind_at_2m(_monthly_mean(record.usable("wind"), month), record.wind_height_m)
        humidity[row] = _monthly_mean(record.usable("humidity"), month)
    measured = ~np.isnan(wind).any(axis=1)
    located = np.isfinite(latitude)
    return StationAir(
        np.where(located, latitude, usual_latitude),
        elevation,
        np.where(np.isnan(wind), usual_wind, wind),
        humidity,
        measured,
        located,
    )


def _monthly_mean(values: Floats, month: NDArray[np.int64]) -> Floats:
    known = ~np.isnan(values)
    total, count = np.bincount(month[known], values[known], 12), np.bincount(month[known], minlength=12)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def calendar(on: date, days: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Day of the year (1 to 366) and month (from 0) of today and the days after it, each (days,)."""
    dates = np.datetime64(on, "D") + np.arange(days)
    of_year = (dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1
    return of_year, dates.astype("datetime64[M]").astype(np.int64) % 12


def reference_et(air: StationAir, tmax: Floats, tmin: Floats, on: date) -> Floats:
    """FAO-56 reference evapotranspiration (station, ..., day) [mm/day] from temperature and the stations' usual air."""
    from sideoats.weather.evapotranspiration import fall_backs, reference_et_daily

    of_year, month = calendar(on, tmax.shape[-1])
    shape = (tmax.shape[0], *([1] * (tmax.ndim - 1)))
    latitude, elevation = air.latitude.reshape(shape), air.elevation_m.reshape(shape)
    wind = air.wind[:, month].reshape(tmax.shape[0], *([1] * (tmax.ndim - 2)), tmax.shape[-1])
    filled = fall_backs(
        tmax,
        tmin,
        latitude=latitude,
        day=of_year,
        elevation_m=elevation,
        vapour_pressure=air.vapour_pressure(tmax, tmin, month),
        wind_2m=wind,
    )
    return floats(
        reference_et_daily(
            tmax,
            tmin,
            filled.vapour_pressure,
            filled.solar,
            filled.wind_2m,
            elevation_m=elevation,
            latitude=latitude,
            day=of_year,
        )
    )
