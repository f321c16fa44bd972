"""ISD-Lite: hourly surface observations, one station and year a file, whole numbers in tenths, hours in UTC.

Format: NOAA NCEI, Integrated Surface Data - Lite, format documentation of 20 June 2006 (read in a copy; that hours are
UTC and a trace of rain is -1: from memory). The columns of that page overlap, so lines are split at blanks.

Pressure is reduced to sea level, rain is the amount of one hour, wind stands at the station's height (10 m by norm).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from sideoats.intake.rows import FIRST_YEAR, LAST_YEAR, Layout, read_text
from sideoats.station import Flag, StationHours

_FIELDS = 12
_TOO_WIDE = 10**6  # a column has six places
_MISSING = -9999
_TRACE = -1
# variable: position, whole-number steps in our unit
_COLUMNS = {
    "temperature": (4, 10.0),
    "dewpoint": (5, 10.0),
    "pressure": (6, 10.0),
    "wind_direction": (7, 1.0),
    "wind": (8, 10.0),
    "rain": (10, 10.0),
}


def read_isd_lite(
    path: str | Path,
    *,
    station: str = "",
    name: str = "",
    latitude: float = float("nan"),
    longitude: float = float("nan"),
    elevation_m: float = float("nan"),
) -> StationHours:
    """One station's hourly record from an ISD-Lite file.

    Parameters
    ----------
    path : the file, usually named USAF-WBAN-YEAR; ``.gz`` is unpacked
    station : identifier; from the file's name where empty
    name, latitude, longitude, elevation_m : of the station, which the file does not hold

    Raises
    ------
    InputError : the file cannot be read or holds no usable value
    """
    path = Path(path)
    layout = Layout(timedelta(hours=1))
    for number, line in enumerate(read_text(path).splitlines(), 1):
        cells = line.split()
        if not cells:
            continue
        if len(cells) != _FIELDS:
            layout.reject(number, f"has {len(cells)} fields; a line has {_FIELDS}")
        else:
            _take(layout, number, cells)
    start, values, flags = layout.arrays(path.name)
    return StationHours(
        station=station or "-".join(path.name.split(".")[0].split("-")[:2]),
        start=start,
        values=values,
        flags=flags,
        name=name,
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation_m,
        utc_offset_hours=0.0,
        source=f"ISD-Lite file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
    )


def _take(layout: Layout, number: int, cells: Sequence[str]) -> None:
    try:
        year, month, day, hour, *readings = (int(cell) for cell in cells)
        when = datetime(year, month, day, hour)
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise ValueError(f"year {year} is outside {FIRST_YEAR} to {LAST_YEAR}")
        if any(abs(reading) >= _TOO_WIDE for reading in readings):
            raise ValueError("a reading is wider than its column")
    except (ValueError, OverflowError) as error:
        layout.reject(number, f"cannot be read ({error})")
        return
    layout.see(when)
    for variable, (at, steps) in _COLUMNS.items():
        value = int(cells[at])
        if value == _MISSING:
            continue
        if variable == "rain" and value == _TRACE:
            layout.put(variable, when, 0.0, Flag.TRACE)
        else:
            layout.put(variable, when, value / steps)
