"""Forecasts in GRIB2, at one point, through cfgrib and ecCodes: an extra that is installed apart (``sideoats[grib]``).

Maximum and minimum temperature, temperature by the hour and rain are read by their short names as cfgrib decodes them;
the nearest grid point is taken. Longitudes may run to 360, temperature is in kelvin, kg/m2 is mm.
"""

from __future__ import annotations

from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.expected import PLACE, ZONE, Expected, Span, by_the_sun, fill_days, zone_of
from sideoats.intake.rows import read_bytes
from sideoats.intake.taken import Format, Taken
from sideoats.schema import Field
from sideoats.station import km_between

_NAMES = {"tmax": "high", "mx2t": "high", "tmin": "low", "mn2t": "low", "tp": "rain"}
_FARTHEST_KM = 50.0


def read_forecast_grib(
    path: str | Path, *, latitude: float, longitude: float, place: str | None = None, zone: str | None = None
) -> Taken:
    """The forecast of one point of a GRIB2 file.

    Parameters
    ----------
    path : the file
    latitude, longitude : of the point [degrees]
    place : id of the place that it is for; the position decides where None
    zone : time zone of the place; whole hours by longitude where None

    Raises
    ------
    InputError : cfgrib is not installed, the file is no GRIB, the point is not in it, or nothing in it can be used
    """
    name = Path(path).name
    try:
        import cfgrib
    except (ImportError, RuntimeError):  # RuntimeError: the library under it is not there
        raise InputError("needs cfgrib and ecCodes", where=name, todo="pip install 'sideoats[grib]'") from None
    read_bytes(path)  # its size and whether it is there
    try:
        sets = cfgrib.open_datasets(str(path), backend_kwargs={"indexpath": ""})
    except (EOFError, OSError, ValueError, KeyError, cfgrib.DatasetBuildError) as error:
        raise InputError(f"is not GRIB that can be read ({type(error).__name__})", where=name) from None
    clock = zone_of(zone, name) or by_the_sun(longitude)
    spans: dict[str, list[Span]] = {}
    issued = None
    for held in sets:
        for variable in held.data_vars.values():
            ours = _NAMES.get(str(variable.name))
            if ours is None or "valid_time" not in variable.coords:
                continue
            series = _at(variable, latitude, longitude, name)
            begun = np.datetime64(variable.coords["time"].values.ravel()[0], "s").item()
            issued = begun if issued is None else max(issued, begun)
            spans.setdefault(ours, []).extend(_spans(series, ours))
    if issued is None or not spans:
        raise InputError("holds no temperature or rain that can be used", where=name, expected=", ".join(_NAMES))
    out = Expected(issued.replace(tzinfo=UTC).astimezone(clock), latitude, longitude, source="GRIB forecast")
    fill_days(out, spans, clock, last=max(s.ends for found in spans.values() for s in found))
    drafts = out.drafts(place)
    if not drafts:
        raise InputError("holds no day that can be used", where=name)
    return Taken(drafts, (), (f"{len(out.days)} days",))


def _at(variable: Any, latitude: float, longitude: float, name: str) -> Any:
    """The variable at the grid point nearest to a position."""
    lats, lons = variable.coords["latitude"].values, variable.coords["longitude"].values
    if lats.ndim == 1:
        lats, lons = np.meshgrid(lats, lons, indexing="ij")
    off = np.asarray(km_between(latitude, longitude, lats, (lons + 180) % 360 - 180))
    if not np.nanmin(off) <= _FARTHEST_KM:
        raise InputError(f"{latitude:g}, {longitude:g} is not in its grid", where=name)
    row, col = np.unravel_index(int(np.nanargmin(off)), off.shape)
    axes = dict(zip(variable.dims[-2:], (row, col), strict=True))
    return variable.isel(axes)


def _spans(series: Any, ours: str) -> list[Span]:
    """Its values over the intervals that end at their valid times."""
    values, ends = np.atleast_1d(series.values), np.atleast_1d(series.coords["valid_time"].values)
    step = np.diff(ends).min().astype("timedelta64[s]").item() if len(ends) > 1 else timedelta(hours=12)
    out = []
    for value, end in zip(values.tolist(), ends, strict=True):
        until = np.datetime64(end, "s").item().replace(tzinfo=UTC)
        shown = value / 25.4 if ours == "rain" else (value - 273.15) * 1.8 + 32
        if np.isfinite(shown):
            out.append(Span(until - step, until, shown))
    return out


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return read_forecast_grib(path, **options)


_LATITUDE = Field(
    "latitude", "number", "degrees north of the point", unit="degree", bare=True, low=-90, high=90, required=True
)
_LONGITUDE = Field(
    "longitude", "number", "degrees east of the point", unit="degree", bare=True, low=-180, high=180, required=True
)
FORMATS = (
    Format(
        "forecast-grib",
        "forecasts in GRIB2 at one point (needs the extra sideoats[grib])",
        _read,
        (_LATITUDE, _LONGITUDE, PLACE, ZONE),
        lambda head: head.data[:4] == b"GRIB",
    ),
)
