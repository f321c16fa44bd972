"""ISD, the integrated surface data: full records of 105 columns and more, one a report, times in UTC.

Layout: positions as NOAA's federal-climate-complex format document prints them (from memory), checked against two whole
files (`../shared/data/weather`). Read are air temperature, dew point, wind, sea-level pressure and, of the additional
groups, the rain of one hour (AA1 to AA4, period 01), gusts (OC1) and, of summaries of the day (SOD), the official
highest and lowest temperature (KA) and rain (AA, period 24). A mark of quality 2, 3, 6 or 7 is suspect or wrong.

A routine report belongs to the hour in which it was made, so that 23:53 stays on its own day. Special reports are
passed over; of two routine reports in an hour the first counts.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from sideoats.intake.laid import Layout, laid_over, local_offset
from sideoats.intake.rows import NEVER, Steps, days_of, one_station, read_text
from sideoats.station import Flag, StationDays, StationHours, Values
from sideoats.words import Count, Name, say

_SHORTEST = 105
_BAD = ("2", "3", "6", "7")
_DAY, _PASSED = ("SOD",), ("SOM", "FM-16", "SPECI", "SP", "SHEF", "PCP15", "PCP60")
_FIRST = ("FM-15", "SAO", "SA-AU", "SAOSP", "SY-SA", "CRN05")  # before synoptic reports, which come on the hour as well
_ADDITIONAL = re.compile(r"ADD(.*?)(?:REM|EQD|$)", re.DOTALL)
_RAIN = re.compile(r"AA[1-4](\d{2})(\d{4})([0-9A-Z])([0-9A-Z])")
_GUST = re.compile(r"OC1(\d{4})([0-9A-Z])")
_EXTREME = re.compile(r"KA[1-4](\d{3})([MN])([+-]\d{4})([0-9A-Z])")


_Lines = list[tuple[int, str]]


@dataclass(frozen=True)
class _Column:
    variable: str
    first: int
    last: int
    steps: float
    missing: str
    quality: int


_COLUMNS = (
    _Column("temperature", 87, 92, 10.0, "+9999", 92),
    _Column("dewpoint", 93, 98, 10.0, "+9999", 98),
    _Column("pressure", 99, 104, 10.0, "99999", 104),
    _Column("wind_direction", 60, 63, 1.0, "999", 63),
    _Column("wind", 65, 69, 10.0, "9999", 69),
)


def is_isd(line: str) -> bool:
    """Whether a line looks like a full ISD record."""
    return bool(re.match(r"\d{4}[0-9A-Z]{6}\d{5}\d{12}.[+-]\d{5}[+-]\d{6}", line)) and len(line) >= _SHORTEST


def read_isd(path: str | Path, *, station: str | None = None, name: str = "") -> StationHours:
    """One station's hourly record from a full ISD file.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : USAF and WBAN number joined by a hyphen, where the file holds several
    name : to show

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    return _read(Path(path), station, name)[0]


def read_isd_days(
    path: str | Path, utc_offset_hours: float | None = None, *, station: str | None = None, name: str = ""
) -> StationDays:
    """As `read_isd`, in days of local standard time; the summaries of the day are official and stand before the hours.

    Parameters
    ----------
    utc_offset_hours : of the station's standard time; left out, that of its longitude
    """
    hours, summaries = _read(Path(path), station, name)
    offset, note = local_offset(utc_offset_hours, hours.longitude, hours.latitude, Path(path).name)
    record = replace(hours, notes=(*hours.notes, note)).to_days(offset)
    official = Layout(timedelta(days=1))
    _take_summaries(official, summaries, offset)
    return laid_over(record, official, Path(path).name)


def _read(path: Path, station: str | None, name: str) -> tuple[StationHours, _Lines]:
    layout = Layout(timedelta(hours=1))
    lines = []
    for number, line in enumerate(read_text(path).splitlines(), 1):
        if is_isd(line):
            lines.append((number, line))
        elif line.strip():
            layout.reject(number, f"is no ISD record: {len(line)} characters; one has {_SHORTEST} and more")
    if not lines:
        layout.arrays(path.name)
    chosen = one_station([f"{line[4:10]}-{line[10:15]}" for _, line in lines], station, path.name)
    groups: dict[str, _Lines] = {}
    for number, line in lines:
        if f"{line[4:10]}-{line[10:15]}" == chosen:
            groups.setdefault(line[41:46].strip(), []).append((number, line))
    taken: set[int] = set()
    for kind in sorted(groups, key=lambda kind: kind not in _FIRST):
        if kind not in (*_DAY, *_PASSED):
            _take_reports(layout, groups[kind], taken)
    passed = {kind: len(group) for kind, group in sorted(groups.items()) if kind in _PASSED}
    latitude, longitude, elevation = _position(next(iter(groups.values()))[0][1])
    start, values, flags = layout.arrays(path.name)
    hours = StationHours(
        station=chosen,
        start=start,
        values=values,
        flags=flags,
        name=name,
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation,
        utc_offset_hours=0.0,
        source=f"ISD file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=tuple(say("take.passed", n=Count(n), kind=Name(kind)) for kind, n in passed.items()),
    )
    return hours, [pair for kind in _DAY for pair in groups.get(kind, [])]


