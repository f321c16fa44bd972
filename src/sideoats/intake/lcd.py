"""Local Climatological Data: the hourly rows of the CSV that NOAA NCEI serves station by station.

Format from memory: times are local standard ISO 8601; FM-15 rows are the routine hourly reports, FM-16 specials, SOD
and SOM summaries; a trailing ``s`` marks a suspect value, ``T`` a trace, ``*`` and an empty cell a missing one, ``VRB``
a variable wind direction. The first version is in degF, mph, inches and inches of mercury; the second in metric units.

Routine reports are taken to the nearest hour. Specials and summaries are passed over and counted in the record's notes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from sideoats import units
from sideoats.errors import InputError
from sideoats.intake.rows import (
    FIRST_YEAR,
    LAST_YEAR,
    Layout,
    header_index,
    number_in,
    one_station,
    read_text,
    whole_table,
)
from sideoats.station import HOURLY_UNITS, Flag, StationHours

_ROUTINE = "FM-15"
_LEAST_HPA = 100.0  # no pressure in inches of mercury is as high, none in hPa as low
# variable: column, unit of the first version, of the second
_COLUMNS = {
    "temperature": ("HourlyDryBulbTemperature", "degF", "degC"),
    "dewpoint": ("HourlyDewPointTemperature", "degF", "degC"),
    "humidity": ("HourlyRelativeHumidity", "percent", "percent"),
    "wind": ("HourlyWindSpeed", "mph", "m/s"),
    "gust": ("HourlyWindGustSpeed", "mph", "m/s"),
    "wind_direction": ("HourlyWindDirection", "degree", "degree"),
    "pressure": ("HourlyStationPressure", "inHg", "hPa"),
    "rain": ("HourlyPrecipitation", "inch", "mm"),
}


def read_lcd(
    path: str | Path, *, station: str | None = None, metric: bool | None = None, utc_offset_hours: float = float("nan")
) -> StationHours:
    """One station's hourly record from a Local Climatological Data CSV.

    Parameters
    ----------
    path : the CSV file; ``.gz`` is unpacked
    station : which station, where the file holds several
    metric : units of the file; told from its pressures where None
    utc_offset_hours : of the station's standard time

    Raises
    ------
    InputError : the file cannot be read, lacks the columns, holds no usable value, or does not tell its units
    """
    path = Path(path)
    rows = whole_table(read_text(path), path.name)
    header = rows[0][1]
    at_station, at_date, at_type = (header_index(header, c, path.name) for c in ("STATION", "DATE", "REPORT_TYPE"))
    layout = Layout(timedelta(hours=1))
    whole = []
    for number, row in rows[1:]:
        if len(row) != len(header):
            layout.reject(number, f"has {len(row)} cells; the header has {len(header)}")
        else:
            whole.append((number, row))
    chosen = one_station([row[at_station] for _, row in whole], station, path.name) if whole else (station or "")
    passed = Counter(row[at_type].strip() for _, row in whole if row[at_type].strip() != _ROUTINE)
    routine = [(n, r) for n, r in whole if r[at_type].strip() == _ROUTINE and r[at_station] == chosen]
    lowered = [cell.lower() for cell in header]
    columns = {v: lowered.index(c.lower()) for v, (c, _, _) in _COLUMNS.items() if c.lower() in lowered}
    if metric is None:
        metric = _is_metric(routine, columns, path.name)
    for number, row in routine:
        _take(layout, number, row, at_date, columns, metric)
    start, values, flags = layout.arrays(path.name)
    notes = [f"units taken as {'metric' if metric else 'degF, mph, inches'}"]
    notes += [f"{count} rows of report type {kind or 'none'} passed over" for kind, count in sorted(passed.items())]
    return StationHours(
        station=chosen,
        start=start,
        values=values,
        flags=flags,
        utc_offset_hours=utc_offset_hours,
        source=f"LCD file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=tuple(notes),
    )


def _is_metric(rows: Sequence[tuple[int, list[str]]], columns: Mapping[str, int], name: str) -> bool:
    if "pressure" in columns:
        for _, row in rows:
            try:
                return float(row[columns["pressure"]].rstrip("s")) > _LEAST_HPA
            except ValueError:
                continue
    raise InputError("does not tell its units", where=name, todo="say whether it is metric")


def _take(layout: Layout, number: int, row: list[str], at_date: int, columns: Mapping[str, int], metric: bool) -> None:
    try:
        when = datetime.fromisoformat(row[at_date])
        when = (when + timedelta(minutes=30)).replace(minute=0, second=0, microsecond=0, tzinfo=None)
        if not FIRST_YEAR <= when.year <= LAST_YEAR:
            raise ValueError(f"year {when.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    except (ValueError, OverflowError) as error:
        layout.reject(number, f"its time cannot be read ({error})")
        return
    layout.see(when)
    for variable, at in columns.items():
        text = row[at].strip()
        if text in ("", "*", "VRB"):
            continue
        if text == "T":
            layout.put(variable, when, 0.0, Flag.TRACE)
            continue
        try:
            given = number_in(text.rstrip("s"), frozenset())
        except ValueError:
            layout.reject(number, f"{_COLUMNS[variable][0]} {text[:40]!r} is not a number")
            continue
        value = units.convert(given, _COLUMNS[variable][2 if metric else 1], HOURLY_UNITS[variable])
        if text.endswith("s"):
            layout.fail(variable, when, text, "marked as suspect by the publisher")
        else:
            layout.put(variable, when, float(value))
