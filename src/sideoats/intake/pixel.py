"""One point of a gridded record as CSV, as the services of Daymet, gridMET and PRISM give it.

The heading tells the units (``prcp (mm/day)``, ``tmin (degrees F)``, ``precipitation_amount[unit="mm"]``); a preamble
above it tells the place. Daymet counts 365 days in every year, so that leap years lack 31 December, and gives radiation
as the mean over daylight: the day's sum is that times the length of daylight. gridMET gives kelvin and its radiation as
the mean of the day. PRISM's day ends at 12 UTC and is named by its end (from memory), so that most of it is the day
before: it is kept as named and said. Layout of Daymet: a whole file (`../shared/data/weather`); of the two others from
memory of their services.
"""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.intake.laid import Layout
from sideoats.intake.rows import (
    EPOCH,
    FIRST_YEAR,
    LAST_YEAR,
    NEVER,
    Steps,
    Table,
    calendar_day,
    days_of,
    mapped,
    numbers,
    plain_name,
    position_in,
    read_text,
    table_of,
)
from sideoats.station import DAILY_UNITS, StationDays, Values
from sideoats.words import say

# What a column begins with, without case and punctuation, and our variable; the first that fits counts.
_NAMES = (
    ("tmax", "tmax"), ("tmmx", "tmax"), ("dailymaximumtemperature", "tmax"), ("airtemperaturemax", "tmax"),
    ("tmin", "tmin"), ("tmmn", "tmin"), ("dailyminimumtemperature", "tmin"), ("airtemperaturemin", "tmin"),
    ("tmean", "tmean"), ("tavg", "tmean"), ("tdmean", "dewpoint"),
    ("prcp", "rain"), ("ppt", "rain"), ("pr", "rain"), ("precipitationamount", "rain"), ("precip", "rain"),
    ("srad", "solar"), ("dailymeanshortwaveradiation", "solar"), ("surfacedownwellingshortwave", "solar"),
    ("rmax", "humidity_max"), ("dailymaximumrelativehumidity", "humidity_max"),
    ("rmin", "humidity_min"), ("dailyminimumrelativehumidity", "humidity_min"),
    ("vs", "wind"), ("dailymeanwindspeed", "wind"),
)  # fmt: skip
_UNIT = re.compile(r"\((?P<a>[^)]*)\)|\[unit=\"?(?P<b>[^\"\]]*)\"?\]|\[(?P<c>[^\]]*)\]")
_SPELLED = {
    "deg c": "degC", "degrees c": "degC", "c": "degC", "deg f": "degF", "degrees f": "degF", "f": "degF", "k": "kelvin",
    "mm/day": "mm", "mm/d": "mm", "inches": "inch", "in": "inch", "w/m^2": "W/m**2", "w m-2": "W/m**2", "w/m2":
    "W/m**2", "%": "percent", "m/s": "m/s", "m s-1": "m/s", "mj/m^2": "MJ/m**2", "mj/m2": "MJ/m**2", "mj m-2":
    "MJ/m**2", "degrees k": "kelvin",
}  # fmt: skip
_PREAMBLE = {
    "latitude": re.compile(r"\blat(?:itude)?\s*[:=]\s*(-?\d+(?:\.\d+)?)", re.IGNORECASE),
    "longitude": re.compile(r"\blon(?:gitude)?\s*[:=]\s*(-?\d+(?:\.\d+)?)", re.IGNORECASE),
    "elevation_m": re.compile(r"\belev(?:ation)?\s*[:=]\s*(-?\d+(?:\.\d+)?)\s*(?P<unit>m|ft)?", re.IGNORECASE),
}
_MOST_PREAMBLE = 40


def heading_at(text: str) -> int:
    """Position of the line that names the columns, -1 where there is none among the first."""
    at = 0
    for line in text.split("\n")[:_MOST_PREAMBLE]:
        cells = [cell.strip().strip('"').lower() for cell in re.split("[,\t;]", line)]
        dated = ("year" in cells and "yday" in cells) or any(c in ("date", "time") for c in cells)
        if dated and sum(_variable(cell) is not None for cell in cells):
            return at
        at += len(line) + 1
    return -1


def is_pixel(text: str) -> bool:
    """Whether a text has such a heading: year and day of the year, or a date, and units in the names of its columns."""
    at = heading_at(text)
    if at < 0:
        return False
    line = text[at:].split("\n", 1)[0]
    return "yday" in line.lower() or any(_unit_in(cell) for cell in line.split(",") if _variable(cell))


