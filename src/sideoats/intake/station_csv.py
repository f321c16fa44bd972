"""Any CSV of station weather, by day or by hour, through a small mapping file that names its columns and units.

The mapping is TOML::

    step = "day"                        # or "hour"; several rows within an hour are taken together
    delimiter = ","                     # left out: told by the header
    missing = ["", "NA", "-999"]        # cells that mean "no value"; left out: empty, NA, NaN, M, -9999, -999
    comment = "#"                       # lines that begin so are passed over
    skip = 3                            # lines above the header
    units_row = false                   # true: the row below the header is not data

    [station]
    id = "home-farm"
    name = "Home farm"
    latitude = 41.2                     # degrees north
    longitude = -96.9                   # degrees east
    elevation = "380 m"
    wind_height = "2 m"
    utc_offset = -6                     # hours of local standard time, for hourly files

    [only]                              # take only rows with these cells
    origin = "EWR"

    [time]
    column = "DATE"
    format = "%Y-%m-%d"                 # left out: ISO 8601, YYYYMMDD or M/D/YYYY
    # or parts = ["year", "month", "day", "hour"], or columns = ["date", "time"], joined by a blank
    zone = 0                            # hours of the file's clock from UTC, where that is not local standard time
    stamps = "end"                      # a row's time ends what it tells (many loggers); left out: begins it
    observed = "morning"                # a daily reading at seven: maximum and rain are yesterday's

    [columns.tmax]                      # a variable of sideoats.station: its column and that column's unit
    column = "TMAX"
    unit = "degF"

A time that says its own zone is brought to local standard time, which then must be told (`utc_offset`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

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
    header_index,
    mapped,
    numbers,
    read_text,
    table_of,
    toml_table,
)
from sideoats.station import DAILY_UNITS, HOURLY_UNITS, StationDays, StationHours, Values

_MISSING = ("", "NA", "NaN", "nan", "M", "-", "--", "null", "-9999", "-999")
_TOP = {"step", "delimiter", "missing", "comment", "skip", "units_row", "station", "only", "time", "columns"}
_STATION = {"id", "name", "latitude", "longitude", "elevation", "wind_height", "utc_offset"}
_TIME = {"column", "columns", "parts", "format", "zone", "stamps", "observed"}
_ROLLED = ("tmax", "rain")
_LEAST_OF_HOUR = {"gust": np.fmax, "temperature_max": np.fmax, "temperature_min": np.fmin}


def read_station_csv(path: str | Path, mapping: str | Path | Mapping[str, Any]) -> StationDays | StationHours:
    """A station record from a CSV file.

    Parameters
    ----------
    path : the CSV file
    mapping : path of the mapping TOML, or its content as a dict (see the module)

    Returns
    -------
    StationDays or StationHours, as `step` says; rows that cannot be used stand under ``rejected``

    Raises
    ------
    InputError, UnitError : a mapping that does not fit, a column that is not there, a unit of the wrong kind
    """
    path = Path(path)
    rules = read_mapping(mapping)
    daily = rules["step"] == "day"
    known = DAILY_UNITS if daily else HOURLY_UNITS
    table = _table(read_text(path), path.name, rules)
    columns = {v: _column(v, rule, table.header, known, path.name) for v, rule in rules["columns"].items()}
    layout = Layout(timedelta(days=1) if daily else timedelta(hours=1))
    layout.rejected.extend(table.rejected)
    only = [(header_index(table.header, c, path.name), str(v)) for c, v in rules.get("only", {}).items()]
    table = table.where([all(row[at].strip() == wanted for at, wanted in only) for row in table.rows])
    steps = _steps(layout, table, rules, daily)
    layout.see_many(steps)
    missing = rules.get("missing", _MISSING)
    for variable, (at, factor, offset) in columns.items():
        cells = [row[at].strip() for row in table.rows]
        values, wrong = numbers(cells, missing)
        layout.reject_cells(table, cells, wrong, variable)
        values = values * factor + offset
        back = 1 if daily and rules["time"].get("observed") == "morning" and variable in _ROLLED else 0
        when = np.where(steps == NEVER, NEVER, steps - back) if back else steps
        if not daily:
            when, values = _by_hour(variable, when, values)
        layout.put(variable, when, values)
    start, laid, flags = layout.arrays(path.name)
    told = _station(rules.get("station", {}), path)
    common: dict[str, Any] = {
        "values": laid, "flags": flags, "source": f"CSV file {path.name}",
        "set_aside": tuple(layout.set_aside), "rejected": tuple(layout.rejected),
    }  # fmt: skip
    if daily:
        told.pop("utc_offset_hours", None)
        return StationDays(start=start.date(), **told, **common)
    return StationHours(start=start, **told, **common)


def _table(text: str, name: str, rules: Mapping[str, Any]) -> Table:
    """The rows under the header, without comments; lines are counted as in the file."""
    skip, mark = int(rules.get("skip", 0)), str(rules.get("comment", "") or "")
    lines = text.splitlines()
    kept = ["" if i < skip or (mark and line.lstrip().startswith(mark)) else line for i, line in enumerate(lines)]
    table = table_of("\n".join(kept), name, delimiter=rules.get("delimiter"))
    if rules.get("units_row") and table.rows:
        table = table.where([i > 0 for i in range(len(table))])
    return table


def _by_hour(variable: str, steps: Steps, values: Values) -> tuple[Steps, Values]:
    """Several readings of one hour as one: the sum of rain, the strongest gust, the mean of the rest."""
    good = (steps != NEVER) & ~np.isnan(values)
    hours, at = np.unique(steps[good], return_inverse=True)
    x = values[good]
    if variable in _LEAST_OF_HOUR:
        out = np.full(hours.size, np.nan)
        _LEAST_OF_HOUR[variable].at(out, at, x)
        return np.asarray(hours, np.int64), out
    total = np.bincount(at, x, hours.size)
    if variable == "rain":
        return np.asarray(hours, np.int64), np.asarray(total, np.float64)
    return np.asarray(hours, np.int64), np.asarray(total, np.float64) / np.maximum(
        np.bincount(at, minlength=hours.size), 1
    )


def read_mapping(mapping: str | Path | Mapping[str, Any]) -> dict[str, Any]:
    """The mapping, checked for unknown and absent keys."""
    if isinstance(mapping, Mapping):
        rules, where = dict(mapping), "mapping"
    else:
        where = Path(mapping).name
        try:
            rules = toml_table(read_text(mapping))
        except (ValueError, RecursionError) as error:
            raise InputError(f"is not TOML ({error})", where=where) from None
    for key in rules:
        if key not in _TOP:
            raise InputError(
                f"{key!r} is not a key of a mapping", where=where, expected="one of " + ", ".join(sorted(_TOP))
            )
    rules.setdefault("step", "day")
    if rules["step"] not in ("day", "hour"):
        raise InputError(f"step = {rules['step']!r}", where=where, expected="day or hour")
    for key in ("time", "columns"):
        if not isinstance(rules.get(key), Mapping) or not rules[key]:
            raise InputError(f"has no [{key}]", where=where, expected=f"a table [{key}]")
    for key in rules.get("station", {}):
        if key not in _STATION:
            raise InputError(
                f"station.{key} is not known", where=where, expected="one of " + ", ".join(sorted(_STATION))
            )
    return rules


def _column(
    variable: str, rule: Any, header: Sequence[str], known: Mapping[str, str], name: str
) -> tuple[int, float, float]:
    """Position of a variable's column, and the factor and offset that make canonical units of it."""
    where = f"mapping columns.{variable}"
    if variable not in known:
        raise InputError("is not a weather variable", where=where, expected="one of " + ", ".join(known))
    if not isinstance(rule, Mapping) or "column" not in rule or "unit" not in rule:
        raise InputError("lacks its column or its unit", where=where, expected='column = "...", unit = "..."')
    unit, canonical = str(rule["unit"]), known[variable]
    try:
        factor, offset = units.conversion(unit, canonical)
    except UnitError as error:
        if canonical != "MJ/m**2":
            raise UnitError(error.what, where=where, expected=canonical) from None
        try:
            factor, offset = units.conversion(f"{unit} * day", canonical)  # the mean power over a day
        except UnitError:
            raise UnitError(error.what, where=where, expected="MJ/m**2 a day, or W/m**2 as the day's mean") from None
    return header_index(header, str(rule["column"]), name), factor, offset


