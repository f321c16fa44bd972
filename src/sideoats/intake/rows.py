"""What every reader of open files shares: bounded reading, and tables by the names of their columns.

A file is told by what is in it: gzip, a zip archive of one file, UTF-8 with or without a byte-order mark, UTF-16 with
one, else Windows-1252, which is what spreadsheets write.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import math
import re
import tomllib
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.station import Rejected, Values

MOST_BYTES = 500_000_000
FIRST_YEAR, LAST_YEAR = 1750, 2200
_MOST_DOTS = 500
_DELIMITERS = ",;\t|"
_GZIP, _ZIP = b"\x1f\x8b", b"PK\x03\x04"
_NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1f\x7f]")
Steps = NDArray[np.int64]
T = TypeVar("T")


# --- bytes and text ---------------------------------------------------------------------------------------------------


def read_bytes(path: str | Path, most: int | None = None) -> bytes:
    """The whole file, or its first `most` bytes, unpacked where it is gzip or a zip archive of one file.

    Raises InputError when it is absent, empty, damaged or too large.
    """
    path = Path(path)
    try:
        with path.open("rb") as handle:
            lead = handle.read(4)
            handle.seek(0)
            data = _unpacked(handle, lead, path.name, MOST_BYTES + 1 if most is None else most)
    except (OSError, EOFError, ValueError, zlib.error, zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", where=path.name, todo="check the path") from None
    if len(data) > MOST_BYTES:
        raise InputError("is larger than 500 MB", where=path.name, todo="give the records of one place")
    if not data.strip():
        raise InputError("is empty", where=path.name, expected="a file with records in it")
    return data


def _unpacked(handle: Any, lead: bytes, name: str, most: int) -> bytes:
    if lead[:2] == _GZIP:
        with gzip.open(handle) as packed:
            return packed.read(most)
    if lead != _ZIP:
        data: bytes = handle.read(most)
        return data
    with zipfile.ZipFile(handle) as archive:
        inside = [
            info
            for info in archive.infolist()
            if not info.is_dir() and not re.search(r"(^|/)(__MACOSX|\.|readme)", info.filename, re.IGNORECASE)
        ]
        if len(inside) != 1:
            shown = ", ".join(info.filename[:40] for info in inside[:6]) or "none"
            raise InputError(f"holds {len(inside)} files: {shown}", where=name, expected="an archive of one file")
        with archive.open(inside[0]) as packed:
            return packed.read(most)


def text_of(data: bytes, name: str) -> str:
    """Bytes as text, the byte-order mark removed. Raises InputError for what is no text."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") and len(data) % 2 == 0:
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            pass
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        try:
            if _NO_TEXT.search(data) or data[:2] in (b"\xff\xfe", b"\xfe\xff"):
                raise error
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            raise InputError(f"byte {error.start} is not UTF-8 text", where=name, expected="a text file") from None
    if "\0" in text:
        raise InputError("holds NUL characters", where=name, expected="a text file")
    return text


def read_text(path: str | Path) -> str:
    """The whole file as text (see `read_bytes`, `text_of`)."""
    return text_of(read_bytes(path), Path(path).name)


def toml_table(text: str) -> dict[str, Any]:
    """A TOML file's content. Raises ValueError, also for a name nested so deep that it takes minutes."""
    if any(line.count(".") > _MOST_DOTS for line in text.splitlines()):  # nested names take time with their square
        raise ValueError("a line has too many dots")
    return tomllib.loads(text)


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


# --- tables -----------------------------------------------------------------------------------------------------------


def delimiter_of(line: str) -> str:
    """The mark between the cells of a header: the most frequent of comma, semicolon, tab and bar outside quotes."""
    bare = re.sub(r'"[^"]*"', "", line)
    return max(_DELIMITERS, key=bare.count)


def table_rows(text: str, name: str, delimiter: str = ",") -> Iterator[tuple[int, list[str]]]:
    """Rows of a CSV text with the line each ends on, blank rows left out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                yield reader.line_num, [cell.strip() for cell in row]
    except csv.Error as error:
        raise InputError(f"line {reader.line_num} is not CSV ({error})", where=name) from None


def whole_table(text: str, name: str, delimiter: str = ",") -> list[tuple[int, list[str]]]:
    """`table_rows` as a list, the header first. Raises InputError where no row holds anything."""
    rows = list(table_rows(text, name, delimiter))
    if not rows:
        raise InputError("holds no rows", where=name, expected="a header and rows under it")
    return rows


def plain_name(cell: str) -> str:
    """A column's name without case, blanks and punctuation: ``M-FLAG``, ``M_FLAG`` and ``m flag`` are one."""
    return "".join(c for c in cell.lower() if c.isalnum())