def read_pixel(path: str | Path, *, station: str = "", name: str = "", given: str | None = None) -> StationDays:
    """The daily record of a point from a CSV with units in its heading.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station, name : of the point; from the file's name where empty
    given : ``metric`` or ``imperial``: units of columns whose heading has none

    Raises
    ------
    InputError : the file cannot be read, has no such heading, or a column's unit is not told
    """
    path = Path(path)
    text = read_text(path)
    at = heading_at(text)
    if at < 0:
        raise InputError(
            "has no line that names a date and weather", where=path.name, expected="year,yday,tmax (deg c),..."
        )
    table = table_of(text[at:], path.name)
    for position, heading in enumerate(table.header):
        table.at.setdefault(plain_name(_UNIT.sub("", heading)), position)
    above = text[:at].count("\n")
    table.lines = [line + above for line in table.lines]
    layout = Layout(timedelta(days=1))
    layout.rejected.extend(table.rejected)
    days = _days(layout, table)
    layout.see_many(days)
    length = numbers(table.column("dayl"), ("", "-9999"))[0] if table.has("dayl") else None
    _take(layout, table, days, length, given)
    start, values, flags = layout.arrays(path.name)
    where = {"latitude": math.nan, "longitude": math.nan, "elevation_m": math.nan}
    where |= {**position_in(table), **_preamble(text[:at])}
    notes = [say("take.pixel.noleap")] if table.has("yday") else []
    notes += [say("take.pixel.daylight")] if length is not None and "solar" in values else []
    notes += [say("take.pixel.prism")] if "PRISM" in text[:at].upper() else []
    return StationDays(
        station=station or path.name.split(".csv")[0],
        start=start.date(),
        values=values,
        flags=flags,
        name=name,
        source=f"point CSV {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=tuple(notes),
        **where,
    )


def _variable(heading: str) -> str | None:
    plain = "".join(c for c in _UNIT.sub("", heading).lower() if c.isalnum())
    fits = (v for start, v in _NAMES if plain == start or (len(start) > 3 and plain.startswith(start)))
    return next(fits, None)


def _unit_in(heading: str) -> str:
    found = _UNIT.search(heading)
    text = next((g for g in found.groups() if g), "") if found else ""
    return _SPELLED.get(text.strip().lower(), text.strip())


def _preamble(text: str) -> dict[str, float]:
    told = {}
    for key, pattern in _PREAMBLE.items():
        found = pattern.search(text)
        if found:
            factor = 0.3048 if "unit" in pattern.groupindex and (found["unit"] or "").lower() == "ft" else 1.0
            told[key] = float(found[1]) * factor
    return told


def _days(layout: Layout, table: Table) -> Steps:
    if not table.has("yday"):
        cells = [cell.split("T")[0].split(" ")[0] for cell in table.need("date", "time")]
        days, wrong = days_of(cells, calendar_day)
        layout.reject_cells(table, cells, wrong)
        return days
    cells = [f"{y}|{d}" for y, d in zip(table.need("year"), table.column("yday"), strict=True)]
    found, wrong = mapped(cells, _day_of_year)
    layout.reject_cells(table, cells, wrong)
    return np.array([NEVER if d is None else d for d in found], np.int64)


def _day_of_year(text: str) -> int:
    """Days since 1970 of a year and a day of 365 (Daymet drops the last day of leap years, never 29 February)."""
    try:
        year, day = (float(part) for part in text.split("|"))
        if year != int(year) or day != int(day) or not FIRST_YEAR <= year <= LAST_YEAR or not 1 <= day <= 366:
            raise ValueError
    except (ValueError, OverflowError):
        raise ValueError(f"{text[:40].replace('|', ' day ')!r} is not a day of a year") from None
    return date(int(year), 1, 1).toordinal() + int(day) - 1 - EPOCH


def _take(layout: Layout, table: Table, days: Steps, daylight: Values | None, given: str | None) -> None:
    seen: set[str] = set()
    unknown: list[str] = []
    for heading in table.header:
        variable = _variable(heading)
        if variable is None or variable in seen:
            continue
        unit = _unit_in(heading) or _assumed(variable, given)
        if not unit:
            unknown.append(heading)
            continue
        seen.add(variable)
        cells = table.column(heading)
        values, wrong = numbers(cells, ("", "-9999", "-99.99", "-999", "NaN", "nan", "NA"))
        layout.reject_cells(table, cells, wrong, variable)
        layout.put(variable, days, _converted(values, unit, variable, daylight, table.name))
    if unknown:
        raise InputError(f"does not tell the unit of {', '.join(unknown)[:120]}", where=table.name,
                         todo="give units=metric or units=imperial")  # fmt: skip


def _assumed(variable: str, given: str | None) -> str:
    if given is None:
        return ""
    kind = DAILY_UNITS[variable]
    us = {"degC": "degF", "mm": "inch", "m/s": "mph"}
    return ("percent" if variable.startswith("humidity") else kind) if given == "metric" else us.get(kind, kind)


def _converted(
    values: Values,
    unit: str,
    variable: str,
    daylight: Values | None,
    name: str,
) -> Values:
    canonical = DAILY_UNITS[variable]
    if canonical == "MJ/m**2" and unit == "W/m**2":
        return np.asarray(values * (86400.0 if daylight is None else daylight) / 1e6)
    try:
        factor, offset = units.conversion(unit, canonical)
    except UnitError as error:
        raise UnitError(error.what, where=f"{name} {variable}", expected=canonical) from None
    return np.asarray(values * factor + offset)
