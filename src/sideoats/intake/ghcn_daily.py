"""GHCN-Daily: the fixed-width ``.dly`` file; rows of one value (by station, by year, joined sheets; with a header or
without); one column an element, and JSON, as the access service sends them. They are told apart by content.

Values whose quality mark (QFLAG) is not blank are set aside with that mark's meaning. A trace is 0 with a flag. An
amount gathered over several days (MDPR) is set aside and never spread over those days.

An observer who reads at seven in the morning reads yesterday's highest temperature and rain. Where a row says when it
was read, and that was before noon, both are dated a day back (common practice); the lowest temperature is not. A .dly
file does not say: `observed`.
"""

from __future__ import annotations

import math
from calendar import monthrange
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.intake.ghcn_access import is_access, read_access, records_of
from sideoats.intake.ghcn_elements import (
    ELEMENTS,
    MISSING,
    MULTIDAY,
    NOON,
    ROLLED,
    put_values,
    usable_elements,
    variable_of,
)
from sideoats.intake.laid import Layout
from sideoats.intake.rows import (
    EPOCH,
    FIRST_YEAR,
    LAST_YEAR,
    Steps,
    Table,
    days_of,
    numbers,
    one_station,
    position_in,
    read_bytes,
    table_of,
    table_of_records,
    text_of,
)
from sideoats.station import StationDays
from sideoats.words import Count, say

_LINE, _SHORTEST, _BLOCKS_AT = 269, 266, 21  # columns of a line, of one stripped of trailing blanks, of the head
_LONG = ("ID", "DATE", "ELEMENT", "DATA_VALUE", "M_FLAG", "Q_FLAG", "S_FLAG", "OBS_TIME")
_DAY_NAMES = ("DATE", "YEARMONTHDAY", "YYYYMMDD", "DAY")
_VALUE_NAMES = ("DATAVALUE", "VALUE")
AS_FILED = "as filed"


def read_ghcn_daily(
    path: str | Path,
    *,
    station: str | None = None,
    units: str | None = None,
    observed: str | None = None,
    name: str = "",
    latitude: float = math.nan,
    longitude: float = math.nan,
    elevation_m: float = math.nan,
) -> StationDays:
    """One station's daily record from any of the GHCN-Daily layouts, told apart by content.

    Parameters
    ----------
    path : the file; gzip and zip are unpacked
    station : which station, where the file holds several
    units : ``tenths``, ``metric`` or ``imperial``, for the layout with one column an element, whose units are not in
        the file; left out, they are inferred from all columns and said in `notes`, or refused
    observed : ``morning``, ``midnight`` or ``as filed``: when the observer reads; left out, what the rows say
    name, latitude, longitude, elevation_m : of the station; the ``.dly`` file does not hold them [degrees, m]

    Returns
    -------
    StationDays : lines that cannot be used stand under ``rejected``, failed values under ``set_aside``

    Raises
    ------
    InputError : the file cannot be read, holds no usable value, or holds several stations and none was named
    """
    path = Path(path)
    data = _plain(read_bytes(path), path.name)
    layout = Layout(timedelta(days=1))
    place: dict[str, Any] = {"name": name, "latitude": latitude, "longitude": longitude, "elevation_m": elevation_m}
    notes: tuple[Any, ...] = ()
    kind = "CSV"
    if is_fixed(data):
        found = _read_fixed(data, path.name, station, layout, observed == "morning")
        kind = ".dly"
        notes = (say("take.observed.morning"),) if observed == "morning" else ()
    else:
        table = table_in(data, path.name)
        if is_access(table):
            found, told, notes = read_access(table, station, units, latitude, layout)
        else:
            found, told, notes = _read_long(table, station, layout, observed)
        place = {k: told.get(k, v) if v == "" or v != v else v for k, v in place.items()}
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


def _plain(data: bytes, name: str) -> bytes:
    """Bytes of one a character, where a spreadsheet saved two."""
    return text_of(data, name).encode() if data[:2] in (b"\xff\xfe", b"\xfe\xff") else data


def is_fixed(data: bytes) -> bool:
    """Whether this is the fixed-width layout: no comma in the first line, and no JSON."""
    first = data[:4000].lstrip(b"\xef\xbb\xbf \r\n").split(b"\n", 1)[0]
    return first[:1] not in (b"[", b"{") and not any(mark in first for mark in (b",", b";", b"\t"))


