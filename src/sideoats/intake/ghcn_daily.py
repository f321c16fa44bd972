"""GHCN-Daily: the fixed-width ``.dly`` file, the by-station CSV without header, and the CSV with one column an element.

Format: NOAA National Centers for Environmental Information, GHCN-Daily readme (columns and element units; the sections
of it that no stored copy shows are from memory: the unit of TAVG, EVAP and WSF*, several quality marks).

Values whose quality mark (QFLAG) is not blank are set aside with that mark's meaning. A trace is 0 with a flag. An
amount gathered over several days (MDPR) is set aside and never spread over those days.
"""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.intake.rows import (
    FIRST_YEAR,
    LAST_YEAR,
    Layout,
    at_midnight,
    calendar_day,
    one_station,
    read_bytes,
    read_text,
    whole_table,
)
from sideoats.station import DAILY_UNITS, Flag, StationDays
from sideoats.units import convert

_LINE, _SHORTEST, _BLOCKS_AT = 269, 266, 21  # columns of a line, of one stripped of trailing blanks, of the head
_MISSING = -9999


@dataclass(frozen=True)
class Element:
    """An element of the format: our variable, how many of the file's native steps make our unit, its US order unit."""

    variable: str
    native_per_unit: float
    metric_per_unit: float
    imperial: str


_TEMPERATURE, _AMOUNT, _SNOW = (10.0, 1.0, "degF"), (10.0, 1.0, "inch"), (1.0, 1.0, "inch")
_SPEED, _PERCENT = (10.0, 1.0, "mph"), (100.0, 100.0, "percent")
ELEMENTS = {
    "TMAX": Element("tmax", *_TEMPERATURE),
    "TMIN": Element("tmin", *_TEMPERATURE),
    "TAVG": Element("tmean", *_TEMPERATURE),
    "ADPT": Element("dewpoint", *_TEMPERATURE),
    "PRCP": Element("rain", *_AMOUNT),
    "EVAP": Element("evaporation", *_AMOUNT),
    "SNOW": Element("snow", *_SNOW),
    "SNWD": Element("snow_depth", *_SNOW),
    "AWND": Element("wind", *_SPEED),
    "WSFG": Element("gust", *_SPEED),
    "RHAV": Element("humidity", *_PERCENT),
    "RHMX": Element("humidity_max", *_PERCENT),
    "RHMN": Element("humidity_min", *_PERCENT),
}
_MULTIDAY = "MDPR"
QUALITY_MARKS = {
    "D": "a duplicate",
    "G": "a gap check",
    "I": "an internal consistency check",
    "K": "a streak check",
    "L": "a check against a total of several days",
    "M": "a check on the number of values in the month",
    "N": "a check for naught",
    "O": "a climatological outlier check",
    "R": "a lagged range check",
    "S": "a spatial consistency check",
    "T": "a temporal consistency check",
    "W": "snow where it is too warm for it",
    "X": "a bounds check",
    "Z": "a manual review",
}
_MEASUREMENT_FLAGS = {"T": Flag.TRACE, "P": Flag.PRESUMED_ZERO, "A": Flag.ACCUMULATED}


