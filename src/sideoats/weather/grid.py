"""The formulas of this room over a grid, block of cells by block of cells.

The formulas take plain arrays with days along the last axis; here xarray lays the grid out so and Dask runs the blocks,
in parallel and without ever holding the whole grid. The result is that of the plain arrays to the last bit. Needs the
office extra.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.errors import InputError
from sideoats.weather.arrays import Floats, floats

if TYPE_CHECKING:
    import xarray as xr

DAYS = "time"


def on_grid(
    function: Callable[..., Any], *given: xr.DataArray | float, per_day: bool = True, unit: str = "", **fixed: Any
) -> xr.DataArray:
    """`function` of arrays, over the cells of a grid.

    Parameters
    ----------
    function : takes float64 arrays (..., day) and gives one (..., day), or one (...) if `per_day` is False. What has no
        day of its own (a latitude, an elevation) arrives as (..., 1), and what has no cells as (day,).
    given : DataArrays on any of (time, y, x), lazy or not, or plain numbers
    unit : of the result, kept as its attribute
    fixed : passed on to the function

    Returns
    -------
    DataArray on (y, x, time), or (y, x); lazy where a `given` is, and then run by whatever Dask scheduler is active

    Raises
    ------
    InputError : the office extra is missing, or nothing given has cells
    """
    try:
        import xarray
    except ImportError:
        todo = "pip install -r requirements/office.txt"
        raise InputError("weather of a grid needs the office extra", todo=todo) from None
    arrays = [g if isinstance(g, xarray.DataArray) else xarray.DataArray(float(g)) for g in given]
    if not any(set(a.dims) - {DAYS} for a in arrays):
        raise InputError("nothing given has cells", expected="an array on time, y and x")
    whole = [a.chunk({DAYS: -1}) if a.chunks is not None and DAYS in a.dims else a for a in arrays]
    dated = [DAYS in a.dims for a in whole]

    def of_block(*blocks: Any) -> Floats:
        return floats(function(*(floats(b) if has else floats(b)[..., None] for b, has in zip(blocks, dated)), **fixed))

    result: xr.DataArray = xarray.apply_ufunc(
        of_block,
        *whole,
        input_core_dims=[[DAYS] if has else [] for has in dated],
        output_core_dims=[[DAYS]] if per_day else [[]],
        dask="parallelized",
        output_dtypes=[np.float64],
        join="exact",
        keep_attrs=False,
    )
    if unit:
        result.attrs["units"] = unit
    return result


def day_of_year(grid: xr.Dataset) -> xr.DataArray:
    """Day of the year of every time, 1 to 366, as float64 (time,)."""
    found: xr.DataArray = grid[DAYS].dt.dayofyear.astype(np.float64)
    return found


def reference_et(grid: xr.Dataset, *, elevation_m: xr.DataArray | float = 0.0, usual_wind: float = 2.0) -> xr.DataArray:
    """FAO-56 reference evapotranspiration (y, x, time) [mm/day]; what the grid lacks is taken as FAO-56 chapter 3 does.

    Parameters
    ----------
    grid : tmax and tmin [degC], and where it has them solar [MJ/m2], wind [m/s at 10 m] and humidity [1]
    elevation_m : of the cells, or one for all
    usual_wind : wind at 2 m where the grid has none [m/s]
    """
    from sideoats.weather import psychrometrics, radiation
    from sideoats.weather.evapotranspiration import fall_backs, reference_et_daily

    optional = [name for name in ("solar", "wind", "humidity") if name in grid]

    def of_days(tmax: Floats, tmin: Floats, day: Floats, latitude: Floats, elevation: Floats, *more: Floats) -> Floats:
        there = dict(zip(optional, more, strict=True))
        vapour, wind = floats(np.nan), floats(np.nan)
        if "humidity" in there:
            vapour = there["humidity"] * psychrometrics.mean_saturation_vapour_pressure(tmax, tmin)
        if "wind" in there:
            wind = radiation.wind_at_2m(there["wind"], 10.0)
        filled = fall_backs(
            tmax,
            tmin,
            latitude=latitude,
            day=day,
            elevation_m=elevation,
            vapour_pressure=vapour,
            solar=there.get("solar", floats(np.nan)),
            wind_2m=wind,
            usual_wind_2m=usual_wind,
        )
        return reference_et_daily(
            tmax,
            tmin,
            filled.vapour_pressure,
            filled.solar,
            filled.wind_2m,
            elevation_m=elevation,
            latitude=latitude,
            day=day,
        )

    more = [grid[name] for name in optional]
    return on_grid(
        of_days, grid["tmax"], grid["tmin"], day_of_year(grid), grid["latitude"], elevation_m, *more, unit="mm/day"
    )
