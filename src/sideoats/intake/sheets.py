"""A table out of a CSV file or a spreadsheet: the row that names the columns, and the rows under it as text.

Spreadsheets (.xlsx, .xlsm, .xls, .ods) are read by python-calamine, an extra (`requirements/office.txt`): 2 MB,
imported in under a millisecond, where the next best took 185 ms and 3 MB in Python. A title above the header is passed
over. Dates come as YYYY-MM-DD, whole numbers without a point, truth as yes and no.
"""

from __future__ import annotations

import datetime as dt
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.rows import Table, read_text, table_of
from sideoats.station import Rejected

MOST_UNPACKED, MOST_ROWS, MOST_COLUMNS = 200_000_000, 100_000, 400
_ZIP, _OLD = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_TITLE_ROWS = 20


def is_spreadsheet(data: bytes) -> bool:
    """Whether a file that begins so may be a spreadsheet."""
    return data[:4] == _OLD or (
        data[:4] == _ZIP and (b"xl/" in data or b"[Content_Types].xml" in data or b"opendoc" in data)
    )


def read_sheet(path: str | Path, sheet: str = "") -> Table:
    """The table of a CSV file or of one sheet of a spreadsheet.

    Parameters
    ----------
    sheet : name of the sheet, where several hold rows

    Raises
    ------
    InputError : unreadable, no rows, several sheets and none was named, or the extra is missing
    """
    path = Path(path)
    try:
        with path.open("rb") as raw:
            lead = raw.read(65_536)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", where=path.name, todo="check the path") from None
    if not is_spreadsheet(lead):
        return table_of(read_text(path), path.name)
    return _of_cells(path.name, _cells(path, sheet))


def _cells(path: Path, sheet: str) -> list[list[Any]]:
    try:
        import python_calamine as calamine
    except ImportError:
        todo = "pip install -r requirements/office.txt, or save the sheet as CSV"
        raise InputError("is a spreadsheet, which needs the office extra", where=path.name, todo=todo) from None
    try:
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                if sum(info.file_size for info in archive.infolist()) > MOST_UNPACKED:
                    raise InputError("unpacks to more than 200 MB", where=path.name, todo="save the sheet as CSV")
        book = calamine.CalamineWorkbook.from_path(str(path))
        names = list(book.sheet_names)
        if sheet and sheet not in names:
            raise InputError(
                f"has no sheet {sheet[:60]!r}", where=path.name, expected="one of " + ", ".join(names[:12])
            )
        held = {
            name: book.get_sheet_by_name(name).to_python(skip_empty_area=False)
            for name in ([sheet] if sheet else names)
        }
    except InputError:
        raise
    except Exception as error:  # whatever the library finds wrong with the file's insides
        what = f"cannot be read as a spreadsheet ({type(error).__name__}: {str(error)[:120]})"
        raise InputError(what, where=path.name) from None
    full = {name: rows for name, rows in held.items() if any(cell not in ("", None) for row in rows for cell in row)}
    if len(full) != 1:
        if not full:
            raise InputError("holds no rows", where=path.name, expected="a header and rows under it")
        raise InputError(
            f"has {len(full)} sheets with rows", where=path.name, todo=f"give sheet=, one of {', '.join(full)}"
        )
    return next(iter(full.values()))


def _of_cells(name: str, cells: Sequence[Sequence[Any]]) -> Table:
    """The first row that is as full as any near the top names the columns; rows are counted as the sheet shows them."""
    rows = [[_text(cell) for cell in row] for row in cells[: MOST_ROWS + 1]]
    if len(cells) > MOST_ROWS or any(len(row) > MOST_COLUMNS for row in rows[:1]):
        raise InputError(f"has more than {MOST_ROWS:,} rows or {MOST_COLUMNS} columns", where=name)
    filled = [sum(bool(cell) for cell in row) for row in rows[:_TITLE_ROWS]]
    top = (
        filled.index(max(filled))
        if max(filled) < 2
        else next(i for i, n in enumerate(filled) if n >= max(2, 0.6 * max(filled)))
    )
    header = rows[top]
    while header and not header[-1]:
        header = header[:-1]
    table = Table(name, header, [], [])
    for number, row in enumerate(rows[top + 1 :], top + 2):
        if any(row):
            if any(row[len(header) :]):
                table.rejected.append(Rejected(number, f"has cells beside the {len(header)} columns that are named"))
                continue
            table.rows.append([*row, *[""] * len(header)][: len(header)])
            table.lines.append(number)
    return table


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell == int(cell) and abs(cell) < 1e15 else f"{cell:.12g}"
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time(0) else cell.isoformat(timespec="minutes")
    if isinstance(cell, dt.date | dt.time):
        return cell.isoformat()
    return " ".join(str(cell).split())