def table_in(data: bytes, name: str) -> Table:
    """The table of any other layout; rows without a header get the names of the by-year layout."""
    text = text_of(data, name)
    if text.lstrip()[:1] in ("[", "{"):
        return table_of_records(records_of(text, name), name)
    first = text.lstrip().split("\n", 1)[0]
    bare = not any(word in first.upper() for word in ("DATE", "ELEMENT", "DAY", "DATATYPE"))
    return table_of(text, name, header=_LONG if bare else None)


# -- the fixed-width file ------------------------------------------------------------------------------------------


def _read_fixed(data: bytes, name: str, station: str | None, layout: Layout, morning: bool) -> str:
    kept, lines = _whole_lines(data, layout)
    if not kept:
        layout.arrays(name)  # raises, with the first reason
    grid = np.frombuffer(b"".join(kept), dtype=np.uint8).reshape(len(kept), _LINE)
    chosen = one_station([line[:11].decode("ascii", "replace").strip() for line in kept], station, name)
    own = chosen.ljust(11).encode()
    elements = [line[17:21].decode("ascii", "replace") for line in kept]
    read = {*usable_elements(elements), MULTIDAY}
    mine = [i for i, line in enumerate(kept) if line[:11] == own and elements[i] in read]
    values, readable = _integers(grid[:, _BLOCKS_AT:].reshape(len(kept), 31, 8)[mine, :, :5])
    marks = grid[:, _BLOCKS_AT:].reshape(len(kept), 31, 8)[mine, :, 5:7]
    seen: set[tuple[str, bytes]] = set()
    rows: dict[str, list[int]] = {}
    for row, i in enumerate(mine):
        element, month = elements[i], kept[i][11:17]
        if not readable[row].all():
            day = int(np.flatnonzero(~readable[row])[0])
            text = kept[i][_BLOCKS_AT + 8 * day : _BLOCKS_AT + 8 * day + 5].decode("latin-1")
            layout.reject(lines[i], f"{element} of day {day + 1} is {text!r}, not a whole number")
        elif (element, month) in seen:
            layout.reject(
                lines[i], f"{element} of {month[:4].decode()}-{month[4:].decode()} stands in the file a second time"
            )
        else:
            seen.add((element, month))
            rows.setdefault(element, []).append(row)
    months = [(int(kept[i][11:15]), int(kept[i][15:17])) for i in mine]
    for element, these in rows.items():
        back = 1 if morning and element in ROLLED else 0
        _take_months(layout, element, [months[r] for r in these], values[these], marks[these], back)
    return chosen


def _whole_lines(data: bytes, layout: Layout) -> tuple[list[bytes], list[int]]:
    kept, numbers_ = [], []
    for number, raw in enumerate(data.lstrip(b"\xef\xbb\xbf").split(b"\n"), 1):
        line = raw.rstrip(b"\r")
        if not line.strip():
            continue
        if not _SHORTEST <= len(line.rstrip()) <= _LINE and not _SHORTEST <= len(line) <= _LINE + 1:
            layout.reject(number, f"is cut or overlong: {len(line)} characters; a line has {_LINE}")
            continue
        year, month = line[11:15], line[15:17]
        if not (year.isdigit() and month.isdigit() and 1 <= int(month) <= 12 and FIRST_YEAR <= int(year) <= LAST_YEAR):
            shown = line[11:17].decode("latin-1")
            layout.reject(number, f"{shown!r} is not a year and month")
            continue
        kept.append(line.ljust(_LINE)[:_LINE])
        numbers_.append(number)
    return kept, numbers_


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


def _take_months(
    layout: Layout,
    element: str,
    months: list[tuple[int, int]],
    values: NDArray[np.int64],
    marks: NDArray[np.uint8],
    back: int,
) -> None:
    """All months of one element: (month, 31) values and their measurement and quality marks."""
    first = np.array([date(y, m, 1).toordinal() - EPOCH for y, m in months], np.int64)
    length = np.array([monthrange(y, m)[1] for y, m in months], np.int64)
    day = np.arange(31)
    there = values != MISSING
    for row, at in zip(*np.nonzero(there & (day >= length[:, None])), strict=True):
        year, month = months[row]
        reason = f"day {at + 1} is not in {year}-{month:02d}"
        layout.aside(variable_of(element), int(first[row] + length[row] - 1), f"{values[row, at]}", reason)
    good = there & (day < length[:, None])
    days: Steps = (first[:, None] + day)[good] - back
    measured, quality = ([chr(c).strip() for c in marks[:, :, k][good].tolist()] for k in (0, 1))
    put_values(layout, element, days, values[good].astype(np.float64), measured, quality)


