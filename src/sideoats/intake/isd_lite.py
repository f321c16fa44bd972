"""ISD-Lite: hourly surface observations, one station and year a file, whole numbers in tenths, hours in UTC.

Format: NOAA NCEI, Integrated Surface Data - Lite, format documentation of 20 June 2006 (read in a copy; that hours are
UTC and a trace of rain is -1: from memory). The columns of that page overlap, so lines are split at blanks.

Pressure is reduced to sea level, rain is the amount of the hour before, wind stands at the station's height (10 m by
norm).
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np

from sideoats.intake.laid import Layout
from sideoats.intake.rows import EPOCH, FIRST_YEAR, LAST_YEAR, calendar_day, read_text
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
    path : the file, usually named USAF-WBAN-YEAR; gzip and zip are unpacked
    station : identifier; from the file's name where empty
    name, latitude, longitude, elevation_m : of the station, which the file does not hold

    Raises
    ------
    InputError : the file cannot be read or holds no usable value
    """
    path = Path(path)
    layout = Layout(timedelta(hours=1))
    steps: list[int] = []
    rows: list[list[int]] = []
    for number, line in enumerate(read_text(path).splitlines(), 1):
        cells = line.split()
        if not cells:
            continue
        try:
            if len(cells) != _FIELDS:
                raise ValueError(f"has {len(cells)} fields; a line has {_FIELDS}")
            step, row = _row(cells)
        except (ValueError, OverflowError) as error:
            said = str(error)
            layout.reject(number, said if said.startswith("has ") else f"cannot be read ({said})")
            continue
        steps.append(step)
        rows.append(row)
    if rows:
        table, at = np.array(rows, np.int64), np.array(steps, np.int64)
        layout.see_many(at)
        for variable, (column, scale) in _COLUMNS.items():
            cell = table[:, column]
            trace = (cell == _TRACE) & (variable == "rain")
            values = np.where(trace, 0.0, np.where(cell == _MISSING, np.nan, cell / scale))
            layout.put(variable, at, values, np.where(trace, int(Flag.TRACE), 0))
    start, values_, flags = layout.arrays(path.name)
    return StationHours(
        station=station or "-".join(path.name.split(".")[0].split("-")[:2]),
        start=start,
        values=values_,
        flags=flags,
        name=name,
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation_m,
        utc_offset_hours=0.0,
        amounts_end=True,
        source=f"ISD-Lite file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
    )


def _row(cells: list[str]) -> tuple[int, list[int]]:
    """The hour since 1970 of a line, and its numbers. Raises ValueError with a sentence."""
    row = [int(cell) for cell in cells]
    year, month, day, hour, *readings = row
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"year {year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    if not 0 <= hour <= 23:
        raise ValueError(f"hour {hour} is none")
    if any(abs(reading) >= _TOO_WIDE for reading in readings):
        raise ValueError("a reading is wider than its column")
    return (calendar_day(f"{year:04d}-{month:02d}-{day:02d}").toordinal() - EPOCH) * 24 + hour, row
