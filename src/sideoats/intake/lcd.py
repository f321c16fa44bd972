"""Local Climatological Data: the CSV that NOAA NCEI serves station by station, in its three layouts.

The layout of 2017 gives degF and degC side by side under names that begin in capitals (``HOURLYDRYBULBTEMPF``,
``DAILYMaximumDryBulbTemp``, ``REPORTTPYE``; names from memory); the next is in degF, inches, mph and inches of mercury,
the second version in degC, mm, m/s and hPa, with the position in its rows. Times are local standard time all year (a
report of 010552Z stands at 00:52 in Atlanta).

The day is the official one: the row SOD holds the published highest and lowest temperature, rain, snow and wind, and
the hourly reports only fill what it lacks. A routine report belongs to the hour and the day in which it was made: 23:53
is never carried over midnight. ``s`` behind a value is suspect, ``T`` a trace, ``*`` and an empty cell a missing one,
``VRB`` a variable wind. Special and synoptic reports are passed over and counted in the notes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from sideoats import units
from sideoats.errors import InputError
from sideoats.intake.laid import Layout, laid_over
from sideoats.intake.rows import (
    EPOCH,
    FIRST_YEAR,
    LAST_YEAR,
    NEVER,
    Steps,
    Table,
    mapped,
    numbers,
    one_station,
    plain_name,
    position_in,
    read_text,
    table_of,
)
from sideoats.station import DAILY_UNITS, HOURLY_UNITS, Flag, StationDays, StationHours
from sideoats.words import Count, Name, Phrase, say

_ROUTINE, _DAY = ("FM-15", "AUTO", "SAO", "AERO"), ("SOD",)
_LEAST_HPA = 100.0  # no pressure in inches of mercury is as high, none in hPa as low
_TYPES = ("REPORT_TYPE", "REPORTTPYE", "REPORTTYPE")
_PRESSURES = (
    "HourlyStationPressure",
    "HourlyAltimeterSetting",
    "HourlySeaLevelPressure",
    "DailyAverageStationPressure",
)
# variable: its columns (the layout of 2017 last), unit of the first version, of the second
Columns = Mapping[str, tuple[tuple[str, ...], str, str]]
_HOURS: Columns = {
    "temperature": (("HourlyDryBulbTemperature", "HOURLYDRYBULBTEMPF"), "degF", "degC"),
    "dewpoint": (("HourlyDewPointTemperature", "HOURLYDewPointTempF"), "degF", "degC"),
    "humidity": (("HourlyRelativeHumidity",), "percent", "percent"),
    "wind": (("HourlyWindSpeed",), "mph", "m/s"),
    "gust": (("HourlyWindGustSpeed",), "mph", "m/s"),
    "wind_direction": (("HourlyWindDirection",), "degree", "degree"),
    "pressure": (("HourlyStationPressure",), "inHg", "hPa"),
    "rain": (("HourlyPrecipitation", "HOURLYPrecip"), "inch", "mm"),
}
_DAYS: Columns = {
    "tmax": (("DailyMaximumDryBulbTemperature", "DAILYMaximumDryBulbTemp"), "degF", "degC"),
    "tmin": (("DailyMinimumDryBulbTemperature", "DAILYMinimumDryBulbTemp"), "degF", "degC"),
    "tmean": (("DailyAverageDryBulbTemperature", "DAILYAverageDryBulbTemp"), "degF", "degC"),
    "dewpoint": (("DailyAverageDewPointTemperature", "DAILYAverageDewPointTemp"), "degF", "degC"),
    "humidity": (("DailyAverageRelativeHumidity",), "percent", "percent"),
    "rain": (("DailyPrecipitation", "DAILYPrecip"), "inch", "mm"),
    "snow": (("DailySnowfall",), "inch", "mm"),
    "snow_depth": (("DailySnowDepth",), "inch", "mm"),
    "wind": (("DailyAverageWindSpeed",), "mph", "m/s"),
    "gust": (("DailyPeakWindSpeed",), "mph", "m/s"),
}


def is_lcd(names: Sequence[str]) -> bool:
    """Whether a header is one of this product."""
    plain = {plain_name(n) for n in names}
    return bool(plain & {plain_name(t) for t in _TYPES}) and any(n.startswith("hourly") for n in plain)


def read_lcd(
    path: str | Path, *, station: str | None = None, metric: bool | None = None, utc_offset_hours: float = float("nan")
) -> StationHours:
    """One station's hourly record from a Local Climatological Data CSV.

    Parameters
    ----------
    path : the CSV file; gzip and zip are unpacked
    station : which station, where the file holds several
    metric : units of the file; told from its pressures where None
    utc_offset_hours : of the station's standard time

    Raises
    ------
    InputError : the file cannot be read, lacks the columns, holds no usable value, or does not tell its units
    """
    table, chosen, metric = _opened(Path(path), station, metric)
    hours, _ = _hours_of(table, chosen, metric)
    return replace(hours, utc_offset_hours=utc_offset_hours)


def read_lcd_days(path: str | Path, *, station: str | None = None, metric: bool | None = None) -> StationDays:
    """As `read_lcd`, in days: the official ones, and what they lack made of hours."""
    table, chosen, metric = _opened(Path(path), station, metric)
    official = Layout(timedelta(days=1))
    own = table.where([cell in _DAY for cell in table.column(*_TYPES)])
    steps, wrong = _times(own, day=True)
    official.reject_cells(own, own.column("DATE"), wrong)
    _take(official, own, steps, _DAYS, metric, DAILY_UNITS)
    try:
        hours, notes = _hours_of(table, chosen, metric)
    except InputError:
        if official.empty:
            raise
        start, values, flags = official.arrays(table.name)
        return StationDays(
            station=chosen,
            start=start.date(),
            values=values,
            flags=flags,
            notes=(say("take.official"),),
            source=f"LCD file {table.name}",
            set_aside=tuple(official.set_aside),
            rejected=(*table.rejected, *official.rejected),
            **_about(table),
        )
    return laid_over(replace(hours, notes=notes).to_days(), official, table.name)


def _opened(path: Path, station: str | None, metric: bool | None) -> tuple[Table, str, bool]:
    table = table_of(read_text(path), path.name)
    ids = table.need("STATION", "STATION_ID")
    table.need(*_TYPES)
    table.need("DATE")
    chosen = one_station(ids, station, path.name) if ids else (station or "")
    table = table.where([cell == chosen for cell in ids])
    return table, chosen, _is_metric(table) if metric is None else metric


def _is_metric(table: Table) -> bool:
    if table.has("HOURLYDRYBULBTEMPF"):
        return False
    for name in _PRESSURES:
        found = numbers([c.rstrip("s") for c in table.column(name)], ("", "*", "M"))[0]
        if not np.isnan(found).all():
            return bool(np.nanmedian(found) > _LEAST_HPA)
    raise InputError("does not tell its units", where=table.name, todo="give units=metric or units=imperial")


def _about(table: Table) -> dict[str, Any]:
    return {"name": table.column("NAME", "STATION_NAME")[0] if table.rows else "", **position_in(table)}


def _hours_of(table: Table, chosen: str, metric: bool) -> tuple[StationHours, tuple[object, ...]]:
    layout = Layout(timedelta(hours=1))
    layout.rejected.extend(table.rejected)
    kinds = table.column(*_TYPES)
    routine = table.where([kind in _ROUTINE for kind in kinds])
    steps, wrong = _times(routine, day=False)
    layout.reject_cells(routine, routine.column("DATE"), wrong)
    first = np.zeros(len(steps), bool)
    first[np.unique(steps, return_index=True)[1]] = True  # of two routine reports in an hour the first counts
    first &= steps != NEVER
    _take(layout, routine.where(first.tolist()), steps[first], _HOURS, metric, HOURLY_UNITS)
    layout.see_many(steps)
    start, values, flags = layout.arrays(table.name)
    units_note = say("take.units.told", units=Phrase(say("take.system.metric" if metric else "take.system.imperial")))
    passed = Counter(kind for kind in kinds if kind not in (*_ROUTINE, *_DAY))
    notes = [
        units_note,
        *(say("take.passed", n=Count(n), kind=Name(kind or "?")) for kind, n in sorted(passed.items())),
    ]
    return StationHours(
        station=chosen,
        start=start,
        values=values,
        flags=flags,
        source=f"LCD file {table.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=tuple(notes),
        **_about(table),
    ), tuple(notes)


def _times(table: Table, *, day: bool) -> tuple[Steps, dict[str, str]]:
    """Each row's day, or the hour in which it was made, since 1970."""

    def read(text: str) -> int:
        try:
            when = datetime.fromisoformat(text)
        except ValueError:
            try:
                when = datetime.strptime(text, "%m/%d/%Y %H:%M")
            except ValueError:
                raise ValueError(f"its time cannot be read ({text[:40]!r})") from None
        if not FIRST_YEAR <= when.year <= LAST_YEAR:
            raise ValueError(f"its time cannot be read (year {when.year} is outside {FIRST_YEAR} to {LAST_YEAR})")
        days = when.toordinal() - EPOCH
        return days if day else days * 24 + when.hour

    found, wrong = mapped(table.column("DATE"), read)
    return np.array([NEVER if step is None else step for step in found], np.int64), wrong


def _take(
    layout: Layout, table: Table, steps: Steps, columns: Columns, metric: bool, canonical: Mapping[str, str]
) -> None:
    for variable, (names, us, si) in columns.items():
        if not table.has(*names):
            continue
        cells = table.column(*names)
        traces = np.array([cell in ("T", "Ts") for cell in cells], bool)
        values, wrong = numbers(["0" if t else c.rstrip("s") for c, t in zip(cells, traces, strict=True)],
                                ("", "*", "VRB", "M"))  # fmt: skip
        if wrong:
            for line, cell in zip(table.lines, cells, strict=True):
                if cell.rstrip("s") in wrong:
                    layout.reject(line, f"{names[0]} {cell[:40]!r} is not a number")
        factor, offset = units.conversion(si if metric else us, canonical[variable])
        doubted = np.array([c.endswith("s") for c in cells], bool) & ~np.isnan(values) & (steps != NEVER)
        for i in np.flatnonzero(doubted):
            layout.fail(variable, int(steps[i]), cells[i], "marked as suspect by the publisher")
        good = ~doubted
        layout.put(variable, steps[good], (values * factor + offset)[good], np.where(traces, int(Flag.TRACE), 0)[good])