def _steps(layout: Layout, table: Table, rules: Mapping[str, Any], daily: bool) -> Steps:
    """The day or the hour since 1970 of every row, on the clock of local standard time."""
    rule = rules["time"]
    cells, read = _clock(rule, table, daily)
    own = rules.get("station", {}).get("utc_offset")
    shift = 0.0 if rule.get("zone") is None else float(0 if own is None else own) - float(rule["zone"])
    ended = timedelta(seconds=1) if rule.get("stamps") == "end" else timedelta(0)

    def step(cell: str) -> int:
        when = read(cell)
        if when.tzinfo is not None and not daily:
            if own is None:
                raise ValueError(f"{cell[:40]} says its zone; give station.utc_offset")
            moved = when.utcoffset() or timedelta(0)
            when = when.replace(tzinfo=None) - moved + timedelta(hours=float(own))
        when = when.replace(tzinfo=None) + timedelta(hours=shift) - ended
        if not FIRST_YEAR <= when.year <= LAST_YEAR:
            raise ValueError(f"year {when.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
        if daily and not ended and (when.hour or when.minute or when.second):
            raise ValueError(f"{when.isoformat()} is not on the step of the file")
        days = when.toordinal() - EPOCH
        return days if daily else days * 24 + when.hour

    found, wrong = mapped(cells, step)
    layout.reject_cells(table, cells, {c: f"its time cannot be read ({why})" for c, why in wrong.items()})
    return np.array([NEVER if each is None else each for each in found], np.int64)


def _clock(rule: Mapping[str, Any], table: Table, daily: bool) -> tuple[list[str], Callable[[str], datetime]]:
    """The cells that hold each row's time, and what reads one."""
    for key in rule:
        if key not in _TIME:
            raise InputError(f"time.{key} is not known", where="mapping", expected="one of " + ", ".join(sorted(_TIME)))
    names = rule.get("parts") or rule.get("columns") or ([rule["column"]] if "column" in rule else [])
    if not names:
        raise InputError("[time] names no column", where="mapping", expected="column or parts")
    at = [header_index(table.header, str(name), table.name) for name in names]
    if "parts" in rule:
        wanted = 3 if daily else 4
        if len(at) != wanted:
            raise InputError(f"time.parts names {len(at)} columns", where="mapping", expected=f"{wanted} of them")
        return [" ".join(row[i].strip() for i in at) for row in table.rows], _from_parts
    cells = [" ".join(row[i].strip() for i in at) for row in table.rows]
    shape = rule.get("format")
    return cells, (lambda cell: datetime.strptime(cell, str(shape))) if shape else _plain_time


def _from_parts(cell: str) -> datetime:
    """Year, month, day and hour; the hour 24 is the first of the next day, as some services count."""
    year, month, day, *hours = (int(float(part)) for part in cell.split())
    hour = hours[0] if hours else 0
    return datetime(year, month, day, hour % 24 if hour == 24 else hour) + timedelta(days=1 if hour == 24 else 0)


def _plain_time(cell: str) -> datetime:
    try:
        return datetime.fromisoformat(cell)
    except ValueError:
        found = re.fullmatch(r"(\S+)[ T](\d{1,2}):?(\d\d)(?::?(\d\d))?(?:\s*([AaPp])\.?[Mm]\.?)?", cell)
        day = calendar_day(found[1] if found else cell)
        if found is None:
            return datetime(day.year, day.month, day.day)
        hour = int(found[2]) % 12 + (12 if found[5] in "Pp" else 0) if found[5] else int(found[2])
        more = timedelta(days=1) if hour == 24 else timedelta(0)
        return datetime(day.year, day.month, day.day, hour % 24, int(found[3]), int(found[4] or 0)) + more


def _station(told: Mapping[str, Any], path: Path) -> dict[str, Any]:
    """Keywords of the record from the mapping's [station]."""
    out: dict[str, Any] = {"station": str(told.get("id", path.stem)), "name": str(told.get("name", ""))}
    for key, name in (("latitude", "latitude"), ("longitude", "longitude"), ("utc_offset", "utc_offset_hours")):
        if key in told:
            if isinstance(told[key], bool) or not isinstance(told[key], int | float):
                raise InputError(f"station.{key} = {told[key]!r}", where="mapping", expected="a plain number")
            out[name] = float(told[key])
    for key, name in (("elevation", "elevation_m"), ("wind_height", "wind_height_m")):
        if key in told:
            out[name] = units.parse(str(told[key]), "m")
    return out
