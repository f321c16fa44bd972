"""U.S. Climate Reference Network daily files (product daily01): whitespace-separated lines, metric units.

Format: NOAA NCEI, uscrn/products/daily01/readme.txt (first columns read; the order of all 28 as zmoon/uscrn's attrs.yml
lists it, and the missing codes as files hold them). Every file line is one station and one local-standard-time day.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np

from sideoats.intake.rows import Layout, at_midnight, calendar_day, one_station, read_text
from sideoats.station import SOIL_DEPTHS_CM, StationDays

_FIELDS = 28
_DATE, _LONGITUDE, _LATITUDE = 1, 3, 4
_MISSING = (-9999.0, -99.0)
# variable: position, factor to our unit
_COLUMNS = {
    "tmax": (5, 1.0),
    "tmin": (6, 1.0),
    "tmean": (8, 1.0),
    "rain": (9, 1.0),
    "solar": (10, 1.0),
    "humidity_max": (15, 0.01),
    "humidity_min": (16, 0.01),
    "humidity": (17, 0.01),
    **{f"soil_moisture_{depth}": (18 + k, 1.0) for k, depth in enumerate(SOIL_DEPTHS_CM)},
    **{f"soil_temperature_{depth}": (23 + k, 1.0) for k, depth in enumerate(SOIL_DEPTHS_CM)},
}


def read_uscrn_daily(path: str | Path, *, station: str | None = None, name: str = "") -> StationDays:
    """One station's daily record from a USCRN daily01 file.

    Parameters
    ----------
    path : the file; ``.gz`` is unpacked
    station : WBAN number, where the file holds several stations (the daily update files do)
    name : to show; the file's own name where empty

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    layout = Layout(timedelta(days=1))
    rows = []
    for number, line in enumerate(read_text(path).splitlines(), 1):
        cells = line.split()
        if not cells or cells[0].startswith("#"):
            continue
        if len(cells) < _FIELDS:
            layout.reject(number, f"is cut: {len(cells)} fields; a line has {_FIELDS}")
        else:
            rows.append((number, cells))
    chosen = one_station([cells[0] for _, cells in rows], station, path.name) if rows else (station or "")
    place = (np.nan, np.nan)
    for number, cells in rows:
        if cells[0] == chosen:
            _take(layout, number, cells)
            place = _place(cells, place)
    start, values, flags = layout.arrays(path.name)
    return StationDays(
        station=chosen,
        start=start.date(),
        values=values,
        flags=flags,
        name=name or path.stem,
        latitude=place[1],
        longitude=place[0],
        wind_height_m=1.5,
        source=f"USCRN daily file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
    )


def _take(layout: Layout, number: int, cells: Sequence[str]) -> None:
    try:
        when = at_midnight(calendar_day(cells[_DATE]))
    except ValueError as error:
        layout.reject(number, str(error))
        return
    layout.see(when)
    for variable, (at, factor) in _COLUMNS.items():
        try:
            value = float(cells[at])
            if not np.isfinite(value):
                raise ValueError
        except ValueError:
            layout.reject(number, f"{variable} {cells[at][:40]!r} is not a number")
            continue
        if value not in _MISSING:
            layout.put(variable, when, value * factor)


def _place(cells: Sequence[str], known: tuple[float, float]) -> tuple[float, float]:
    try:
        return float(cells[_LONGITUDE]), float(cells[_LATITUDE])
    except ValueError:
        return known
