"""Typed fields: what a question asks for and what an evidence kind holds, read from text with one clear line on error.

A field turns text (or a Python value) into one of:

=========  ==========================================================================================
kind       value inside
=========  ==========================================================================================
number     float in ``unit``
share      float 0 to 1; written ``27%`` or ``0.27``
counts     tuple of whole numbers >= 0, written ``12,40,7``
numbers    tuple of floats in ``unit``, written ``"1.2%, 0.9%"`` or ``"1.2, 0.9 %"``
choice     one of ``choices``
text       text of one line
flag       True or False; written yes/no
date       datetime.date; written YYYY-MM-DD
series     tuple of (date, float in ``unit``): a CSV file with columns date and value, or ``date value; date value``
records    tuple of dicts, written ``name=prairie hay, price=90 USD/ton; name=...``
=========  ==========================================================================================
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError

KINDS = ("number", "share", "counts", "numbers", "choice", "text", "flag", "date", "series", "records")
_YES, _NO = {"yes", "y", "true", "1", "on"}, {"no", "n", "false", "0", "off"}
_FIRST_YEAR, _LAST_YEAR = 1850, 2200
_LEAST = 1e-12  # nothing that is measured here is smaller in its unit; dividing by less overflows
_MOST_COUNTS = 100_000
_MOST_FILE_BYTES = 20_000_000


@dataclass(frozen=True)
class Field:
    """One named input or evidence field.

    Attributes
    ----------
    name : as typed in ``name=value``
    kind : see the module's table
    help : one sentence, shown by the command line and the desk
    unit : canonical unit of number, numbers and series
    required : asked for when absent; otherwise absent means "not known", never zero
    low, high : plausible bounds in ``unit``; outside is refused
    choices : allowed words of a choice; ``aliases`` maps other spellings to them
    bare : a number without unit is taken as ``unit`` (only where the name itself says the unit)
    default : shown and used when absent
    found_in : where the week finds it: ``"evidence:KIND.FIELD"`` (newest entry), ``"history:KIND"`` (all entries of the
        last months, as records with ``on``), ``"place:ATTRIBUTE"``, ``"quote:COMMODITY"``, ``"quotes:COMMODITY"`` (all
        of them, a series), ``"setting:NAME"``; the first that is known is taken; ``{crop}`` and other place attributes
        are filled in
    fresh_days : evidence older than this many days counts as not known
    fields : the fields of one record, for ``records``
    """

    name: str
    kind: str
    help: str
    unit: str = "1"
    required: bool = False
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    aliases: Mapping[str, str] | None = None
    bare: bool = False
    default: Any = None
    found_in: tuple[str, ...] = ()
    example: str = ""
    fresh_days: float = 400.0
    fields: tuple[Field, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"field {self.name}: kind {self.kind!r} is not one of {KINDS}")

    def expected(self) -> str:
        """What a right value looks like, for messages and hints."""
        if self.example:
            return (
                f"such as {self.name}={self.example!r}"
                if " " in self.example
                else f"such as {self.name}={self.example}"
            )
        words = {
            "number": f"a number in {self.unit}" if self.unit not in ("", "1") else "a number",
            "share": "a share such as 27% or 0.27",
            "counts": "whole numbers such as 12,40,7",
            "numbers": f"numbers in {self.unit}",
            "choice": "one of " + ", ".join(self.choices),
            "text": "one line of text",
            "flag": "yes or no",
            "date": "a date YYYY-MM-DD",
            "series": "a CSV file with columns date and value",
            "records": "name=..., ...; name=...",
        }
        return words[self.kind]

    def read(self, given: Any, where: str = "") -> Any:
        """`given` (text or a Python value) as this field's value.

        Raises InputError (or UnitError) with one line that names the field.
        """
        where = f"{where}{self.name}"
        if given is None or (isinstance(given, str) and not given.strip()):
            if self.required:
                raise InputError("is missing", where=where, expected=self.expected(), todo=self.help)
            return None
        try:
            if self.kind in ("counts", "numbers", "series", "records") and not isinstance(given, str | list | tuple):
                raise InputError(f"{str(given)[:80]!r} is not a list")
            return getattr(self, f"_read_{self.kind}")(given)
        except InputError as error:
            raise type(error)(
                error.what, where=where, expected=error.expected or self.expected(), todo=error.todo
            ) from None

    def _bounded(self, value: float, shown: Any) -> float:
        if not math.isfinite(value):
            raise InputError(f"{shown!r} is not a finite number")
        if 0.0 < abs(value) < _LEAST:
            raise InputError(f"{shown!r} is too near nothing to be meant", expected="0, or a larger number")
        if not self.low <= value <= self.high:
            unit = "" if self.unit in ("", "1") else f" {self.unit}"
            low, high = (max(self.low, 0.0), min(self.high, 1.0)) if self.kind == "share" else (self.low, self.high)
            raise InputError(
                f"{shown!r} is outside what is possible",
                expected=f"{low:g} to {high:g}{unit}",
                todo="check the number and its unit",
            )
        return value

    def _read_number(self, given: Any) -> float:
        if isinstance(given, bool):
            raise InputError(f"{given!r} is not a number")
        if isinstance(given, int | float):
            if isinstance(given, int) and abs(given) > 10**300:  # longer than any float, and than any line
                raise InputError("is too large to be a number here")
            if not self.bare and self.unit not in ("", "1"):
                raise UnitError(f"{given!r} has no unit", expected=f"text such as '{given:g} {self.unit}'")
            return self._bounded(float(given), given)
        return self._bounded(units.parse(str(given), self.unit, bare=self.bare), str(given))

    def _read_share(self, given: Any) -> float:
        text = str(given).strip()
        value, unit = units.split(text)
        if unit in ("%", "percent"):
            value /= 100.0
        elif unit:
            raise UnitError(f"{text!r} is not a share")
        elif value > 1:
            raise InputError(f"{text!r} is more than 1 and has no % sign", expected=f"{text}% or {value / 100:g}")
        if not 0 <= value <= 1:
            raise InputError(f"{text!r} is not between 0 and 100 %")
        return self._bounded(value, text)

    def _read_counts(self, given: Any) -> tuple[int, ...]:
        parts = given.replace(";", ",").split(",") if isinstance(given, str) else list(given)
        parts = [p for p in parts if str(p).strip()]
        if not parts or len(parts) > _MOST_COUNTS:
            raise InputError(f"{len(parts)} counts given", expected=f"1 to {_MOST_COUNTS} whole numbers")
        counts = []
        for place, part in enumerate(parts, 1):
            try:
                number = float(str(part))
                if number != int(number):
                    raise ValueError
            except (ValueError, OverflowError):
                raise InputError(
                    f"count {place} is {str(part).strip()!r}", expected="whole numbers such as 12,40,7"
                ) from None
            counts.append(int(self._bounded(number, part)))
            if number < 0:
                raise InputError(f"count {place} is {number:g}", expected="no negative counts")
        return tuple(counts)

    def _read_numbers(self, given: Any) -> tuple[float, ...]:
        parts = [p for p in (given.replace(";", ",").split(",") if isinstance(given, str) else list(given))]
        parts = [p for p in parts if str(p).strip()]
        if not parts or len(parts) > _MOST_COUNTS:
            raise InputError(f"{len(parts)} numbers given", expected=f"1 to {_MOST_COUNTS} numbers")
        unit = units.split(str(parts[-1]))[1] if isinstance(given, str) else ""
        if unit:  # "1.2, 0.9 %": the unit after the last number stands for all that have none
            parts = [p if units.split(str(p))[1] else f"{str(p).strip()} {unit}" for p in parts]
        return tuple(self._read_number(p) for p in parts)

    def _read_choice(self, given: Any) -> str:
        text = " ".join(str(given).strip().lower().replace("_", "-").split())
        text = (self.aliases or {}).get(text, text)
        for choice in self.choices:
            if text == choice.lower():
                return choice
        near = difflib.get_close_matches(text, [c.lower() for c in self.choices], 1)
        hint = f"did you mean {near[0]}?" if near else ""
        raise InputError(f"{str(given)[:80]!r} is not known", expected="one of " + ", ".join(self.choices), todo=hint)

    def _read_text(self, given: Any) -> str:
        text = " ".join(str(given).split())
        if len(text) > 2000 or not text.isprintable():
            raise InputError(
                "text is too long or has unprintable characters", expected="one line, 2,000 characters at most"
            )
        return text

    def _read_flag(self, given: Any) -> bool:
        if isinstance(given, bool):
            return given
        text = str(given).strip().lower()
        if text in _YES | _NO:
            return text in _YES
        raise InputError(f"{str(given)[:80]!r} is neither yes nor no")

    def _read_date(self, given: Any) -> date:
        return read_date(given)

    def _read_series(self, given: Any) -> tuple[tuple[date, float], ...]:
        if not isinstance(given, str):
            if not all(isinstance(pair, list | tuple) and len(pair) == 2 for pair in given):
                raise InputError("holds something else than a date and a value")
            rows = [(str(d), v) for d, v in given]
        elif given.lower().endswith(".csv") and "\n" not in given:
            rows = _csv_series(Path(given))
        else:
            rows = []
            for chunk in given.replace("\n", ";").split(";"):
                parts = chunk.replace(",", " ").split(None, 1)
                if len(parts) == 2:
                    rows.append((parts[0], parts[1]))
                elif parts:
                    raise InputError(
                        f"{chunk.strip()[:80]!r} is not a date and a value", expected="YYYY-MM-DD value; ..."
                    )
        out = [(read_date(d), self._bounded(_loose(v, self.unit), v)) for d, v in rows]
        if not out:
            raise InputError("holds no values")
        return tuple(sorted(out))

    def _read_records(self, given: Any) -> tuple[dict[str, Any], ...]:
        if isinstance(given, str):
            rows: Sequence[Mapping[str, Any]] = [_pairs(chunk) for chunk in given.split(";") if chunk.strip()]
        else:
            rows = list(given)
        if not rows or len(rows) > 1000:
            raise InputError(f"{len(rows)} records given", expected="1 to 1,000 records")
        if not all(isinstance(row, Mapping) for row in rows):
            raise InputError("holds something else than named values")
        return tuple(read_all(self.fields, row, where=f"record {i}, ") for i, row in enumerate(rows, 1))


def _loose(value: Any, unit: str) -> float:
    return units.parse(str(value), unit, bare=True)


def _pairs(chunk: str) -> dict[str, str]:
    pairs = {}
    for part in chunk.split(","):
        name, sign, value = part.partition("=")
        if not sign:
            raise InputError(f"{part.strip()[:80]!r} has no '='", expected="name=value, name=value; ...")
        pairs[name.strip()] = value.strip()
    return pairs


def _csv_series(path: Path) -> list[tuple[str, str]]:
    import csv

    try:
        if path.stat().st_size > _MOST_FILE_BYTES:
            raise InputError(f"{path.name} is larger than 20 MB")
        with path.open(newline="", encoding="utf-8-sig") as handle:
            rows = [r for r in csv.reader(handle) if r and any(c.strip() for c in r)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"file {path.name!r} cannot be read ({error})", todo="give the path of a CSV file") from None
    if rows and not any(c.isdigit() for c in rows[0][0]):
        rows = rows[1:]
    for number, row in enumerate(rows, 2):
        if len(row) < 2:
            raise InputError(f"file {path.name!r} row {number} has one column", expected="columns date and value")
    return [(row[0], row[1]) for row in rows]


def read_date(given: Any) -> date:
    """A calendar date from ``YYYY-MM-DD`` or a date. Raises InputError outside 1850 to 2200."""
    if isinstance(given, date):
        found = date(given.year, given.month, given.day)
    else:
        text = str(given).strip()
        try:
            if len(text) != 10:
                raise ValueError
            found = date.fromisoformat(text)
        except ValueError:
            raise InputError(f"{text[:80]!r} is not a calendar date", expected="a date YYYY-MM-DD") from None
    if not _FIRST_YEAR <= found.year <= _LAST_YEAR:
        raise InputError(f"{found} is out of the calendar used here", expected=f"a year {_FIRST_YEAR} to {_LAST_YEAR}")
    return found


def read_all(
    fields: Sequence[Field], given: Mapping[str, Any], where: str = "", *, fill: bool = True
) -> dict[str, Any]:
    """Every field's value from a mapping of text; unknown names are refused, absent ones take their default."""
    names = {f.name for f in fields}
    for name in given:
        if name not in names:
            near = difflib.get_close_matches(str(name), names, 1)
            todo = f"did you mean {near[0]}?" if near else ""
            raise InputError(
                "is not asked for",
                where=f"{where}{str(name)[:60]}",
                expected="one of " + ", ".join(sorted(names)),
                todo=todo,
            )
    out = {}
    for f in fields:
        value = f.read(given.get(f.name), where)
        out[f.name] = f.default if value is None and fill else value
    return out
