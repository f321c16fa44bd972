"""Forecasts in a plain CSV: one row a day and element, with its unit; quantiles where they are known.

Header: ``issued_at, date, element, value, unit`` and, as far as there are any, ``place`` or ``latitude, longitude``,
``q10``, ``q90``, ``source``. Elements: high, low, humidity, wind, rain_chance, rain. `issued_at` is a time of ISO 8601
with its zone. Rows of one issue and place make one forecast.
"""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.intake.expected import PLACE, SOURCE, UNITS, Expected, moment
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.rows import calendar_day, header_index, read_text, whole_table
from sideoats.intake.taken import Format, Head, Taken
from sideoats.station import Rejected

ELEMENTS = ("high", "low", "humidity", "wind", "rain_chance", "rain")
WITH_QUANTILES = ("high", "low", "rain")
_NEEDED = ("issued_at", "date", "element", "value", "unit")
_OTHERS = ("place", "latitude", "longitude", "source", "q10", "q90")
Key = tuple[datetime, str, float, float, str]


def read_forecast_csv(path: str | Path, *, place: str | None = None) -> Taken:
    """Forecasts of a CSV, in the order of their rows.

    Parameters
    ----------
    path : the file
    place : id of the place that rows without one are for

    Raises
    ------
    InputError : unreadable, a column is missing, or no row can be used
    """
    name = Path(path).name
    rows = whole_table(read_text(path), name)
    header = [cell.lower() for cell in rows[0][1]]
    at = {column: header_index(header, column, name) for column in _NEEDED}
    at |= {column: header.index(column) for column in _OTHERS if column in header}
    found: dict[Key, tuple[Expected, int]] = {}
    rejected: list[Rejected] = []
    for line, row in rows[1:]:
        try:
            if len(row) != len(header):
                raise ValueError(f"has {len(row)} cells; the header has {len(header)}")
            _take(found, {column: row[k] for column, k in at.items()}, place, line)
        except (ValueError, UnitError) as error:
            rejected.append(Rejected(line, str(error)))
    too_many_rejected(rejected, name)
    kept = tuple(draft for key, (e, line) in found.items() for draft in e.drafts(key[1] or None, line))
    if not kept:
        raise InputError(f"holds no usable row{f'; {rejected[0]}' if rejected else ''}", where=name)
    return Taken(kept, tuple(rejected), (f"{len(kept)} forecasts",))


def _take(found: dict[Key, tuple[Expected, int]], row: dict[str, str], place: str | None, line: int) -> None:
    element = row["element"].strip().lower()
    if element not in ELEMENTS:
        raise ValueError(f"{element[:40]!r} is no element; one of {', '.join(ELEMENTS)}")
    if not row["unit"]:
        raise ValueError("has no unit")
    day, issued = calendar_day(row["date"]), moment(row["issued_at"])
    where = row.get("place") or place or ""
    latitude, longitude = (float(row.get(axis) or "nan") for axis in ("latitude", "longitude"))
    if not where and not (math.isfinite(latitude) and math.isfinite(longitude)):
        raise ValueError("has neither a place nor a position")
    source = row.get("source") or SOURCE
    factor, offset = units.conversion("percent" if row["unit"] == "%" else row["unit"], UNITS[element])
    values = {"": row["value"], "_10": row.get("q10", ""), "_90": row.get("q90", "")}
    numbers = {end: float(text) * factor + offset for end, text in values.items() if text}
    if not all(math.isfinite(v) for v in numbers.values()):
        raise ValueError("holds a number that is none")
    if any(end for end in numbers) and element not in WITH_QUANTILES:
        raise ValueError(f"{element} has no quantiles here; only {', '.join(WITH_QUANTILES)} have")
    position = (0.0, 0.0) if where else (round(latitude, 4), round(longitude, 4))
    key = (issued, where, *position, source)
    expected, _ = found.setdefault(key, (Expected(issued, source=source), line))
    if not where:
        expected.latitude, expected.longitude = latitude, longitude
    for end, value in numbers.items():
        expected.put(day, element + end, value)


def _read(path: Path, options: dict[str, Any]) -> Taken:
    return read_forecast_csv(path, place=options.get("place"))


def _is_forecast(head: Head) -> bool:
    return {"issuedat", "element", "value"} <= head.names


FORMATS = (
    Format("forecast-csv", "forecasts in a plain CSV, one row a day and element", _read, (PLACE,), _is_forecast),
)