# -- one row a value ---------------------------------------------------------------------------------------------------


def _read_long(
    table: Table, station: str | None, layout: Layout, observed: str | None
) -> tuple[str, dict[str, Any], tuple[Any, ...]]:
    """Rows of station, date, element, value and three marks; from JSON the marks stand in ``attributes``."""
    layout.rejected.extend(table.rejected)
    if not table.rows:
        layout.arrays(table.name)
    ids = [cell.removeprefix("GHCND:") for cell in table.need("ID", "STATION", "STATION_ID")]
    chosen = one_station(ids, station.removeprefix("GHCND:") if station else None, table.name)
    kinds = [cell.upper() for cell in table.need("ELEMENT", "DATATYPE")]
    elements = usable_elements([e for e in dict.fromkeys(kinds)])
    own = table.where([i == chosen and (k in elements or k == MULTIDAY) for i, k in zip(ids, kinds, strict=True)])
    if not own.rows:
        has = ", ".join(dict.fromkeys(k for i, k in zip(ids, kinds, strict=True) if i == chosen))[:80]
        raise InputError(f"has no element that is read: {has}", where=table.name, expected=", ".join(ELEMENTS))
    dates, cells = own.need(*_DAY_NAMES), own.need(*_VALUE_NAMES)
    days, wrong = days_of(dates)
    layout.reject_cells(own, dates, wrong)
    given, bad = numbers(cells, ("", str(MISSING)))
    given[given != np.rint(given)] = np.nan
    kinds = [cell.upper() for cell in own.column("ELEMENT", "DATATYPE")]
    for i in np.flatnonzero(np.isnan(given)):
        if cells[i] in bad or (cells[i] not in ("",) and cells[i].rstrip("0").rstrip(".") != str(MISSING)):
            layout.reject(own.lines[i], f"{kinds[i]} {cells[i][:40]!r} is not a whole number")
    measured, quality, times = _marks(own)
    rolled = _rolled(days, kinds, times, observed)
    days = days - rolled
    kind_of = np.array(kinds)
    for element in (*elements, MULTIDAY):
        at = np.flatnonzero(kind_of == element)
        put_values(layout, element, days[at], given[at], [measured[i] for i in at], [quality[i] for i in at])
    told: dict[str, Any] = {"name": own.column("NAME")[0]} if own.has("NAME") else {}
    told |= position_in(own)
    return chosen, told, (say("take.observed.rows", n=Count(int(rolled.sum()))),) if rolled.any() else ()


def _marks(table: Table) -> tuple[list[str], list[str], list[str]]:
    if table.has("ATTRIBUTES"):
        split = [[*cell.split(","), "", "", "", ""] for cell in table.column("ATTRIBUTES")]
        return [s[0] for s in split], [s[1] for s in split], [s[3] for s in split]
    measured, quality = table.column("MFLAG", "MEASUREMENTFLAG"), table.column("QFLAG", "QUALITYFLAG")
    return measured, quality, table.column("OBSTIME", "OBSERVATIONTIME")


def _rolled(days: Steps, kinds: list[str], times: list[str], observed: str | None) -> Steps:
    """How many days each row is dated back."""
    if observed in ("midnight", AS_FILED):
        return np.zeros(len(days), np.int64)
    hour = np.array([int(float(t)) if t.replace(".", "", 1).isdigit() else -1 for t in times], np.int64)
    early = (hour > 0) & (hour < NOON) if observed is None else np.ones(len(days), bool)
    return (early & np.isin(np.array(kinds), ROLLED)).astype(np.int64)


def stations_in(path: str | Path) -> list[str]:
    """Station identifiers of a GHCN-Daily file, in order of appearance."""
    data = read_bytes(path)
    if is_fixed(data):
        return list(dict.fromkeys(line[:11].decode("ascii", "replace") for line in data.split(b"\n") if line.strip()))
    return list(dict.fromkeys(table_in(data, Path(path).name).need("ID", "STATION", "STATION_ID")))


__all__ = ["ELEMENTS", "read_ghcn_daily", "stations_in"]