@dataclass
class Table:
    """A table by the plain names of its columns; `rows` fit the header, those that do not stand under `rejected`."""

    name: str
    header: list[str]
    rows: list[list[str]]
    lines: list[int]
    rejected: list[Rejected] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.at: dict[str, int] = {}
        for position, cell in enumerate(self.header):
            self.at.setdefault(plain_name(cell), position)

    def __len__(self) -> int:
        return len(self.rows)

    def has(self, *names: str) -> bool:
        """Whether a column of one of these names is there."""
        return any(plain_name(n) in self.at for n in names)

    def column(self, *names: str) -> list[str]:
        """Cells of the first of these columns that is there, without blanks around them; empty cells where none is."""
        for name in names:
            position = self.at.get(plain_name(name))
            if position is not None:
                return [row[position].strip() for row in self.rows]
        return [""] * len(self.rows)

    def need(self, *names: str) -> list[str]:
        """As `column`. Raises InputError listing what the file has where none is there."""
        if not self.has(*names):
            has = ", ".join(cell[:30] for cell in self.header[:20])
            raise InputError(f"has no column {names[0]!r}", where=self.name, expected=f"one of {has}")
        return self.column(*names)

    def where(self, keep: Sequence[bool]) -> Table:
        """The rows that are wanted."""
        kept = [i for i, wanted in enumerate(keep) if wanted]
        return Table(self.name, self.header, [self.rows[i] for i in kept], [self.lines[i] for i in kept], self.rejected)


def table_of(text: str, name: str, *, header: Sequence[str] | None = None, delimiter: str | None = None) -> Table:
    """A delimited text as a table; the mark between cells is told by its first line.

    Parameters
    ----------
    delimiter : the mark, where it is known
    header : names of the columns where the file has no row of them; a row may then have fewer cells
    """
    first = text.lstrip("\r\n ")[:5000].split("\n", 1)[0]
    mark = delimiter_of(first) if delimiter is None else str(delimiter)
    if len(mark) != 1 or mark in '"\r\n':
        raise InputError(f"{mark[:10]!r} is no mark between cells", where=name, expected="one character")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, skipinitialspace=True)
    names = list(header) if header is not None else []
    rows: list[list[str]] = []
    lines: list[int] = []
    rejected: list[Rejected] = []
    try:
        for row in reader:
            if not row or (len(row) < 3 and not any(cell.strip() for cell in row)):
                continue
            if not names:
                names = [cell.strip() for cell in row]
                continue
            if len(row) != len(names):
                cells, row = len(row), _fitted(row, len(names), header is not None)
                if not row:
                    rejected.append(Rejected(reader.line_num, f"has {cells} cells; the header has {len(names)}"))
                    continue
            rows.append(row)
            lines.append(reader.line_num)
    except csv.Error as error:
        raise InputError(f"line {reader.line_num} is not CSV ({error})", where=name) from None
    if not names:
        raise InputError("holds no rows", where=name, expected="a header and rows under it")
    return Table(name, names, rows, lines, rejected)


def _fitted(row: list[str], wide: int, short: bool) -> list[str]:
    """A row of the table's width; [] where it has none.

    Empty cells at its end are cut off or, where a file has no header, added.
    """
    while len(row) > wide and not row[-1].strip():
        row.pop()
    if short and 4 <= len(row) < wide:
        row += [""] * (wide - len(row))
    return row if len(row) == wide else []


def table_of_records(records: Sequence[Any], name: str) -> Table:
    """A list of JSON objects as a table whose columns are all their keys; lines are counted from 1."""
    good = [(i, r) for i, r in enumerate(records, 1) if isinstance(r, Mapping)]
    header = list(dict.fromkeys(str(key) for _, r in good for key in r))
    if not header:
        raise InputError("holds no rows", where=name, expected="a list of objects")
    rows = [["" if r.get(key) is None else str(r[key]) for key in header] for _, r in good]
    bad = [Rejected(i, "is no object") for i, r in enumerate(records, 1) if not isinstance(r, Mapping)]
    return Table(name, header, rows, [i for i, _ in good], bad)


