"""U.S. Climate Reference Network files, daily (daily01) and hourly (hourly02): whitespace-separated, metric units.

Format: NOAA NCEI, uscrn/products/daily01 and hourly02 (first columns read; the order of all 28 and 38 as zmoon/uscrn's
attrs.yml lists it, and the missing codes as files hold them). A day is one of local standard time. The time of an
hourly line is the end of its hour: 0000 is the last hour of the day before. Older lists of the hourly columns have 37,
without the type of the surface temperature. Flag 3 marks a bad value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.laid import Layout
from sideoats.intake.rows import NEVER, Steps, days_of, mapped, numbers, one_station, read_text
from sideoats.station import SOIL_DEPTHS_CM, StationDays, StationHours
from sideoats.words import Measured, say

_DAILY, _HOURLY, _HOURLY_OLD = 28, 38, 37
_MISSING = ("-9999", "-99")
Columns = Mapping[str, tuple[int, float]]  # variable: position, factor to our unit
_DAY_COLUMNS: Columns = {
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
_HOUR_COLUMNS: Columns = {
    "temperature": (9, 1.0),
    "temperature_max": (10, 1.0),
    "temperature_min": (11, 1.0),
    "rain": (12, 1.0),
    "solar": (13, 1.0),
    "humidity": (26, 0.01),
    **{f"soil_moisture_{depth}": (28 + k, 1.0) for k, depth in enumerate(SOIL_DEPTHS_CM)},
    **{f"soil_temperature_{depth}": (33 + k, 1.0) for k, depth in enumerate(SOIL_DEPTHS_CM)},
}
_FLAGGED = {"solar": 14, "humidity": 27}  # position of the flag of an hourly value
_BAD = "3"


def read_uscrn_daily(path: str | Path, *, station: str | None = None, name: str = "") -> StationDays:
    """One station's daily record from a USCRN daily01 file.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : WBAN number, where the file holds several stations (the daily update files do)
    name : to show; the file's own name where empty

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    layout = Layout(timedelta(days=1))
    chosen, lines, rows = _rows(path, station, layout, (_DAILY,))
    days, wrong = days_of([row[1] for row in rows])
    for i in np.flatnonzero(days == NEVER):
        layout.reject(lines[i], wrong[rows[i][1]])
    layout.see_many(days)
    _take(layout, _DAY_COLUMNS, lines, rows, days)
    start, values, flags = layout.arrays(path.name)
    longitude, latitude = _place(rows, 3)
    return StationDays(
        station=chosen,
        start=start.date(),
        values=values,
        flags=flags,
        name=name or path.stem,
        latitude=latitude,
        longitude=longitude,
        wind_height_m=1.5,
        source=f"USCRN daily file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
    )


def read_uscrn_hourly(path: str | Path, *, station: str | None = None, name: str = "") -> StationHours:
    """One station's hourly record from a USCRN hourly02 file, on local standard time; parameters as the daily one."""
    path = Path(path)
    layout = Layout(timedelta(hours=1))
    chosen, lines, rows = _rows(path, station, layout, (_HOURLY, _HOURLY_OLD))
    rows = [[*row[:19], "C", *row[19:]] if len(row) == _HOURLY_OLD else row for row in rows]
    steps = _ends([row[3] for row in rows], [row[4] for row in rows], lines, layout)
    utc = _ends([row[1] for row in rows], [row[2] for row in rows], lines, Layout(timedelta(hours=1)))
    apart = (steps - utc)[(steps != NEVER) & (utc != NEVER)]
    offset = float(np.median(apart)) if apart.size else float("nan")
    layout.see_many(steps)
    _take(layout, _HOUR_COLUMNS, lines, rows, steps, _FLAGGED)
    start, values, flags = layout.arrays(path.name)
    longitude, latitude = _place(rows, 6)
    return StationHours(
        station=chosen,
        start=start,
        values=values,
        flags=flags,
        name=name or path.stem,
        latitude=latitude,
        longitude=longitude,
        wind_height_m=1.5,
        utc_offset_hours=offset,
        source=f"USCRN hourly file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=(say("take.zone.local", hours=Measured(offset, unit="hour")),) if offset == offset else (),
    )


def _rows(
    path: Path, station: str | None, layout: Layout, widths: Sequence[int]
) -> tuple[str, list[int], list[list[str]]]:
    """The lines of one station as fields. Raises InputError where a file of the other product was given."""
    lines: list[int] = []
    rows: list[list[str]] = []
    for number, line in enumerate(read_text(path).splitlines(), 1):
        cells = line.split()
        if not cells or cells[0].startswith("#") or cells[0].upper() == "WBANNO":
            continue
        if len(cells) not in widths:
            what = "is cut" if len(cells) < widths[-1] else "is overlong"
            layout.reject(number, f"{what}: {len(cells)} fields; a line has {widths[0]}")
        else:
            lines.append(number)
            rows.append(cells)
    if not rows:
        first = f"; {layout.rejected[0]}" if layout.rejected else ""
        raise InputError(f"holds no usable value{first}", where=path.name, expected="dated weather values")
    chosen = one_station([row[0] for row in rows], station, path.name)
    mine = [i for i, row in enumerate(rows) if row[0] == chosen]
    return chosen, [lines[i] for i in mine], [rows[i] for i in mine]


def _ends(dates: Sequence[str], times: Sequence[str], lines: Sequence[int], layout: Layout) -> Steps:
    """The hour that ends at each date and time, in hours since 1970."""
    days, wrong = days_of(dates)
    clock, late = mapped(times, _clock)
    for line, day, text, time in zip(lines, days.tolist(), dates, times, strict=True):
        if day == NEVER or time in late:
            layout.reject(line, wrong.get(text) or late[time])
    known = np.array([day != NEVER and hour is not None for day, hour in zip(days.tolist(), clock, strict=True)])
    hour = np.array([0 if h is None else h for h in clock], np.int64)
    return np.where(known, np.where(known, days, 0) * 24 + hour - 1, NEVER)


def _clock(text: str) -> int:
    if not text.isdigit() or int(text) % 100 or int(text) > 2400:
        raise ValueError(f"{text[:20]!r} is no full hour")
    return int(text) // 100


def _take(
    layout: Layout,
    columns: Columns,
    lines: Sequence[int],
    rows: Sequence[Sequence[str]],
    steps: Steps,
    flagged: Mapping[str, int] | None = None,
) -> None:
    for variable, (at, factor) in columns.items():
        cells = [row[at] for row in rows]
        values, wrong = numbers(cells, _MISSING)
        if wrong:
            for line, cell in zip(lines, cells, strict=True):
                if cell in wrong:
                    layout.reject(line, f"{variable} {wrong[cell]}")
        bad = np.zeros(len(rows), bool)
        if flagged and variable in flagged:
            bad = np.array([row[flagged[variable]] == _BAD for row in rows]) & ~np.isnan(values) & (steps != NEVER)
            for i in np.flatnonzero(bad):
                layout.fail(variable, int(steps[i]), cells[i], "marked as bad by the publisher")
        layout.put(variable, steps[~bad], (values * factor)[~bad])


def _place(rows: Sequence[Sequence[str]], at: int) -> tuple[float, float]:
    """Longitude and latitude, by the last row that says them."""
    for row in reversed(rows):
        found, wrong = numbers(row[at : at + 2], _MISSING)
        if not wrong and abs(found[0]) <= 180 and abs(found[1]) <= 90:
            return float(found[0]), float(found[1])
    return float("nan"), float("nan")
