"""Variety trial tables from delimited text: single plots or entry means, one row a plot or one row a variety.

Long files hold one plot (or one mean) a row. Columns are found by name, letter case and order free::

    site,year,management,rep,block,variety,yield (bu/ac)
    Marrow North,2024,grazed,1,3,A,41.5

``variety`` (also gen, genotype, entry, name, cultivar) and ``yield`` (also grain, yld) are needed; site (loc,
location), year, env (environment), management (grazing), rep (replicate, replication), block (incblock, iblock), row,
col (column), n (plots behind a mean) and se (its standard error) are used where they are there.

Wide files hold one variety a row and one trial a column, named by site, year and, where it matters, management::

    variety,Marrow North 2024,Marrow North 2024 grazed,Marrow South 2025
    A,44.1,38.0,.

Separator (comma, tab or semicolon) is found from the header. The unit stands in the yield column's name or is given as
``unit=``; kg/ha, t/ha and lb/ac of wheat become bu/ac. An empty cell, ``.``, ``-``, ``*`` and NA mean "not measured".
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.rows import read_text, too_many_rejected
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.schema import Field
from sideoats.station import Rejected

NAMES: Mapping[str, tuple[str, ...]] = {
    "variety": ("variety", "gen", "genotype", "entry", "name", "cultivar"),
    "yield": ("yield", "grain", "yld", "grain_yield"),
    "site": ("site", "loc", "location", "trial"),
    "year": ("year", "season"),
    "environment": ("env", "environment"),
    "management": ("management", "grazing", "mgmt"),
    "rep": ("rep", "replicate", "replication"),
    "block": ("block", "incblock", "iblock", "inc_block"),
    "row": ("row",),
    "col": ("col", "column"),
    "n": ("n", "plots"),
    "se": ("se", "std_error", "standard_error"),
}
TEXT = ("variety", "site", "year", "environment", "management", "rep", "block")
NUMBERS = ("row", "col", "n", "se")
MISSING = frozenset(("", ".", "-", "*", "na", "n/a", "nan", "null", "none"))
MANAGEMENTS = {
    "grain": "ungrazed", "grain-only": "ungrazed", "dual": "grazed", "dual-purpose": "grazed", "clipped": "grazed",
}  # fmt: skip
# Bushels an acre in one of each unit, wheat of 60 lb/bu (67.25 kg/ha).
_BUSHELS = {"bu/ac": 1.0, "kg/ha": 1 / 67.25, "t/ha": 1000 / 67.25, "lb/ac": 1 / 60.0}
_HEADER_UNIT = re.compile(r"[\s_(\[]+(bu/ac|bu_ac|kg/ha|kg_ha|t/ha|t_ha|lb/ac|lb_ac)[\])]?\s*$", re.IGNORECASE)
_ENVIRONMENT = re.compile(r"^(?P<site>.*?)[\s_|,-]*(?P<year>(?:18|19|20|21)\d\d)(?:[\s_|,]+(?P<management>.+))?$")
_MOST_ROWS = 500_000
_MOST_RECORDS = 1000
_LONGEST_NAME = 200


@dataclass(frozen=True)
class TrialFile:
    """A trial table: columns of one length, None where the file says nothing.

    Attributes
    ----------
    columns : name (see `NAMES`) -> values; variety and yield are always there, yield NaN where not measured
    unit : of yield and se, "" where neither the file nor the caller says
    rejected : rows that could not be used
    """

    columns: Mapping[str, tuple[Any, ...]]
    unit: str
    rejected: tuple[Rejected, ...] = ()
    notes: tuple[str, ...] = field(default=())

    def __len__(self) -> int:
        return len(self.columns["variety"])


def read_trial(path: str | Path, *, unit: str = "") -> TrialFile:
    """A trial table from a file.

    Parameters
    ----------
    path : delimited text, see the module's text
    unit : of the yields where the header does not say; bu/ac, kg/ha, t/ha or lb/ac

    Raises
    ------
    InputError : unreadable, no variety column, no yields, a row twice, or an unknown unit
    """
    path = Path(path)
    text = read_text(path)
    header, rows = _table(text, path.name)
    lowered = [_HEADER_UNIT.sub("", cell).strip().lower().replace(" ", "_") for cell in header]
    at = {name: lowered.index(spelled) for name in NAMES for spelled in reversed(NAMES[name]) if spelled in lowered}
    if "variety" not in at:
        raise InputError("has no variety column", where=path.name, expected="one of " + ", ".join(NAMES["variety"]))
    if "yield" in at:
        found = _HEADER_UNIT.search(header[at["yield"]])
        named = found.group(1).lower().replace("_", "/") if found else unit
        return _long(path.name, rows, at, named)
    return _wide(path.name, header, rows, at["variety"], unit)


def _table(text: str, name: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max("\t;,", key=first.count)
    rows: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells):
                rows.append((reader.line_num, cells))
            if len(rows) > _MOST_ROWS:
                raise InputError(f"has more than {_MOST_ROWS} rows", where=name, todo="split the file")
    except csv.Error as error:
        raise InputError(f"line {reader.line_num} is not delimited text ({error})", where=name) from None
    if len(rows) < 2:
        raise InputError("has a header but no rows", where=name, expected="one row a plot or a variety")
    longest = max(rows[0][1], key=len)
    if len(longest) > _LONGEST_NAME:  # looking for a unit and a year in it takes time with the square of its length
        raise InputError(
            f"has a column name of {len(longest):,} letters, {longest[:30]!r}...", where=name,
            expected=f"at most {_LONGEST_NAME} letters",
        )  # fmt: skip
    return rows[0][1], rows[1:]


def _factor(unit: str, name: str) -> float:
    if not unit:
        return 1.0
    if unit not in _BUSHELS:
        raise InputError(f"unit {unit!r} is not known for yields", where=name, expected="one of " + ", ".join(_BUSHELS))
    return _BUSHELS[unit]


def _number(cell: str) -> float:
    """The number in a cell, NaN where missing. Raises ValueError."""
    if cell.lower() in MISSING:
        return math.nan
    value = float(cell.replace(",", "."))
    if not math.isfinite(value):
        raise ValueError
    return value


def _management(cell: str) -> str:
    plain = " ".join(cell.lower().replace("_", "-").split())
    return MANAGEMENTS.get(plain, plain)


def _long(name: str, rows: Sequence[tuple[int, list[str]]], at: Mapping[str, int], unit: str) -> TrialFile:
    factor = _factor(unit, name)
    columns: dict[str, list[Any]] = {key: [] for key in at}
    rejected = []
    for line, cells in rows:
        try:
            if len(cells) <= max(at.values()):
                raise ValueError(f"{len(cells)} cells where {max(at.values()) + 1} are needed")
            if cells[at["variety"]].lower() in MISSING:
                raise ValueError("no variety")
            parsed: dict[str, Any] = {key: cells[i] for key, i in at.items() if key in TEXT}
            for key in ("yield", *NUMBERS):
                if key in at:
                    try:
                        parsed[key] = _number(cells[at[key]])
                    except ValueError:
                        raise ValueError(f"{key} {cells[at[key]][:40]!r} is not a number") from None
        except ValueError as error:
            rejected.append(Rejected(line, str(error)))
            continue
        if "management" in parsed:
            parsed["management"] = _management(parsed["management"])
        for key in ("yield", "se"):
            if key in parsed:
                parsed[key] *= factor
        for key, column in columns.items():
            column.append(parsed[key])
    too_many_rejected(rejected, name)
    return _finished(name, columns, unit, rejected)


def _wide(
    name: str, header: Sequence[str], rows: Sequence[tuple[int, list[str]]], variety: int, unit: str
) -> TrialFile:
    trials = {}
    for i, cell in enumerate(header):
        if i != variety:
            match = _ENVIRONMENT.match(_HEADER_UNIT.sub("", cell))
            if not match:
                raise InputError(
                    f"column {cell[:40]!r} names neither a yield nor a site and year", where=name,
                    expected="a yield column, or columns such as 'Marrow North 2024'",
                )  # fmt: skip
            trials[i] = (match["site"].strip(), match["year"], _management(match["management"] or ""))
    if len(set(trials.values())) < len(trials):
        raise InputError("two columns name the same trial", where=name, expected="each site and year once")
    factor = _factor(unit, name)
    columns: dict[str, list[Any]] = {key: [] for key in ("variety", "site", "year", "management", "yield")}
    rejected = []
    for line, cells in rows:
        for i, (site, year, management) in trials.items():
            cell = cells[i] if i < len(cells) else ""
            try:
                value = _number(cell) * factor
            except ValueError:
                rejected.append(Rejected(line, f"{header[i][:30]}: {cell[:40]!r} is not a number"))
                continue
            if not math.isnan(value):
                for key, item in zip(columns, (cells[variety], site, year, management, value), strict=True):
                    columns[key].append(item)
    too_many_rejected(rejected, name)
    return _finished(name, columns, unit, rejected)


def _finished(name: str, columns: Mapping[str, list[Any]], unit: str, rejected: Sequence[Rejected]) -> TrialFile:
    measured = sum(not math.isnan(v) for v in columns["yield"])
    if measured < 2:
        first = f"; {rejected[0]}" if rejected else ""
        raise InputError(f"holds {measured} yields{first}", where=name, expected="two or more measured yields")
    keys = [k for k in columns if k in (*TEXT, *NUMBERS[:2])]
    marks = list(zip(*(columns[k] for k in keys), strict=True))
    if len(set(marks)) < len(marks) and "rep" in columns:
        raise InputError("holds the same plot twice", where=name, expected="one row for each plot or mean")
    notes = [f"{measured} yields of {len(set(columns['variety']))} varieties"]
    if not unit:
        notes.append("no unit was stated: yields are taken as they stand")
    shown = "bu/ac" if unit else ""
    return TrialFile({k: tuple(v) for k, v in columns.items()}, shown, tuple(rejected), tuple(notes))


def trial_records(found: TrialFile) -> list[dict[str, Any]]:
    """Means by variety, site, year and management with the plots behind them, for evidence kind ``variety_trial``."""
    sums: dict[tuple[str, str, str, str], list[float]] = {}
    count = len(found)
    none = ("",) * count
    site, year, management = (found.columns.get(k, none) for k in ("site", "year", "management"))
    if "site" not in found.columns and "environment" in found.columns:
        site = found.columns["environment"]
    plots = found.columns.get("n", (1.0,) * count)
    for v, s, y, m, value, n in zip(
        found.columns["variety"], site, year, management, found.columns["yield"], plots, strict=True
    ):
        if not math.isnan(value):
            weight = 1.0 if math.isnan(n) else n
            total = sums.setdefault((v, s, y, m), [0.0, 0.0])
            total[0] += weight * value
            total[1] += weight
    return [
        {"variety": v, "site": s, "year": y, "management": m, "yield": total / weight, "plots": weight}
        for (v, s, y, m), (total, weight) in sums.items()
    ]


def _take(path: Path, options: dict[str, Any]) -> Taken:
    found = read_trial(path, unit=options["unit"] or "")
    if not found.unit:
        raise InputError("states no unit of yield", where=path.name, expected="unit=bu/ac, kg/ha, t/ha or lb/ac")
    records = trial_records(found)
    if len(records) > _MOST_RECORDS:
        raise InputError(
            f"holds {len(records)} means",
            where=path.name,
            expected=f"{_MOST_RECORDS} at most",
            todo="split it by region",
        )
    on: date = options["on"]
    seen = datetime.combine(on, time(12, 0), tzinfo=UTC)
    body = {"title": options["title"] or path.stem, "means": records}
    drafts = tuple(Draft("variety_trial", body, seen, place=place) for place in options["places"].split() or [None])
    return Taken(drafts, found.rejected, found.notes)


FORMATS = (
    Format(
        "trial-table", "variety trial, plots or means, long or wide, delimited text", _take,
        (
            Field("on", "date", "day on which the table was published", required=True),
            Field("places", "text", "ids of the fields it speaks for, parted by blanks", default=""),
            Field("title", "text", "name of the trial"),
            Field("unit", "choice", "unit of yield where the file does not say", choices=tuple(_BUSHELS)),
        ),
    ),
)  # fmt: skip
