"""What every reader of station files shares: bounded reading, table rows, and laying dated values out without holes."""

from __future__ import annotations

import csv
import gzip
import io
import json
import tomllib
import zlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.station import Flag, Flags, Rejected, SetAside, Values

MOST_BYTES = 500_000_000
MOST_REJECTED = 1000  # reasons kept; a file with more bad lines than this is refused
FIRST_YEAR, LAST_YEAR = 1750, 2200
_MOST_DOTS = 500


def read_bytes(path: str | Path) -> bytes:
    """The whole file, unpacked where its name ends in .gz. Raises InputError when it is absent, empty or too large."""
    path = Path(path)
    try:
        with gzip.open(path) if path.suffix == ".gz" else path.open("rb") as handle:
            data = handle.read(MOST_BYTES + 1)
    except (OSError, EOFError, ValueError, zlib.error) as error:  # no such name, a damaged .gz
        reason = getattr(error, "strerror", None) or str(error)
        todo = "check the path"
        raise InputError(f"cannot be read ({reason})", where=path.name, todo=todo) from None
    if len(data) > MOST_BYTES:
        raise InputError("is larger than 500 MB", where=path.name, todo="give the records of one place")
    if not data.strip():
        raise InputError("is empty", where=path.name, expected="a file with records in it")
    return data