def _position(line: str) -> tuple[float, float, float]:
    """Latitude, longitude [degrees] and elevation [m] of a record."""
    cells = ((line[28:34], 1000.0, 90.0), (line[34:41], 1000.0, 180.0), (line[46:51], 1.0, 9000.0))
    found = [float(c) / scale if re.fullmatch(r"[+-]\d+", c) else math.nan for c, scale, _ in cells]
    latitude, longitude, height = (
        x if abs(x) <= most else math.nan for x, (_, _, most) in zip(found, cells, strict=True)
    )
    return latitude, longitude, height


def _hours(layout: Layout, lines: Sequence[tuple[int, str]]) -> Steps:
    days, wrong = days_of([line[15:23] for _, line in lines])
    hour = np.array([int(line[23:25]) if line[23:27].isdigit() else 99 for _, line in lines], np.int64)
    for i in np.flatnonzero((days == NEVER) | (hour > 23)).tolist():
        text = lines[i][1][15:23]
        layout.reject(lines[i][0], wrong.get(text, f"{lines[i][1][23:27]!r} is no time of day"))
    return np.where((days == NEVER) | (hour > 23), NEVER, np.where(days == NEVER, 0, days) * 24 + hour)


def _take_reports(layout: Layout, lines: Sequence[tuple[int, str]], taken: set[int]) -> None:
    """Reports of one rank, at hours that no report before them took."""
    steps = _hours(layout, lines)
    kept = []
    for i, step in enumerate(steps.tolist()):
        if step != NEVER and step not in taken:
            taken.add(step)
            kept.append(i)
    if not kept:
        return
    at, own = steps[kept], [lines[i][1] for i in kept]
    layout.see_many(at)
    for column in _COLUMNS:
        cells = [line[column.first : column.last] for line in own]
        marks = [line[column.quality] for line in own]
        values: Values = _whole(layout, column, [lines[i][0] for i in kept], cells) / column.steps
        bad = np.array([m in _BAD for m in marks]) & ~np.isnan(values)
        for i in np.flatnonzero(bad).tolist():
            layout.fail(column.variable, int(at[i]), f"{values[i]:g}", "marked as suspect or wrong by the publisher")
        layout.put(column.variable, at[~bad], values[~bad])
    for step, line in zip(at.tolist(), own, strict=True):
        _take_groups(layout, step, line)


def _whole(layout: Layout, column: _Column, numbers: Sequence[int], cells: Sequence[str]) -> Values:
    out = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        if cell == column.missing:
            continue
        if re.fullmatch(r"[+-]?\d+", cell):
            out[i] = int(cell)
        else:
            layout.reject(numbers[i], f"{column.variable} {cell!r} is not a whole number")
    return out


def _take_groups(layout: Layout, step: int, line: str) -> None:
    found = _ADDITIONAL.search(line, _SHORTEST)
    if found is None:
        return
    for hours, depth, condition, quality in _RAIN.findall(found[1]):
        if hours != "01" or depth == "9999":
            continue
        if quality in _BAD:
            layout.fail("rain", step, f"{int(depth) / 10:g}", "marked as suspect or wrong by the publisher")
        else:
            layout.put("rain", [step], [int(depth) / 10], int(Flag.TRACE) if condition == "2" else 0)
        break
    gust = _GUST.search(found[1])
    if gust and gust[1] != "9999" and gust[2] not in _BAD:
        layout.put("gust", [step], [int(gust[1]) / 10])


# -- official days -----------------------------------------------------------------------------------------------------


def _take_summaries(days: Layout, lines: _Lines, offset: float) -> None:
    for step, (_, line) in zip(_hours(days, lines).tolist(), lines, strict=True):
        found = _ADDITIONAL.search(line, _SHORTEST)
        if step == NEVER or found is None:
            continue
        day = math.floor((step + offset) / 24)
        for _, kind, value, quality in _EXTREME.findall(found[1]):
            if value != "+9999" and quality not in _BAD:
                days.put("tmax" if kind == "M" else "tmin", [day], [int(value) / 10])
        for hours, depth, condition, quality in _RAIN.findall(found[1]):
            if hours == "24" and depth != "9999" and quality not in _BAD:
                days.put("rain", [day], [int(depth) / 10], int(Flag.TRACE) if condition == "2" else 0)
