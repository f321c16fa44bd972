"""The weekly drought map's shares of an area in each class, CSV or JSON.

Keys differ in case from body to body; a map's date is ``20260915``, ISO or US; numbers may be text with commas; blank,
``--`` and -99 are missing. Statistic format 1 is cumulative (D0 holds all that is worse), 2 is by class (they add up to
all); both are kept cumulative, as shares of 0 to 1, and told by their sums where the format is not given. Areas in
square miles are turned into shares. A map counts once for an area however often it stands there. The severity index is
the sum of D0 to D4 in percent. Layout: two files of `../shared/data/weather` and public clients (read).
"""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.intake.ghcn_access import records_of
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.rows import calendar_day, plain_name, read_text, table_of, table_of_records
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.schema import Field
from sideoats.station import Rejected
from sideoats.words import Count, LongDay, Measured, Name, say

CLASSES = ("none", "d0", "d1", "d2", "d3", "d4")
_AREAS = ("FIPS", "StateAbbreviation", "AreaOfInterest", "HUC", "State", "Name", "Region")
_MISSING = ("", "--", "-99", "-99.0", "-99.00")
_SLACK = 0.06  # percent; printed with two digits, six of them


def shares(cells: list[str], form: str) -> list[float]:
    """Cumulative shares of none and D0 to D4, 0 to 1, of a row's six cells. Raises ValueError with a sentence."""
    if any(cell in _MISSING for cell in cells):
        raise ValueError("a class is missing")
    x = np.array([float(cell.replace(",", "")) for cell in cells])
    if not np.isfinite(x).all() or (x < 0).any():
        raise ValueError("a class is no share")
    classes = x[1:]
    slack = _SLACK * max(x[0] + classes[0], classes.sum() + x[0]) / 100
    falling = bool((np.diff(classes) <= slack).all())
    whole = abs(x[0] + classes[0] - 100) <= 2 * _SLACK
    if form == "2" or (form not in ("1", "2") and not whole and abs(x.sum() - 100) <= 2 * _SLACK):
        classes = np.cumsum(classes[::-1])[::-1]
    elif not falling:
        raise ValueError("a worse class covers more than a milder one, so the shares are not cumulative")
    total = x[0] + classes[0]
    if total <= 0:
        raise ValueError("the classes cover nothing")
    return [float(min(v / total, 1.0)) for v in (x[0], *classes)]


def read_drought(path: str | Path) -> tuple[list[tuple[str, str, date, list[float]]], list[Rejected]]:
    """Every map of every area: (id of the area, its name, day of the map, cumulative shares), and rejected rows.

    Raises InputError where the file cannot be read or is no such table.
    """
    path = Path(path)
    text = read_text(path)
    json = text.lstrip()[:1] in ("{", "[")
    table = table_of_records(records_of(text, path.name), path.name) if json else table_of(text, path.name)
    days = table.need("MapDate", "ReleaseDate", "Date")
    for name in CLASSES:
        table.need(name)
    ids = next((table.column(name) for name in _AREAS if table.has(name)), [""] * len(table))
    names = [
        ", ".join(part for part in pair if part) for pair in zip(table.column("County", "Name"), table.column("State"),
                                                                strict=True)
    ]  # fmt: skip
    forms = table.column("StatisticFormatID")
    columns = [table.column(name) for name in CLASSES]
    rejected = list(table.rejected)
    found: dict[tuple[str, date], tuple[str, list[float]]] = {}
    for row, line in enumerate(table.lines):
        try:
            day = calendar_day(days[row].split("T")[0])
            area = ids[row] or names[row] or "area"
            found.setdefault((area, day), (names[row], shares([c[row] for c in columns], forms[row])))
        except ValueError as error:
            rejected.append(Rejected(line, str(error)))
    too_many_rejected(rejected, path.name)
    if not found:
        first = f"; {rejected[0]}" if rejected else ""
        raise InputError(f"holds no map{first}", where=path.name, expected="rows with MapDate, None, D0 to D4")
    return [(area, name, day, x) for (area, day), (name, x) in sorted(found.items())], rejected


def _is_drought(head: Head) -> bool:
    classes = {"none", "d0", "d1", "d2", "d3", "d4"}
    if head.json:
        keys = head.text[:3000].lower()
        return '"mapdate"' in keys and all(f'"{name}"' in keys for name in classes)
    return classes <= {plain_name(cell) for cell in head.cells}


def _take(path: Path, options: dict[str, Any]) -> Taken:
    found, rejected = read_drought(path)
    drafts = []
    for area, name, day, x in found:
        body: dict[str, Any] = {"area": options.get("area") or area, "name": name or area}
        body |= dict(zip(CLASSES, x, strict=True))
        body["index"] = math.fsum(x[1:]) * 100
        body["source"] = f"drought map file {path.name}"
        drafts.append(Draft("drought_map", body, datetime.combine(day, time(12), tzinfo=UTC)))
    newest = max(found, key=lambda row: row[2])
    notes = (
        say("take.drought", n=Count(len(found)), last=LongDay(newest[2]), area=Name(newest[1] or newest[0]),
            index=Measured(round(math.fsum(newest[3][1:]) * 100, 1))),
    )  # fmt: skip
    return Taken(tuple(drafts), tuple(rejected), notes)


FORMATS = (
    Format(
        "drought-map",
        "weekly drought map: shares of counties or states in each class, CSV or JSON",
        _take,
        (Field("area", "text", "name under which the area is kept; its code if absent"),),
        _is_drought,
    ),
)