def read_ghcn_daily(
    path: str | Path,
    *,
    station: str | None = None,
    units: str | None = None,
    name: str = "",
    latitude: float = math.nan,
    longitude: float = math.nan,
    elevation_m: float = math.nan,
) -> StationDays:
    """One station's daily record from any of the three GHCN-Daily layouts, told apart by content.

    Parameters
    ----------
    path : the file; ``.gz`` is unpacked
    station : which station, where the file holds several
    units : ``tenths``, ``metric`` or ``imperial``, for the CSV with one column an element, whose units are not in the
        file; left out, they are inferred from TMAX and said in `notes`
    name, latitude, longitude, elevation_m : of the station; the ``.dly`` file does not hold them [degrees, m]

    Returns
    -------
    StationDays : lines that cannot be used stand under ``rejected``, failed values under ``set_aside``

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    data = read_bytes(path)
    layout = Layout(timedelta(days=1))
    place: dict[str, Any] = {"name": name, "latitude": latitude, "longitude": longitude, "elevation_m": elevation_m}
    notes: tuple[str, ...] = ()
    first = data[:4000].lstrip(b"\xef\xbb\xbf").split(b"\n", 1)[0]
    if b"," not in first:
        found = _read_fixed(data, path.name, station, layout)
        kind = ".dly"
    else:
        rows = whole_table(read_text(path), path.name)
        if "date" in (cell.lower() for cell in rows[0][1]):
            found, told, notes = _read_columns(rows, path.name, station, units, layout)
            place = {k: told.get(k, v) if v == "" or v != v else v for k, v in place.items()}
        else:
            found = _read_long(rows, path.name, station, layout)
        kind = "CSV"
    start, values, flags = layout.arrays(path.name)
    return StationDays(
        station=found,
        start=start.date(),
        values=values,
        flags=flags,
        source=f"GHCN-Daily {kind} file {path.name}",
        set_aside=tuple(layout.set_aside),
        rejected=tuple(layout.rejected),
        notes=notes,
        **place,
    )


# -- the fixed-width file ------------------------------------------------------------------------------------------


def _read_fixed(data: bytes, name: str, station: str | None, layout: Layout) -> str:
    kept, numbers = _whole_lines(data, layout)
    if not kept:
        layout.arrays(name)  # raises, with the first reason
    grid = np.frombuffer(b"".join(kept), dtype=np.uint8).reshape(len(kept), _LINE)
    chosen = one_station([line[:11].decode("ascii", "replace") for line in kept], station, name)
    blocks = grid[:, _BLOCKS_AT:].reshape(len(kept), 31, 8)
    values, readable = _integers(blocks[:, :, :5])
    seen: set[tuple[str, bytes]] = set()
    for row, line in enumerate(kept):
        element = line[17:21].decode("ascii", "replace")
        if line[:11].decode("ascii", "replace") != chosen or (element not in ELEMENTS and element != _MULTIDAY):
            continue
        year, month = int(line[11:15]), int(line[15:17])
        if not readable[row].all():
            day = int(np.flatnonzero(~readable[row])[0]) + 1
            text = bytes(blocks[row, day - 1, :5]).decode("latin-1")
            layout.reject(numbers[row], f"{element} of day {day} is {text!r}, not a whole number")
        elif (element, line[11:17]) in seen:
            layout.reject(numbers[row], f"{element} of {year}-{month:02d} stands in the file a second time")
        else:
            seen.add((element, line[11:17]))
            _take_month(layout, element, year, month, values[row], blocks[row])
    return chosen


def _whole_lines(data: bytes, layout: Layout) -> tuple[list[bytes], list[int]]:
    kept, numbers = [], []
    for number, raw in enumerate(data.split(b"\n"), 1):
        line = raw.rstrip(b"\r")
        if not line.strip():
            continue
        if not _SHORTEST <= len(line) <= _LINE + 1:
            layout.reject(number, f"is cut or overlong: {len(line)} characters; a line has {_LINE}")
            continue
        year, month = line[11:15], line[15:17]
        if not (year.isdigit() and month.isdigit() and 1 <= int(month) <= 12 and FIRST_YEAR <= int(year) <= LAST_YEAR):
            shown = line[11:17].decode("latin-1")
            layout.reject(number, f"{shown!r} is not a year and month")
            continue
        kept.append(line.ljust(_LINE)[:_LINE])
        numbers.append(number)
    return kept, numbers


def _integers(cells: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Right-justified integers of five characters, and whether each is one."""
    digit = (cells >= 48) & (cells <= 57)
    minus = cells == 45
    blank = cells == 32
    begun = np.maximum.accumulate(~blank, axis=-1)
    digit_before = np.maximum.accumulate(digit, axis=-1)
    one_minus = minus.sum(axis=-1) <= 1
    good = (digit | minus | blank).all(axis=-1) & ~(blank & begun).any(axis=-1) & ~(minus & digit_before).any(axis=-1)
    powers = 10 ** np.arange(4, -1, -1)
    number = (np.where(digit, cells.astype(np.int64) - 48, 0) * powers).sum(axis=-1)
    return np.where(minus.any(axis=-1), -number, number), good & one_minus & digit.any(axis=-1)