def mapped(cells: Sequence[str], read: Callable[[str], T]) -> tuple[list[T | None], dict[str, str]]:
    """Every cell read once however often it stands there, and of what cannot be read the reason (ValueError)."""
    known: dict[str, T | None] = {}
    wrong: dict[str, str] = {}
    for cell in set(cells):
        try:
            known[cell] = read(cell)
        except (ValueError, OverflowError) as error:
            known[cell], wrong[cell] = None, str(error)
    return [known[cell] for cell in cells], wrong


def numbers(cells: Sequence[str], missing: Iterable[str] = ("",)) -> tuple[Values, dict[str, str]]:
    """Cells as numbers, NaN where missing, and those that are none. Missing marks match as numbers too (-9999.0)."""
    marks = frozenset(missing)
    alike = {float(mark) for mark in marks if _is_number(mark)}

    def read(cell: str) -> float:
        if cell in marks:
            return np.nan
        value = float(cell)
        if not np.isfinite(value) or "_" in cell:
            raise ValueError(f"{cell[:40]!r} is not a number")
        return np.nan if value in alike else value

    found, wrong = mapped(cells, read)
    return np.array([np.nan if v is None else v for v in found], dtype=np.float64), {
        cell: f"{cell[:40]!r} is not a number" for cell in wrong
    }


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def days_of(cells: Sequence[str], read: Callable[[str], date] | None = None) -> tuple[Steps, dict[str, str]]:
    """Cells as days since 1970, the lowest whole number where they are none, and those that are none."""
    found, wrong = mapped(cells, read or calendar_day)
    return np.array([NEVER if d is None else d.toordinal() - EPOCH for d in found], dtype=np.int64), wrong


EPOCH = date(1970, 1, 1).toordinal()
NEVER = np.iinfo(np.int64).min


def position_in(table: Table) -> dict[str, float]:
    """Where the file itself says that the station stands, by its first row."""
    told = {}
    for key, names in (
        ("latitude", ("LATITUDE", "LAT")),
        ("longitude", ("LONGITUDE", "LON")),
        ("elevation_m", ("ELEVATION", "ELEV")),
    ):
        if table.rows and table.has(*names):
            value = numbers(table.column(*names)[:1])[0][0]
            limit = {"latitude": 90, "longitude": 180}.get(key, 9000)
            if not math.isnan(value) and abs(value) <= limit:
                told[key] = float(value)
    return told


# --- cells -----------------------------------------------------------------------------------------------------------


_US_DAY = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})")


def calendar_day(text: str) -> date:
    """A date from ``YYYY-MM-DD``, ``YYYYMMDD``, ``YYYY/MM/DD`` or, as spreadsheets of the United States write it,
    ``M/D/YYYY``; a time of midnight behind it is passed over. Raises ValueError with a sentence.
    """
    plain = re.sub(r"[T ]0?0:00(:00)?(\.0+)?Z?$", "", text.strip())
    found = _US_DAY.fullmatch(plain)
    if found:
        plain = f"{found[3]}-{int(found[1]):02d}-{int(found[2]):02d}"
    elif len(plain) == 8 and plain.isdigit():
        plain = f"{plain[:4]}-{plain[4:6]}-{plain[6:]}"
    try:
        if len(plain) != 10:
            raise ValueError
        day = date.fromisoformat(plain.replace("/", "-"))
    except ValueError:
        raise ValueError(f"{text[:40]!r} is not a calendar date") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"year {day.year} is outside {FIRST_YEAR} to {LAST_YEAR}")
    return day


def header_index(header: Sequence[str], wanted: str, name: str) -> int:
    """Position of a column by its name, letter case ignored. Raises InputError listing what the file has."""
    lowered = [cell.strip().lower() for cell in header]
    try:
        return lowered.index(wanted.strip().lower())
    except ValueError:
        has = ", ".join(cell[:30] for cell in header[:20])
        raise InputError(f"has no column {wanted!r}", where=name, expected=f"one of {has}") from None


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
