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

A long file may hold several levels of a treatment (nitrogen, fungicide ...). They are never pooled: one is read, named
as ``level="nitrogen=60"``, and the file is asked back where none is.
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

from sideoats.document import Document
from sideoats.errors import InputError
from sideoats.intake.laid import too_many_rejected
from sideoats.intake.rows import read_text
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
# Columns of a treatment by their name; others are known by telling apart what else would stand twice.
TREATMENTS = (
    "nitrogen", "nitro", "n_rate", "nrate", "fungicide", "treatment", "trt", "fertilizer", "fertiliser", "irrigation",
    "intensity", "input", "seed_rate", "seeding_rate",
)  # fmt: skip
_MOST_LEVELS = 12
_WHEAT = (10.0, 300.0)  # bu/ac between which the highest yield of a wheat trial lies (common practice, no source)
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


def read_trial(source: str | Path | Document, *, unit: str = "", level: str = "") -> TrialFile:
    """A trial table from a file.

    Parameters
    ----------
    source : a path or a document: delimited text, see the module's text
    unit : of the yields where the header does not say; bu/ac, kg/ha, t/ha or lb/ac
    level : the level of a treatment to read, as ``nitrogen=60``, where a long file holds several

    Raises
    ------
    InputError : unreadable, no variety column, no yields, a row twice, an unknown unit, or several levels of a
        treatment and none of them named
    """
    document = source if isinstance(source, Document) else None
    name = document.name if document else Path(str(source)).name
    header, rows = _table(document.text() if document else read_text(str(source)), name)
    lowered = [_HEADER_UNIT.sub("", cell).strip().lower().replace(" ", "_") for cell in header]
    at = {name: lowered.index(spelled) for name in NAMES for spelled in reversed(NAMES[name]) if spelled in lowered}
    if "variety" not in at:
        raise InputError("has no variety column", where=name, expected="one of " + ", ".join(NAMES["variety"]))
    if "yield" in at:
        found = _HEADER_UNIT.search(header[at["yield"]])
        named = found.group(1).lower().replace("_", "/") if found else unit
        return _long(name, *_one_level(name, lowered, rows, at, level), named)
    if level:
        raise InputError(f"holds no column for level {level[:40]!r}", where=name, expected="a long table")
    return _wide(name, header, rows, at["variety"], unit)


Rows = list[tuple[int, list[str]]]


def _one_level(
    name: str, header: Sequence[str], rows: Rows, at: Mapping[str, int], level: str
) -> tuple[Rows, Mapping[str, int]]:
    """The rows of one level of every treatment, and the columns without one that was taken for a count of plots.

    Raises InputError where a file holds several levels and `level` names none of them.
    """
    named = (part.lower().partition("=") for part in _parts(level))
    wanted = {key.strip(): value.strip() for key, _, value in named}
    found = dict(_treatments(header, rows, at))
    if strange := [key for key in wanted if key not in found]:
        held = ", ".join(found) or "no column of several levels"
        raise InputError(f"holds no levels of {strange[0][:40]!r}", where=f"{name} level", expected=held)
    if open_ := {k: levels for k, levels in found.items() if wanted.get(k, "") not in [v.lower() for v in levels]}:
        told = "; ".join(f"{key} at {len(levels)} levels ({', '.join(levels[:6])})" for key, levels in open_.items())
        raise InputError(
            f"holds {told}, which are not pooled",
            where=name,
            expected="level=" + "; ".join(f"{key}={levels[-1]}" for key, levels in found.items()),
            todo="name one of each; a column that counts replicates is called rep",
        )
    columns = {header.index(key): value for key, value in wanted.items()}
    rows = [row for row in rows if all(i < len(row[1]) and row[1][i].strip().lower() == v for i, v in columns.items())]
    return rows, {key: i for key, i in at.items() if header[i] not in found}


def _parts(level: str) -> list[str]:
    """``nitrogen=60; fungicide=yes`` in its parts."""
    return [part for part in level.replace(",", ";").split(";") if part.strip()]


def _treatments(header: Sequence[str], rows: Rows, at: Mapping[str, int]) -> list[tuple[str, tuple[str, ...]]]:
    """Columns that hold levels of a treatment, with the levels: by name, or because without them a row stands twice."""
    used = {i for key, i in at.items() if key != "n"}
    marks = [tuple(cells[at[k]] for k in (*TEXT, "row", "col") if k in at and at[k] < len(cells)) for _, cells in rows]
    twice = len(set(marks)) < len(marks)
    found = []
    for i, title in enumerate(header):
        if i in used or not title:
            continue
        cells = [row[i].strip() if i < len(row) else "" for _, row in rows]
        levels = tuple(sorted({cell for cell in cells if cell.lower() not in MISSING}, key=_by_size))
        if not 1 < len(levels) <= _MOST_LEVELS:
            continue
        pairs = set(zip(marks, cells, strict=True))
        apart = twice and len(pairs) == len(marks) and len(marks) >= 2 * len(set(marks))
        if title in TREATMENTS or apart:
            found.append((title, levels))
    return found


def _by_size(cell: str) -> tuple[float, str]:
    try:
        return float(cell), cell
    except ValueError:
        return math.inf, cell


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
            f"has a column name of {len(longest):,} letters, {longest[:30]!r}...",
            where=name,
            expected=f"at most {_LONGEST_NAME} letters",
        )
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
                    f"column {cell[:40]!r} names neither a yield nor a site and year",
                    where=name,
                    expected="a yield column, or columns such as 'Marrow North 2024'",
                )
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


def wheat_trial(source: str | Path | Document, *, unit: str = "", level: str = "") -> TrialFile:
    """As `read_trial`, for wheat: a file without a unit, or whose yields no wheat makes in it, is asked back.

    Raises
    ------
    InputError : as `read_trial`; no unit of yield; a highest yield far from any wheat's (a slip of the unit)
    """
    found = read_trial(source, unit=unit, level=level)
    name = source.name if isinstance(source, Document) else Path(str(source)).name
    if not found.unit:
        raise InputError("states no unit of yield", where=name, expected="unit=bu/ac, kg/ha, t/ha or lb/ac")
    highest = max(v for v in found.columns["yield"] if not math.isnan(v))
    if not _WHEAT[0] <= highest <= _WHEAT[1]:
        raise InputError(
            f"holds yields up to {highest:,.0f} bu/ac as its unit is read, which no wheat trial makes",
            where=name,
            expected="another unit: bu/ac, kg/ha, t/ha or lb/ac",
        )
    return found


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
    found = wheat_trial(path, unit=options["unit"] or "", level=options.get("level") or "")
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
            Field("level", "text", "the level to read where the file holds several of a treatment: nitrogen=60"),
        ),
    ),
)  # fmt: skip