def read_text(path: str | Path) -> str:
    """The whole file as UTF-8 text, byte-order mark removed."""
    data = read_bytes(path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        what = f"byte {error.start} is not UTF-8 text"
        raise InputError(what, where=Path(path).name, expected="a text file") from None
    if "\0" in text:
        raise InputError("holds NUL characters", where=Path(path).name, expected="a text file")
    return text


def table_rows(text: str, name: str, delimiter: str = ",") -> Iterator[tuple[int, list[str]]]:
    """Rows of a CSV text with the line each ends on, blank rows left out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                yield reader.line_num, [cell.strip() for cell in row]
    except csv.Error as error:
        raise InputError(f"line {reader.line_num} is not CSV ({error})", where=name) from None


def toml_table(text: str) -> dict[str, Any]:
    """A TOML file's content. Raises ValueError, also for a name nested so deep that it takes minutes."""
    if any(line.count(".") > _MOST_DOTS for line in text.splitlines()):  # nested names take time with their square
        raise ValueError("a line has too many dots")
    return tomllib.loads(text)


def whole_table(text: str, name: str, delimiter: str = ",") -> list[tuple[int, list[str]]]:
    """`table_rows` as a list, the header first. Raises InputError where no row holds anything."""
    rows = list(table_rows(text, name, delimiter))
    if not rows:
        raise InputError("holds no rows", where=name, expected="a header and rows under it")
    return rows


def json_value(text: str, name: str) -> Any:
    """What a JSON text holds. Raises InputError where it is none, and with the words of a service that refused."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"is not JSON ({error})", where=name) from None
    if isinstance(data, dict) and data.get("error"):
        words = data["error"] if isinstance(data["error"], list) else [data["error"]]
        said = "; ".join(str(word) for word in words)[:200]
        raise InputError(f"the service refused: {said}", where=name, todo="ask it for fewer rows, or correct the query")
    return data


class Layout:
    """Gathers dated values one by one and lays them out as arrays without holes.

    `step` is one day or one hour. The first value for a time is kept; a second one that differs is set aside, so that
    nothing in the file is lost and nothing depends on chance.
    """

    def __init__(self, step: timedelta) -> None:
        self.step = step
        self.found: dict[str, dict[datetime, float]] = {}
        self.marks: dict[str, dict[datetime, int]] = {}
        self.set_aside: list[SetAside] = []
        self.rejected: list[Rejected] = []
        self.span: list[datetime] = []

    def see(self, when: datetime) -> None:
        """The file has a row for this time, whether or not it holds a value: the record reaches at least so far."""
        self.span = [min([*self.span[:1], when]), max([*self.span[1:], when])]

    def _shown(self, when: datetime) -> str:
        return when.date().isoformat() if self.step >= timedelta(days=1) else when.isoformat(timespec="minutes")

    def reject(self, line: int, reason: str) -> None:
        """Note a line that cannot be used."""
        self.rejected.append(Rejected(line, reason))

    def put(self, variable: str, when: datetime, value: float, flag: Flag = Flag.NONE) -> None:
        """A value in canonical units."""
        values = self.found.setdefault(variable, {})
        if when in values:
            if values[when] != value:
                self.aside(variable, when, f"{value:g}", "a second value for the same time")
            return
        values[when] = value
        if flag:
            self.mark(variable, when, flag)

    def aside(self, variable: str, when: datetime, text: str, reason: str) -> None:
        """A value that was there but may not be used; it leaves a flag where the value would have stood."""
        self.set_aside.append(SetAside(variable, self._shown(when), text, reason))

    def fail(self, variable: str, when: datetime, text: str, reason: str) -> None:
        """A value marked as failed by its publisher."""
        self.aside(variable, when, text, reason)
        self.mark(variable, when, Flag.FAILED_AT_SOURCE)
        self.found.setdefault(variable, {})

    def mark(self, variable: str, when: datetime, flag: Flag) -> None:
        """Set a flag at a time."""
        marks = self.marks.setdefault(variable, {})
        marks[when] = marks.get(when, 0) | int(flag)

    def arrays(self, name: str) -> tuple[datetime, dict[str, Values], dict[str, Flags]]:
        """First time, values and flags. Raises InputError when no line gave a value."""
        times = [t for column in self.found.values() for t in column]
        if not times:
            first = f"; {self.rejected[0]}" if self.rejected else ""
            raise InputError(f"holds no usable value{first}", where=name, expected="dated weather values")
        too_many_rejected(self.rejected, name)
        start, end = min([*times, *self.span]), max([*times, *self.span])
        steps = round((end - start) / self.step) + 1
        values: dict[str, Values] = {}
        flags: dict[str, Flags] = {}
        for variable, column in self.found.items():
            at = np.array([round((t - start) / self.step) for t in column], dtype=np.int64)
            values[variable] = np.full(steps, np.nan)
            values[variable][at] = list(column.values())
            flags[variable] = absent_flags(values[variable])
            for when, mark in self.marks.get(variable, {}).items():
                if start <= when <= end:
                    flags[variable][round((when - start) / self.step)] |= np.uint16(mark)
        return start, values, flags


def absent_flags(values: NDArray[np.float64]) -> Flags:
    """Fresh flags for an array: ABSENT where it is NaN."""
    return np.where(np.isnan(values), np.uint16(Flag.ABSENT), np.uint16(0)).astype(np.uint16)


def too_many_rejected(rejected: Sequence[Rejected], name: str) -> None:
    """Refuse a file that is mostly unreadable rather than take the rest of it."""
    if len(rejected) > MOST_REJECTED:
        raise InputError(
            f"more than {MOST_REJECTED} lines cannot be used, the first is {rejected[0]}",
            where=name,
            todo="check that this is the right format",
        )


def calendar_day(text: str) -> date:
    """A date from ``YYYY-MM-DD`` or ``YYYYMMDD``. Raises ValueError with a sentence."""
    plain = text.strip()
    if len(plain) == 8 and plain.isdigit():
        plain = f"{plain[:4]}-{plain[4:6]}-{plain[6:]}"
    try:
        if len(plain) != 10:
            raise ValueError
        day = date.fromisoformat(plain)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not a calendar date") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"year {day.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    return day


def at_midnight(day: date) -> datetime:
    """The day as a datetime, the key that `Layout` uses."""
    return datetime(day.year, day.month, day.day)


def header_index(header: Sequence[str], wanted: str, name: str) -> int:
    """Position of a column by its name, letter case ignored. Raises InputError listing what the file has."""
    lowered = [cell.strip().lower() for cell in header]
    try:
        return lowered.index(wanted.strip().lower())
    except ValueError:
        has = ", ".join(cell[:30] for cell in header[:20])
        raise InputError(f"has no column {wanted!r}", where=name, expected=f"one of {has}") from None


def number_in(text: str, missing: Mapping[str, None] | frozenset[str]) -> float:
    """The number in a cell, NaN for a missing-value code. Raises ValueError for anything else."""
    if text in missing:
        return float("nan")
    value = float(text)
    if not np.isfinite(value):
        raise ValueError(f"{text!r} is not a finite number")
    return value


def one_station(stations: Sequence[str], wanted: str | None, name: str) -> str:
    """The station wanted, or the only one there. Raises InputError when it is absent, or when there are several."""
    seen = list(dict.fromkeys(stations))
    if wanted is not None:
        if wanted not in seen:
            raise InputError(f"has no station {wanted!r}", where=name, expected="one of " + ", ".join(seen[:8]))
        return wanted
    if len(seen) != 1:
        shown = ", ".join(seen[:8])
        raise InputError(f"holds {len(seen)} stations", where=name, expected="one", todo=f"name one of {shown}")
    return seen[0]
