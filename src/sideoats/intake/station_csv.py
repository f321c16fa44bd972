"""Any CSV of station weather, by day or by hour, through a small mapping file that names its columns and units.

The mapping is TOML::

    step = "day"                        # or "hour"
    delimiter = ","                     # left out: a comma
    missing = ["", "NA", "-999"]        # cells that mean "no value"; left out: empty, NA, NaN, M, -9999, -999
    comment = "#"                       # lines that begin so are passed over
    units_row = false                   # true: the row below the header is not data

    [station]
    id = "home-farm"
    name = "Home farm"
    latitude = 41.2                     # degrees north
    longitude = -96.9                   # degrees east
    elevation = "380 m"
    wind_height = "2 m"
    utc_offset = -6                     # hours, for hourly files

    [only]                              # take only rows with these cells
    origin = "EWR"

    [time]
    column = "DATE"
    format = "%Y-%m-%d"                 # left out: ISO 8601; or parts = ["year", "month", "day", "hour"]

    [columns.tmax]                      # a variable of sideoats.station: its column and that column's unit
    column = "TMAX"
    unit = "degF"
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.intake.rows import (
    FIRST_YEAR,
    LAST_YEAR,
    Layout,
    header_index,
    number_in,
    read_text,
    toml_table,
    whole_table,
)
from sideoats.station import DAILY_UNITS, HOURLY_UNITS, StationDays, StationHours

_MISSING = ("", "NA", "NaN", "nan", "M", "-9999", "-999", "-9999.0", "-999.0")
_TOP = {"step", "delimiter", "missing", "comment", "units_row", "station", "only", "time", "columns"}
_STATION = {"id", "name", "latitude", "longitude", "elevation", "wind_height", "utc_offset"}


def read_station_csv(path: str | Path, mapping: str | Path | Mapping[str, Any]) -> StationDays | StationHours:
    """A station record from a CSV file.

    Parameters
    ----------
    path : the CSV file, UTF-8
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
    text = "\n".join(line for line in read_text(path).splitlines() if not _is_comment(line, rules))
    rows = whole_table(text, path.name, rules.get("delimiter", ","))
    header = rows[0][1]
    columns = {v: _column(v, rule, header, known, path.name) for v, rule in rules["columns"].items()}
    clock = _clock(rules["time"], header, path.name, daily)
    only = [(header_index(header, c, path.name), str(v)) for c, v in rules.get("only", {}).items()]
    layout = Layout(timedelta(days=1) if daily else timedelta(hours=1))
    missing = frozenset(rules.get("missing", _MISSING))
    for number, row in rows[2 if rules.get("units_row") else 1 :]:
        if len(row) != len(header):
            layout.reject(number, f"has {len(row)} cells; the header has {len(header)}")
        elif all(row[at] == wanted for at, wanted in only):
            _take_row(layout, number, row, columns, clock, missing)
    start, values, flags = layout.arrays(path.name)
    told = _station(rules.get("station", {}), path)
    common: dict[str, Any] = {
        "values": values, "flags": flags, "source": f"CSV file {path.name}",
        "set_aside": tuple(layout.set_aside), "rejected": tuple(layout.rejected),
    }  # fmt: skip
    if daily:
        told.pop("utc_offset_hours", None)
        return StationDays(start=start.date(), **told, **common)
    return StationHours(start=start, **told, **common)


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


def _is_comment(line: str, rules: Mapping[str, Any]) -> bool:
    mark = rules.get("comment")
    return bool(mark) and line.lstrip().startswith(str(mark))


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


def _clock(rule: Mapping[str, Any], header: Sequence[str], name: str, daily: bool) -> Callable[[list[str]], datetime]:
    """A function from a row to its time."""
    if "parts" in rule:
        at = [header_index(header, str(part), name) for part in rule["parts"]]
        wanted = 3 if daily else 4
        if len(at) != wanted:
            raise InputError(f"time.parts names {len(at)} columns", where="mapping", expected=f"{wanted} of them")
        return lambda row: datetime(*(int(row[i]) for i in at))  # type: ignore[arg-type]
    if "column" not in rule:
        raise InputError("[time] names no column", where="mapping", expected="column or parts")
    column, shape = header_index(header, str(rule["column"]), name), rule.get("format")
    if shape:
        return lambda row: datetime.strptime(row[column], str(shape))
    return lambda row: datetime.fromisoformat(row[column])


def _take_row(
    layout: Layout,
    number: int,
    row: list[str],
    columns: Mapping[str, tuple[int, float, float]],
    clock: Callable[[list[str]], datetime],
    missing: frozenset[str],
) -> None:
    try:
        when = clock(row).replace(tzinfo=None)
        if not FIRST_YEAR <= when.year <= LAST_YEAR:
            raise ValueError(f"year {when.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
        if when.minute or when.second or (layout.step >= timedelta(days=1) and when.hour):
            raise ValueError(f"{when.isoformat()} is not on the step of the file")
    except (ValueError, OverflowError) as error:
        layout.reject(number, f"its time cannot be read ({error})")
        return
    layout.see(when)
    for variable, (at, factor, offset) in columns.items():
        try:
            value = number_in(row[at], missing)
        except ValueError:
            layout.reject(number, f"{variable} {row[at][:40]!r} is not a number")
            continue
        if value == value:
            layout.put(variable, when, value * factor + offset)


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
