"""GSOD, global summaries of the day, retired in August 2025: the old fixed-width ``.op`` file and the yearly CSV.

degF, inches, knots and statute miles; 9999.9 (temperature), 999.9 (wind, snow) and 99.99 (rain) are missing. ``*``
behind a highest or lowest temperature says that it was made of hourly reports. The letter behind rain says how it was
summed: H and I are incomplete, so that their zero is not sure. The day of the rain rarely ends at midnight. Layout:
GSODR's description and a whole file (`../shared/data/weather`); the CSV's column names from memory.
"""

from __future__ import annotations

import math
from datetime import timedelta
from pathlib import Path

import numpy as np

from sideoats.intake.laid import Layout
from sideoats.intake.rows import (
    NEVER,
    Steps,
    Table,
    days_of,
    numbers,
    one_station,
    plain_name,
    position_in,
    read_text,
    table_of,
)
from sideoats.station import DAILY_UNITS, Rejected, StationDays
from sideoats.units import conversion
from sideoats.words import Count, say

_HEADER = ("STN", "WBAN", "YEARMODA", "TEMP", "TEMP_N", "DEWP", "DEWP_N", "SLP", "SLP_N", "STP", "STP_N", "VISIB",
           "VISIB_N", "WDSP", "WDSP_N", "MXSPD", "GUST", "MAX", "MIN", "PRCP", "SNDP", "FRSHTT")  # fmt: skip
# column: variable, unit, value that is missing
_COLUMNS = {
    "TEMP": ("tmean", "degF", "9999.9"),
    "DEWP": ("dewpoint", "degF", "9999.9"),
    "WDSP": ("wind", "knot", "999.9"),
    "GUST": ("gust", "knot", "999.9"),
    "MAX": ("tmax", "degF", "9999.9"),
    "MIN": ("tmin", "degF", "9999.9"),
    "PRCP": ("rain", "inch", "99.99"),
    "SNDP": ("snow_depth", "inch", "999.9"),
}
_UNSURE = ("H", "I")


def is_gsod(line: str) -> bool:
    """Whether a first line is that of one of the two layouts."""
    if line.startswith("STN---"):
        return True
    names = {plain_name(cell) for cell in line.split(",")}
    return {"station", "date", "temp", "dewp", "wdsp", "max", "min", "prcp"} <= names


def read_gsod(path: str | Path, *, station: str | None = None, name: str = "") -> StationDays:
    """One station's daily record from a GSOD file of either layout.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : which station, where the file holds several

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    text = read_text(path)
    fixed = "," not in text.lstrip()[:2000].split("\n", 1)[0]
    table = _fixed(text, path.name) if fixed else table_of(text, path.name)
    layout = Layout(timedelta(days=1))
    layout.rejected.extend(table.rejected)
    ids = [f"{s}-{w}" for s, w in zip(table.column("STN"), table.column("WBAN"))] if fixed else table.need("STATION")
    chosen = one_station(ids, station, path.name) if ids else (station or "")
    table = table.where([i == chosen for i in ids])
    dates = table.need("YEARMODA", "DATE")
    days, wrong = days_of(dates)
    layout.reject_cells(table, dates, wrong)
    layout.see_many(days)
    hourly = _take(layout, table, days)
    start, values, flags = layout.arrays(path.name)
    told = table.column("NAME")[0] if table.has("NAME") else ""
    where = {"latitude": math.nan, "longitude": math.nan, "elevation_m": math.nan} | position_in(table)
    return StationDays(
        station=chosen,
        start=start.date(),
        values=values,
        flags=flags,
        name=name or told,
        source=f"GSOD file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=(say("take.gsod.hourly", n=Count(hourly)),) if hourly else (),
        **where,
    )


def _fixed(text: str, name: str) -> Table:
    """The old layout: fields between blanks; a gust or a rain may carry a mark at its end."""
    table = Table(name, list(_HEADER), [], [])
    for number, line in enumerate(text.splitlines(), 1):
        cells = line.split()
        if not cells or cells[0].startswith("STN"):
            continue
        if len(cells) == len(_HEADER):
            table.rows.append(cells)
            table.lines.append(number)
        else:
            table.rejected.append(Rejected(number, f"is cut: {len(cells)} fields; a line has {len(_HEADER)}"))
    return table


def _take(layout: Layout, table: Table, days: Steps) -> int:
    """Put every column; how many of the extremes were made of hourly reports."""
    hourly = 0
    attributes = table.column("PRCP_ATTRIBUTES")
    for column, (variable, unit, missing) in _COLUMNS.items():
        if not table.has(column):
            continue
        cells = table.column(column)
        plain = [cell.rstrip("*ABCDEFGHI ") for cell in cells]
        values, wrong = numbers(plain, ("", missing))
        if wrong:
            for line, cell in zip(table.lines, plain, strict=True):
                if cell in wrong:
                    layout.reject(line, f"{column} {cell[:40]!r} is not a number")
        if column in ("MAX", "MIN"):
            marks = table.column(f"{column}_ATTRIBUTES")
            hourly += sum("*" in cell or "*" in mark for cell, mark in zip(cells, marks, strict=True))
        factor, offset = conversion(unit, DAILY_UNITS[variable])
        values = values * factor + offset
        if column == "PRCP":
            letters = [a or cell[-1:] for a, cell in zip(attributes, cells, strict=True)]
            unsure = np.array([k in _UNSURE for k in letters], bool) & (values == 0) & (days != NEVER)
            for i in np.flatnonzero(unsure):
                layout.fail("rain", int(days[i]), cells[i], "an incomplete sum, so its zero is not sure")
            values = np.where(unsure, np.nan, values)
        layout.put(variable, days, values)
    return hourly