def _take_month(
    layout: Layout, element: str, year: int, month: int, values: NDArray[np.int64], blocks: NDArray[np.uint8]
) -> None:
    last = monthrange(year, month)[1]
    for at in np.flatnonzero(values != _MISSING):
        day = int(at) + 1
        measured, quality = chr(blocks[at, 5]), chr(blocks[at, 6])
        if day > last:
            reason = f"day {day} is not in {year}-{month:02d}"
            layout.aside(_variable(element), datetime(year, month, last), f"{values[at]}", reason)
            continue
        _take_value(layout, element, datetime(year, month, day), float(values[at]), measured.strip(), quality.strip())


def _variable(element: str) -> str:
    return "rain" if element == _MULTIDAY else ELEMENTS[element].variable


def _take_value(
    layout: Layout, element: str, when: datetime, native: float, measured: str, quality: str, units: str = "native"
) -> None:
    if element == _MULTIDAY:
        layout.aside("rain", when, f"{native / 10:g} mm", "the amount of several days, not spread over them")
        layout.mark("rain", when, Flag.ACCUMULATED)
        return
    rule = ELEMENTS[element]
    if units == "imperial":
        value = float(convert(native, rule.imperial, DAILY_UNITS[rule.variable]))
    else:
        value = native / (rule.metric_per_unit if units == "metric" else rule.native_per_unit)
    if quality:
        layout.fail(rule.variable, when, f"{value:g}", f"failed {QUALITY_MARKS.get(quality, 'check ' + quality)}")
    else:
        layout.put(rule.variable, when, value, _MEASUREMENT_FLAGS.get(measured, Flag.NONE))


# -- CSV, one row a value, no header: ID,YYYYMMDD,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG,OBS-TIME ---------------------------


def _read_long(rows: list[tuple[int, list[str]]], name: str, station: str | None, layout: Layout) -> str:
    whole = []
    for number, row in rows:
        if len(row) < 4:
            layout.reject(number, f"has {len(row)} cells; expected station, date, element, value and three marks")
        else:
            whole.append((number, row))
    chosen = one_station([row[0] for _, row in whole], station, name)
    for number, row in whole:
        cells = [*row, "", "", "", ""]
        if cells[0] != chosen or (cells[2] not in ELEMENTS and cells[2] != _MULTIDAY):
            continue
        try:
            day, value = calendar_day(cells[1]), int(cells[3])
        except ValueError as error:
            layout.reject(number, str(error) if "date" in str(error) or "year" in str(error) else _not_whole(cells))
            continue
        if value != _MISSING:
            _take_value(layout, cells[2], at_midnight(day), float(value), cells[4], cells[5])
    return chosen


def _not_whole(cells: Sequence[str]) -> str:
    return f"{cells[2]} {cells[3][:40]!r} is not a whole number"


# -- CSV, one row a day, one column an element, with header ---------------------------------------------------------


