"""Crop coefficients and the daily balance of water in the root zone (FAO-56 chapters 6 to 8).

Depths in mm, soil water contents as a share of volume, depletion counted from field capacity.

References
----------
.. [1] R.G. Allen, L.S. Pereira, D. Raes, M. Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Rome,
   1998 (equation numbers from memory; checked against its examples 36 and 37 and the printed coefficients of its
   adjustment for climate).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, floats


def total_available_water(field_capacity: ArrayLike, wilting_point: ArrayLike, root_depth_m: ArrayLike) -> Floats:
    """Water that roots can use [mm], eq. 82: 1000 (field capacity - wilting point) x root depth."""
    return floats(1000 * (floats(field_capacity) - floats(wilting_point)) * floats(root_depth_m))


def depletion_fraction(table_value: ArrayLike, crop_et: ArrayLike) -> Floats:
    """Share of the available water used before stress begins, eq. in table 22's footnote; held between 0.1 and 0.8.

    Parameters
    ----------
    table_value : tabulated fraction, for a crop evapotranspiration of 5 mm/day
    crop_et : [mm/day]
    """
    return _held(floats(table_value) + 0.04 * (5 - floats(crop_et)), 0.1, 0.8)


def stress_coefficient(depletion: ArrayLike, available: ArrayLike, fraction: ArrayLike) -> Floats:
    """Reduction of transpiration by dry soil, eq. 84: 1 up to the readily available water, then falling to 0.

    Parameters
    ----------
    depletion, available : root zone depletion and total available water [mm]
    fraction : share that is readily available
    """
    taw, p = floats(available), floats(fraction)
    return _held((taw - floats(depletion)) / ((1 - p) * taw), 0.0, 1.0)


def _held(values: Floats, low: ArrayLike, high: ArrayLike) -> Floats:
    """`np.clip` without its overhead on small arrays, which a loop over days pays ten thousand times."""
    return np.asarray(np.minimum(np.maximum(values, low), high), dtype=np.float64)


def coefficient_for_climate(
    table_value: ArrayLike, wind_2m: ArrayLike, humidity_min: ArrayLike, height_m: ArrayLike
) -> Floats:
    """Crop coefficient of mid-season or late season away from the tables' climate, eq. 62 and 65.

    Parameters
    ----------
    table_value : tabulated coefficient (wind 2 m/s, least humidity 45 %); below 0.45 it is returned as it is
    wind_2m : mean of the stage [m/s], held to 1..6
    humidity_min : mean of the day's least humidity, 0 to 1, held to 0.20..0.80
    height_m : crop height, 0.1 to 10; NaN outside
    """
    wind, dry, h = np.clip(floats(wind_2m), 1, 6), np.clip(100 * floats(humidity_min), 20, 80), floats(height_m)
    h = np.where((h >= 0.1) & (h <= 10), h, np.nan)
    shift = (0.04 * (wind - 2) - 0.004 * (dry - 45)) * (h / 3) ** 0.3
    return np.where(floats(table_value) >= 0.45, floats(table_value) + shift, floats(table_value))


def coefficient_curve(
    days_since_start: ArrayLike, lengths: ArrayLike, initial: ArrayLike, mid: ArrayLike, end: ArrayLike
) -> Floats:
    """Crop coefficient on a day of the season: flat, rising, flat, falling (FAO-56 figure 34); 0 before the start.

    Parameters
    ----------
    days_since_start : day 0 is planting or green-up
    lengths : (..., 4) days of the initial, development, mid-season and late stages
    initial, mid, end : coefficients

    Returns
    -------
    after the last stage the end coefficient is kept; NaN where the day is NaN
    """
    day, size = floats(days_since_start), floats(lengths)
    ends = np.cumsum(size, axis=-1)
    rise = np.clip((day - ends[..., 0]) / np.maximum(size[..., 1], 1e-9), 0, 1)
    fall = np.clip((day - ends[..., 2]) / np.maximum(size[..., 3], 1e-9), 0, 1)
    value = floats(initial) + (floats(mid) - floats(initial)) * rise + (floats(end) - floats(mid)) * fall
    return np.where(day < 0, 0.0, value)


@dataclass(frozen=True)
class WaterBalance:
    """A root zone day by day, every array (..., day) in mm but `stress` (0 to 1).

    `depletion` stands at the end of the day; `stress` is that of the day. `missing` days had no rain or no reference
    evapotranspiration: they are carried without rain and with the mean evapotranspiration of the other days.
    """

    depletion: Floats
    stress: Floats
    crop_et: Floats
    drained: Floats
    missing: NDArray[np.bool_]


def water_balance(
    reference_et: ArrayLike,
    rain: ArrayLike,
    coefficient: ArrayLike,
    available: ArrayLike,
    fraction: ArrayLike,
    *,
    start_depletion: ArrayLike,
    irrigation: ArrayLike = 0.0,
    runoff: ArrayLike = 0.0,
    adjust_fraction: bool = True,
) -> WaterBalance:
    """Root-zone depletion of many fields and futures at once, eq. 85 to 88; the loop runs over days only.

    The stress of a day is taken from the depletion at its start, as in FAO-56 example 37.

    Parameters
    ----------
    reference_et, rain, irrigation, runoff : (..., day) [mm/day], days last
    coefficient : (..., day) crop coefficient
    available, fraction : total available water [mm] and tabulated depletion fraction; they broadcast against the arrays
        with days, so a value a field has the shape (field, 1)
    start_depletion : (...) [mm]
    adjust_fraction : follow crop evapotranspiration with the fraction (`depletion_fraction`)

    Raises
    ------
    InputError : an array without days
    """
    given = [floats(x) for x in (reference_et, rain, coefficient, irrigation, runoff, available, fraction)]
    shape = np.broadcast_shapes(*(x.shape for x in given))
    if not shape:
        raise InputError("no days were given", where="water balance", expected="arrays with days along the last axis")
    weather = np.broadcast_shapes(given[0].shape, given[1].shape, shape[-1:])
    et0, water = (np.broadcast_to(x, weather) for x in given[:2])
    missing = np.isnan(et0) | np.isnan(water)
    there = np.where(missing, np.nan, et0)
    usual = np.nan_to_num(np.nanmean(np.where(missing.all(axis=-1, keepdims=True), 0.0, there), axis=-1, keepdims=True))
    et0 = np.where(np.isnan(et0), usual, et0)
    gain = np.nan_to_num(water) - np.nan_to_num(given[4]) + given[3]
    et, gained, kc, taw, share = (_days_first(x, shape) for x in (et0, gain, given[2], given[5], given[6]))
    depletion = np.minimum(np.broadcast_to(floats(start_depletion), shape[:-1]), taw[0])
    out = {name: np.empty((shape[-1], *shape[:-1])) for name in ("depletion", "stress", "crop_et", "drained")}
    # What does not hang on the day before is worked out for all days at once, in the arrays that the loop then fills.
    wish, room, balances = np.multiply(kc, et, out=out["crop_et"]), out["stress"], out["drained"]
    room[:] = 1 - (depletion_fraction(share, wish) if adjust_fraction else share)
    room *= taw
    for day in range(shape[-1]):
        stress = np.divide(taw[day] - depletion, room[day], out=room[day, ...])
        np.minimum(np.maximum(stress, 0.0, out=stress), 1.0, out=stress)
        used = np.multiply(stress, wish[day], out=wish[day, ...])
        balance = np.subtract(depletion, gained[day], out=balances[day, ...])
        balance += used
        depletion = np.maximum(balance, 0.0, out=out["depletion"][day, ...])
        np.minimum(depletion, taw[day], out=depletion)
    np.maximum(np.negative(balances, out=balances), 0.0, out=balances)
    found = {name: np.moveaxis(values, 0, -1) for name, values in out.items()}
    return WaterBalance(**found, missing=np.broadcast_to(missing, shape))


def _days_first(values: Floats, shape: tuple[int, ...]) -> Floats:
    """`values` broadcast to `shape` with its last axis first, laid out so that one day's values lie together."""
    own = np.moveaxis(np.broadcast_to(values, (*values.shape[:-1], shape[-1]) if values.ndim else shape[-1:]), -1, 0)
    wide = own.reshape(shape[-1], *([1] * (len(shape) - own.ndim)), *own.shape[1:])
    return np.broadcast_to(np.ascontiguousarray(wide), (shape[-1], *shape[:-1]))
