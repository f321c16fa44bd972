"""Climate normals of a station: monthly or daily, CSV as the access service sends it, or JSON of the older interface.

CSV is in degF and inches unless it was asked for in metric units, which the file does not say: summers tell, else
`units`. Asked for in metric units the service leaves the monthly mean in degF and converts ranges and deviations
wrongly (read), so that only highest, lowest and rain are read then, and the mean is made of the two. The older JSON
is in tenths of degF. -9999 is missing, -7777 an amount that rounds to zero (from memory); other negative codes of
four digits are none. Rain of a day is the difference of the year's running total.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.ghcn_access import records_of
from sideoats.intake.rows import (
    Table,
    mapped,
    numbers,
    one_station,
    plain_name,
    position_in,
    read_text,
    table_of,
    table_of_records,
)
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.schema import Field
from sideoats.station import DAILY_UNITS, Rejected, Values
from sideoats.units import conversion
from sideoats.words import Count, Phrase, say

Normals = dict[str, dict[str, float]]  # variable -> "MM-DD" or "MM" -> value in our unit
_KINDS = {"TMAX": "tmax", "TMIN": "tmin", "TAVG": "tmean", "PRCP": "rain"}
_NAME = re.compile(r"(dly|mly|ytd)(tmax|tmin|tavg|prcp)normal")
_CODES = ("", "-9999", "-9999.0", "-8888", "-6666", "-5555", "-4444")
_SUMMER_F = 50.0  # no station of farm country has a warmest month below it in degF, none one above it in degC
_OLD_END, _END = 2010, 2020


def read_normals(
    path: str | Path, *, station: str | None = None, units: str | None = None
) -> tuple[str, Normals, dict[str, Any], list[Rejected]]:
    """A station's normals: its id, the values by variable and day or month, what the file says of it, rejected rows.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : which station, where the file holds several
    units : ``imperial`` or ``metric`` of a CSV, where its summers do not tell

    Raises
    ------
    InputError : the file cannot be read, holds no normals, several stations and none was named, or does not tell its
    units
    """
    path = Path(path)
    text = read_text(path)
    if text.lstrip()[:1] in ("{", "["):
        table = table_of_records(records_of(text, path.name), path.name)
    else:
        table = table_of(text, path.name)
    ids = [cell.removeprefix("GHCND:") for cell in table.need("STATION", "ID", "GHCN_ID")]
    chosen = one_station(ids, station.removeprefix("GHCND:") if station else None, path.name)
    own = table.where([cell == chosen for cell in ids])
    rejected = list(table.rejected)
    by_type = own.has("DATATYPE")
    columns = _by_type(own, rejected) if by_type else _by_column(own, rejected)
    if not columns:
        raise InputError("holds no normals that are read", where=path.name,
                         expected="MLY- or DLY-TMAX-NORMAL, -TMIN-, -TAVG-, MLY-PRCP-NORMAL")  # fmt: skip
    system = "tenths" if by_type else _system(columns, units, path.name)
    told = {**position_in(own), "name": own.column("NAME")[0] if own.has("NAME") else "", "system": system}
    return chosen, _canonical(columns, system), told, rejected


def _by_type(table: Table, rejected: list[Rejected]) -> Normals:
    """Rows of one value each: station, date, datatype, value."""
    found: Normals = {}
    values, wrong = numbers(table.need("value"), _CODES)
    for line, date, kind, cell, x in zip(
        table.lines, table.need("date"), table.column("datatype"), table.column("value"), values.tolist(), strict=True
    ):
        name = _NAME.fullmatch(plain_name(kind))
        if name is None:
            continue
        try:
            key = _key(date, name[1])
        except ValueError as error:
            rejected.append(Rejected(line, str(error)))
            continue
        if cell in wrong:
            rejected.append(Rejected(line, f"{kind} {wrong[cell]}"))
        elif not math.isnan(x):
            found.setdefault(name[0], {})[key] = 0.0 if x == -7777 else x
    return found


def _by_column(table: Table, rejected: list[Rejected]) -> Normals:
    found: Normals = {}
    for heading in table.header:
        name = _NAME.fullmatch(plain_name(heading))
        if name is None:
            continue
        dates = table.column("DATE", "month") if name[1] == "mly" else table.need("DATE")
        keys, bad = mapped(dates, lambda date, step=name[1]: _key(date, step))  # type: ignore[misc]
        cells = table.column(heading)
        values, wrong = numbers(cells, _CODES)
        for line, date, key, cell, x in zip(table.lines, dates, keys, cells, values.tolist(), strict=True):
            if key is None or cell in wrong:
                rejected.append(Rejected(line, bad.get(date) or f"{heading} {wrong[cell]}"))
            elif not math.isnan(x):
                found.setdefault(name[0], {})[key] = 0.0 if x == -7777 else x
    return {name: column for name, column in found.items() if column}


def _key(date: str, step: str) -> str:
    """``MM-DD`` of a day, ``MM`` of a month; the year is of no meaning."""
    found = re.fullmatch(r"(?:\d{4}-?)?(\d{1,2})(?:-?(\d{1,2}))?(?:[T ].*)?", date.strip())
    if found is None or not 1 <= int(found[1]) <= 12 or (step != "mly" and not (found[2] and 1 <= int(found[2]) <= 31)):
        raise ValueError(f"{date[:40]!r} is no day or month")
    return f"{int(found[1]):02d}" if step == "mly" else f"{int(found[1]):02d}-{int(found[2]):02d}"


def _system(columns: Normals, units: str | None, name: str) -> str:
    if units in ("imperial", "metric"):
        return units
    warm = [max(column.values()) for kind, column in columns.items() if kind.endswith("tmaxnormal")]
    year = max((len(c) for k, c in columns.items() if k.endswith("tmaxnormal")), default=0) in (12, 365, 366)
    if warm and warm[0] >= _SUMMER_F:
        return "imperial"
    if warm and year:
        return "metric"
    raise InputError("does not tell its units", where=name, todo="give units=imperial or units=metric")


def _canonical(columns: Normals, system: str) -> Normals:
    out: Normals = {}
    for name, column in columns.items():
        step, kind = name[:3], name[3:7].upper()
        variable = _KINDS[kind]
        if kind == "TAVG" and system == "metric":
            continue
        unit = {"rain": "mm" if system == "metric" else "inch"}.get(variable, "degC" if system == "metric" else "degF")
        factor, offset = conversion(unit, DAILY_UNITS[variable])
        size = (100.0 if variable == "rain" else 10.0) if system == "tenths" else 1.0
        made = {key: x / size * factor + offset for key, x in column.items()}
        if step == "ytd":
            made = _differences(made)
        out.setdefault(variable, {}).update(made)
    if "tmean" not in out and {"tmax", "tmin"} <= set(out):
        out["tmean"] = {k: (out["tmax"][k] + out["tmin"][k]) / 2 for k in out["tmax"] if k in out["tmin"]}
    return {variable: {k: round(x, 4) for k, x in sorted(column.items())} for variable, column in out.items()}


def _differences(total: Mapping[str, float]) -> dict[str, float]:
    keys = sorted(total)
    values: Values = np.array([total[k] for k in keys])
    steps = np.diff(values, prepend=0.0) if keys and keys[0] == "01-01" else np.diff(values, prepend=np.nan)
    return {k: float(x) for k, x in zip(keys, steps, strict=True) if x >= 0}


def _is_normals(head: Head) -> bool:
    if head.json:
        return "-NORMAL" in head.text[:4000].upper()
    return any(_NAME.fullmatch(name) for name in head.names)


def _take(path: Path, options: dict[str, Any]) -> Taken:
    station, found, told, rejected = read_normals(path, station=options.get("station"), units=options.get("units"))
    key = options.get("place") or station
    old = told["system"] == "tenths"
    period = options.get("period") or ("1981-2010" if old else "1991-2020")
    end = int(period[-4:]) if period[-4:].isdigit() else (_OLD_END if old else _END)
    about: dict[str, Any] = {"name": told["name"] or key, "kind": "station"}
    about |= {k: told[k] for k in ("latitude", "longitude") if k in told}
    about |= {"elevation": told["elevation_m"]} if "elevation_m" in told else {}
    seen = datetime(end, 12, 31, 23, 59, tzinfo=UTC)
    body = {"period": period, "values": found, "source": f"climate normals file {path.name}"}
    notes: Sequence[Any] = (
        say(
            "take.units.told",
            units=Phrase(say(f"take.system.{told['system']}_f" if old else f"take.system.{told['system']}")),
        ),
        *(say("take.normals", what=Phrase(say(f"label.{v}")), n=Count(len(column))) for v, column in found.items()),
    )
    drafts = (Draft("place", about, seen, place=key), Draft("station_normals", body, seen, place=key))
    return Taken(drafts, tuple(rejected), tuple(notes))


FORMATS = (
    Format(
        "normals",
        "climate normals of a station, monthly or daily: CSV of the access service, or the older JSON",
        _take,
        (
            Field("place", "text", "id under which the station is kept; the file's own station id if absent"),
            Field("station", "text", "which station, where the file holds several"),
            Field(
                "units", "choice", "units of the file, where its summers do not tell", choices=("imperial", "metric")
            ),
            Field("period", "text", "years that the normals are of", example="1991-2020"),
        ),
        _is_normals,
    ),
)