def _read_columns(
    rows: list[tuple[int, list[str]]], name: str, station: str | None, units: str | None, layout: Layout
) -> tuple[str, dict[str, Any], tuple[str, ...]]:
    header = [cell.upper() for cell in rows[0][1]]
    body = [(number, row) for number, row in rows[1:] if _fits(number, row, header, layout)]
    at = {cell: i for i, cell in enumerate(header)}
    chosen = station or name.split(".")[0]
    if "STATION" in at:
        chosen = one_station([row[at["STATION"]] for _, row in body], station, name)
        body = [(number, row) for number, row in body if row[at["STATION"]] == chosen]
    elements = [e for e in ELEMENTS if e in at]
    if not body or not elements:
        raise InputError("has no element column or no row", where=name, expected="columns such as TMAX, TMIN, PRCP")
    units, note = _units_of(body, at, units, name)
    for number, row in body:
        try:
            when = at_midnight(calendar_day(row[at["DATE"]]))
        except ValueError as error:
            layout.reject(number, str(error))
            continue
        layout.see(when)
        for element in elements:
            _take_cell(layout, number, element, when, row, at, units)
    return chosen, _told(body[0][1], at), note


def _fits(number: int, row: list[str], header: list[str], layout: Layout) -> bool:
    if len(row) != len(header):
        layout.reject(number, f"has {len(row)} cells; the header has {len(header)}")
    return len(row) == len(header)


def _take_cell(
    layout: Layout, number: int, element: str, when: datetime, row: list[str], at: dict[str, int], units: str
) -> None:
    text = row[at[element]]
    if not text or text in ("-9999", "9999"):
        return
    attributes = row[at[f"{element}_ATTRIBUTES"]] if f"{element}_ATTRIBUTES" in at else ""
    measured, quality = [*attributes.split(","), "", ""][:2]
    try:
        value = float(text)
        if not math.isfinite(value):
            raise ValueError
    except ValueError:
        layout.reject(number, f"{element} {text[:40]!r} is not a number")
        return
    _take_value(layout, element, when, value, measured.strip(), quality.strip(), units)


def _told(row: list[str], at: dict[str, int]) -> dict[str, Any]:
    """What the file itself says about the station."""
    told: dict[str, Any] = {"name": row[at["NAME"]]} if "NAME" in at else {}
    for key, column in (("latitude", "LATITUDE"), ("longitude", "LONGITUDE"), ("elevation_m", "ELEVATION")):
        try:
            told[key] = float(row[at[column]])
        except (KeyError, ValueError):
            continue
    return told


def _units_of(
    body: list[tuple[int, list[str]]], at: dict[str, int], given: str | None, name: str
) -> tuple[str, tuple[str, ...]]:
    """The three unit systems in which this layout circulates; the file does not say which it uses."""
    names = {"tenths": "native", "metric": "metric", "imperial": "imperial"}
    if given is not None:
        if given not in names:
            raise InputError(f"{given!r} is not a unit system", where="units", expected="one of " + ", ".join(names))
        return names[given], (f"units taken as {given}, as told",)
    texts = [row[at["TMAX"]] for _, row in body if row[at["TMAX"]]] if "TMAX" in at else []
    plain = [float(t) for t in texts if t.lstrip("-").replace(".", "", 1).isdigit() and t not in ("-9999", "9999")]
    hottest = max(plain, default=math.nan)
    if len(plain) < 60:
        todo = f"give units={'|'.join(names)}"
        raise InputError("does not say its units, and is too short to tell", where=name, todo=todo)
    fractions = any("." in t and t.rstrip("0")[-1] != "." for t in texts)
    if fractions or hottest <= 57:  # no higher temperature has been measured in degC
        found = "metric"
    else:
        found = "tenths" if hottest > 140 else "imperial"
    return names[found], (f"units not in the file: taken as {found}, because the highest TMAX is {hottest:g}",)


def stations_in(path: str | Path) -> list[str]:
    """Station identifiers of a GHCN-Daily file, in order of appearance."""
    data = read_bytes(path)
    if b"," not in data.split(b"\n", 1)[0]:
        return list(dict.fromkeys(line[:11].decode("ascii", "replace") for line in data.split(b"\n") if line.strip()))
    rows = whole_table(read_text(path), Path(path).name)
    named = "date" in (cell.lower() for cell in rows[0][1])
    return list(dict.fromkeys(row[0] for _, row in rows[named:]))


__all__ = ["ELEMENTS", "read_ghcn_daily", "stations_in"]
