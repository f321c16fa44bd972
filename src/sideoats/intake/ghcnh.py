"""GHCN-Hourly: one column a measurement, each followed by its marks, with bars between (``.psv``), times in UTC.

An early version has no DATE but Year to Minute, and ``Station_ID``. degC, m/s, hPa, mm. A value whose quality mark says
that it failed is set aside; the marks differ by source, so that only those that every list calls failed count (common
practice). Many reports stand off the hour: a report belongs to the hour in which it was made, the first routine one
counts. Layout: public clients and their files (read); that times are UTC is from memory.
"""

from __future__ import annotations

import math
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.intake.laid import Layout
from sideoats.intake.rows import (
    EPOCH,
    FIRST_YEAR,
    LAST_YEAR,
    NEVER,
    Steps,
    Table,
    calendar_day,
    mapped,
    numbers,
    one_station,
    plain_name,
    position_in,
    read_text,
    table_of,
)
from sideoats.station import HOURLY_UNITS, Flag, StationHours
from sideoats.units import conversion

_FAILED = (*"2367", *"LoFdDSXWKNE")  # letters from memory; A, C, I, M, P, R and U are marks of values that were kept
_COLUMNS = {
    "temperature": ("temperature", "degC"),
    "dewpoint": ("dew_point_temperature", "degC"),
    "humidity": ("relative_humidity", "percent"),
    "pressure": ("station_level_pressure", "hPa"),
    "wind": ("wind_speed", "m/s"),
    "gust": ("wind_gust", "m/s"),
    "wind_direction": ("wind_direction", "degree"),
    "rain": ("precipitation", "mm"),
}
_MISSING = ("", "-9999", "9999", "999.9", "9999.9")
_CALM = 999  # of a direction: calm or variable


def is_ghcnh(names: list[str]) -> bool:
    """Whether a header is one of this product."""
    plain = {plain_name(n) for n in names}
    return {"temperature", "temperaturequalitycode"} <= plain and bool(plain & {"stationid", "station", "ghcnid"})


def read_ghcnh(path: str | Path, *, station: str | None = None, name: str = "") -> StationHours:
    """One station's hourly record from a GHCN-Hourly file.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : which station, where the file holds several

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    table = table_of(read_text(path), path.name)
    layout = Layout(timedelta(hours=1))
    layout.rejected.extend(table.rejected)
    ids = table.need("STATION", "Station_ID", "GHCN_ID")
    chosen = one_station(ids, station, path.name) if ids else (station or "")
    table = table.where([i == chosen for i in ids])
    steps = _hours(layout, table)
    routine = _routine(table)
    for variable, (column, unit) in _COLUMNS.items():
        if table.has(column):
            _take(layout, table, steps, routine, variable, column, conversion(unit, HOURLY_UNITS[variable]))
    layout.see_many(steps)
    start, values, flags = layout.arrays(path.name)
    where: dict[str, Any] = dict(position_in(table))
    return StationHours(
        station=chosen,
        start=start,
        values=values,
        flags=flags,
        name=name or table.column("Station_name", "NAME")[0],
        utc_offset_hours=0.0,
        source=f"GHCN-Hourly file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        **where,
    )


def _hours(layout: Layout, table: Table) -> Steps:
    """The hour of each report since 1970 in UTC."""
    if table.has("DATE"):
        cells = table.column("DATE")
        found, wrong = mapped(cells, _moment)
        layout.reject_cells(table, cells, wrong)
        return np.array([NEVER if step is None else step for step in found], np.int64)
    parts = [table.need(part) for part in ("Year", "Month", "Day", "Hour")]
    cells = [f"{y.zfill(4)}-{m.zfill(2)}-{d.zfill(2)}T{h.zfill(2)}" for y, m, d, h in zip(*parts, strict=True)]
    found, wrong = mapped(cells, _moment)
    layout.reject_cells(table, cells, wrong)
    return np.array([NEVER if step is None else step for step in found], np.int64)


def _moment(text: str) -> int:
    day, hour = calendar_day(text[:10]), text[11:13]
    if not hour.isdigit() or int(hour) > 23:
        raise ValueError(f"{text[:40]!r} has no hour")
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"year {day.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    return (day.toordinal() - EPOCH) * 24 + int(hour)


def _routine(table: Table) -> Steps:
    """Rows of routine reports first: the order in which values are taken."""
    kinds = table.column("temperature_Report_Type", "Report_Type")
    special = np.array(["16" in kind.split("-")[-1] for kind in kinds], bool)
    return np.argsort(special, kind="stable")


def _take(
    layout: Layout,
    table: Table,
    steps: Steps,
    order: Steps,
    variable: str,
    column: str,
    scale: tuple[float, float],
) -> None:
    cells = table.column(column)
    marks = table.column(f"{column}_Quality_Code")
    measured = table.column(f"{column}_Measurement_Code")
    values, wrong = numbers(cells, _MISSING)
    layout.reject_cells(table, cells, wrong, column)
    if variable == "wind_direction":
        values[values == _CALM] = np.nan
    failed = np.array([mark in _FAILED for mark in marks], bool) & ~np.isnan(values) & (steps != NEVER)
    for i in np.flatnonzero(failed):
        layout.fail(variable, int(steps[i]), cells[i], "marked as failed by the publisher")
    good = [i for i in order.tolist() if not failed[i] and not math.isnan(values[i]) and steps[i] != NEVER]
    first: dict[int, int] = {}
    for i in good:
        first.setdefault(int(steps[i]), i)
    kept = list(first.values())
    traces = [int(Flag.TRACE) if variable == "rain" and measured[i].endswith("T") else 0 for i in kept]
    layout.put(variable, steps[kept], values[kept] * scale[0] + scale[1], traces)
