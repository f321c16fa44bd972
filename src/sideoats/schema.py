"""Typed fields: what a question asks for and what an evidence kind holds, read from text with one clear line on error.

A field turns text (or a Python value) into one of:

=========  ==========================================================================================
kind       value inside
=========  ==========================================================================================
number     float in ``unit``
share      float 0 to 1; written ``27%`` or ``0.27``
counts     tuple of whole numbers >= 0, written ``12,40,7``; a comma that may mark thousands is refused
numbers    tuple of floats in ``unit``, written ``"1.2%, 0.9%"`` or ``"1.2, 0.9 %"``
choice     one of ``choices``
crop       a word of the list of crops, kept as it was written; see `sideoats.crops`
text       text of one line
flag       True or False; written yes/no
date       datetime.date; written YYYY-MM-DD
series     tuple of (date, float in ``unit``): ``date value; date value``, or the rows of a CSV file
file       `sideoats.document.Document`: what a file holds
records    tuple of dicts, written ``name=prairie hay, price=90 USD/ton; name=...``
=========  ==========================================================================================

Reading never opens a file. Where paths are allowed (the command line), `with_files` opens them first.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

from sideoats import listed, units
from sideoats.crops import by_the_bushel, known_crop, spelling
from sideoats.document import Document, open_document
from sideoats.errors import InputError, UnitError
from sideoats.records import dataclass

KINDS = (
    "number", "share", "counts", "numbers", "choice", "crop", "text", "flag", "date", "series", "file", "records",
)  # fmt: skip
_YES, _NO = {"yes", "y", "true", "1", "on"}, {"no", "n", "false", "0", "off", "none"}
_FIRST_YEAR, _LAST_YEAR = 1850, 2200
_LEAST = 1e-12  # nothing that is measured here is smaller in its unit; dividing by less overflows
_MOST_COUNTS = 100_000
_COUNT_SLACK = 3.0  # a count this far over the most allowed may still have been meant, as one number
_MOST_TOLD = 3  # contradictions told in one line
_FEW = 3  # missing fields whose meaning is told
_MOST_WRONG = 12  # faults told in one line: all that a person makes, not all that a hostile file holds
_LESS_THAN = re.compile(r"^\s*(?:<=?|≤|less than|under|below)\s*(?=[\d.])", re.IGNORECASE)
_POINTED = re.compile(r"^\s*\d{1,3}\.\d{3}(?!\d)")
_CLOCK = re.compile(r"(\d{1,2})(?::([0-5]\d))?\s*(am|pm|a\.\s?m\.?|p\.\s?m\.?|h)?", re.IGNORECASE)
_NOT_DETECTED = {"nd", "n.d.", "n/d", "not detected", "none detected", "non-detect", "bdl", "below detection"}


class Below(float):
    """A laboratory's result that says only "no more than this": the limit, which is what is reckoned with."""

    below = True


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
        last months, as records with ``on``), ``"history:KIND.FIELD"`` (that field's lists of all of them, joined),
        ``"place:ATTRIBUTE"``, ``"quote:COMMODITY"``, ``"quotes:COMMODITY"`` (all of them, a series),
        ``"setting:NAME"``, ``"station:VARIABLE"`` (of the station that stands for the place, once nothing else is
        known: `sideoats.outlook.soil`); the first that is known is taken; ``{crop}`` and other place attributes are
        filled in
    fresh_days : evidence older than this many days counts as not known
    detection : a laboratory's number may be written ``<100 ppm``, read as that limit, or ``ND``, read as this limit
        (common practice, no source); the value is then a `Below`. None where that is no way to write it
    least : a reading over 0 and under this is asked back: laboratories print nothing so small
    unclear : words that may mean more than one of the choices, and what to ask
    whole : laboratories print it without decimals, so that ``4.800 ppm`` is a slip or a European thousand
    fields : the fields of one record, for ``records``
    within : the first and last day that a date may be, counted from the day asked (``(-60, 0)``: in the last 60 days)
    by_bushel : a price by weight is turned into one by the bushel of the crop that the field `crop` names
    signed : a share is written so often without its % sign here that 0.3 may be 30 % or 0.3 %: text must carry it
    clock : an hour of the day may be written as a clock shows it, ``10:30``, ``10:30 pm`` or ``noon``
    not_above : a field of the same question or record, in the same unit, that this one cannot exceed
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
    detection: float | None = None
    whole: bool = False
    least: float = 0.0
    unclear: Mapping[str, str] | None = None
    fields: tuple[Field, ...] = ()
    within: tuple[int, int] | None = None
    by_bushel: bool = False
    signed: bool = False
    clock: bool = False
    not_above: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"field {self.name}: kind {self.kind!r} is not one of {KINDS}")
        lost = [word for word, meant in (self.aliases or {}).items() if meant not in self.choices]
        if lost:
            raise ValueError(f"field {self.name}: {lost[0]!r} stands for no choice")

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
            "counts": "whole numbers such as 12, 40, 7",
            "numbers": f"numbers in {self.unit}",
            "choice": "one of " + ", ".join(self.choices),
            "crop": "a crop's usual name, such as winter wheat, grain sorghum or native grass",
            "text": "one line of text",
            "flag": "yes or no",
            "date": "a date YYYY-MM-DD",
            "series": "rows of a date and a value",
            "file": "a file",
            "records": "name=..., ...; name=...",
        }
        return words[self.kind]

    def read(self, given: Any, where: str = "") -> Any:
        """`given` (text or a Python value) as this field's value.

        Raises InputError (or UnitError) with one line that names the field.
        """
        where = f"{where}{self.name}"
        if _is_blank(given):
            if self.required:
                raise self.absent(where.removesuffix(self.name))
            return None
        try:
            taken = str | list | tuple if self.kind != "series" else str | list | tuple | Document
            if self.kind in ("counts", "numbers", "series", "records") and not isinstance(given, taken):
                raise InputError(f"{str(given)[:80]!r} is not a list")
            return getattr(self, f"_read_{self.kind}")(given)
        except InputError as error:
            raise type(error)(
                error.what, where=where, expected=error.expected or self.expected(), todo=error.todo
            ) from None

    def absent(self, where: str = "") -> InputError:
        """What is raised where the field is required and not given."""
        return InputError("is missing", where=f"{where}{self.name}", expected=self.expected(), todo=self.help)

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
        if 0.0 < value < self.least:
            raise InputError(
                f"{shown!r} is less than laboratories print: is it thousands, or percent?",
                expected=f"0 or ND, the laboratory's limit, or {self.least:g} {self.unit} or more",
                todo="read the slip again",
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
        text, below = _with_sign(str(given)) if self.unit == "degree" else str(given), False
        text = _hours_of_clock(text) if self.clock else text
        if self.detection is not None:
            if " ".join(text.lower().split()) in _NOT_DETECTED:
                return Below(self._bounded(self.detection, text))
            text, below = _LESS_THAN.sub("", text), bool(_LESS_THAN.match(text))
        if (
            self.whole
            and _POINTED.match(text)
            and units.conversion(units.split(text)[1] or self.unit, self.unit)[0] <= 1
        ):
            raise InputError(
                f"{str(given)!r} has three decimals, which laboratories do not print: does the point mark a thousand?",
                expected="the number as 4,800 or as 4.8, with its unit",
            )
        value = self._bounded(units.parse(text, self.unit, bare=self.bare), str(given))
        return Below(value) if below else value

    def _read_share(self, given: Any) -> float:
        text = str(given).strip()
        value, unit = units.split(text)
        if unit in ("%", "percent", "pct"):
            value /= 100.0
        elif unit:
            raise UnitError(f"{text!r} is not a share")
        elif self.signed and isinstance(given, str) and 0 < value <= 1:
            raise InputError(f"{text!r} has no % sign", expected=f"{text}%, or {100 * value:g}% where that is meant")
        elif value > 1:
            raise InputError(f"{text!r} is more than 1 and has no % sign", expected=f"{text}% or {value / 100:g}")
        if not 0 <= value <= 1:
            raise InputError(f"{text!r} is not between 0 and 100 %")
        return self._bounded(value, text)

    def _read_counts(self, given: Any) -> tuple[int, ...]:
        whole = not (isinstance(given, str) or self.least or len(given) > _MOST_COUNTS) and {*map(type, given)} == {int}
        if whole and max(self.low, 0) <= min(given) and max(given) <= self.high:
            return tuple(given)  # as the ledger keeps them
        # up to twice the bound a thousand may be meant, and is then a slip: 1,200 podworms are no 1 and 200
        parts = (
            listed.items(given, lambda value: self._possible(value / 2), whole=True)
            if isinstance(given, str)
            else _not_blank(given)
        )
        if not parts or len(parts) > _MOST_COUNTS:
            raise InputError(f"{len(parts)} counts given", expected=f"1 to {_MOST_COUNTS} whole numbers")
        return tuple(self._read_count(part, place) for place, part in enumerate(parts, 1))

    def _read_count(self, part: Any, place: int) -> int:
        try:
            number, unit = (float(part), "") if isinstance(part, int | float) else units.split(str(part))
            if unit or number != int(number):
                raise ValueError
        except (ValueError, OverflowError, InputError):
            raise InputError(
                f"count {place} is {str(part).strip()[:80]!r}", expected="whole numbers such as 12, 40, 7"
            ) from None
        if number < 0:
            raise InputError(f"count {place} is {number:g}", expected="no negative counts")
        return int(self._bounded(number, part))

    def _possible(self, value: float, unit: str = "") -> bool:
        try:
            factor, offset = units.conversion(unit or self.unit, self.unit)
        except UnitError:
            return True
        slack = _COUNT_SLACK if self.kind == "counts" else 1.0
        return value * factor + offset <= self.high * slack

    def _read_numbers(self, given: Any) -> tuple[float, ...]:
        parts = _not_blank(given)
        if isinstance(given, str):
            last = _unit_of(given)
            parts = listed.items(given, lambda value: self._possible(value, last))
        if not parts or len(parts) > _MOST_COUNTS:
            raise InputError(f"{len(parts)} numbers given", expected=f"1 to {_MOST_COUNTS} numbers")
        if isinstance(given, str) and last:  # "1.2, 0.9 %": the last number's unit stands for all that have none
            parts = [p if _unit_of(p) or not re.search(r"\d", p) else f"{p} {last}" for p in parts]
        return tuple(self._read_number(p) for p in parts)

    def _read_choice(self, given: Any) -> str:
        if _not_one_word(given):
            raise InputError("is not a word", expected="one of " + ", ".join(self.choices))
        meant = self.spellings.get(spelling(str(given)))
        if meant is not None:
            return meant
        asked = {spelling(word): ask for word, ask in (self.unclear or {}).items()}.get(spelling(str(given)), "")
        if asked:
            several = f"{str(given)[:80]!r} can mean more than one"
            raise InputError(several, expected="one of " + ", ".join(self.choices), todo=asked)
        import difflib

        near = difflib.get_close_matches(spelling(str(given)), self.spellings, 1)
        hint = f"did you mean {self.spellings[near[0]]}?" if near else ""
        raise InputError(f"{str(given)[:80]!r} is not known", expected="one of " + ", ".join(self.choices), todo=hint)

    @cached_property
    def spellings(self) -> Mapping[str, str]:
        """Every way to write a choice, by its `spelling`, and the choice that it means."""
        known = {spelling(choice): choice for choice in self.choices}
        for written, meant in (self.aliases or {}).items():
            known.setdefault(spelling(written), meant)
        return known

    def _read_crop(self, given: Any) -> str:
        if not isinstance(given, str):
            raise InputError("is not a word")
        return known_crop(given)

    def _read_text(self, given: Any) -> str:
        if _not_one_word(given):
            raise InputError("is not text")
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
        if isinstance(given, Document):
            rows = _csv_series(given.text(), given.name)
        elif not isinstance(given, str):
            if not all(isinstance(pair, list | tuple) and len(pair) == 2 for pair in given):
                raise InputError("holds something else than a date and a value")
            rows = [(str(d), v) for d, v in given]
        elif "\n" not in given and given.strip().lower().endswith(".csv"):
            raise InputError(
                "names a file, and none is opened here",
                expected="the rows: YYYY-MM-DD value; ...",
            )
        else:
            rows = []
            first, _, rest = given.strip().partition("\n")
            if rest and not any(letter.isdigit() for letter in first):  # a table's header, pasted with its rows
                given = rest
            for chunk in given.replace("\n", ";").split(";"):
                parts = re.split(r"[,\s]+", chunk.strip(), maxsplit=1)
                if len(parts) == 2:
                    rows.append((parts[0], parts[1]))
                elif chunk.strip():
                    raise InputError(
                        f"{chunk.strip()[:80]!r} is not a date and a value", expected="YYYY-MM-DD value; ..."
                    )
        out = [(read_date(d), self._bounded(_loose(v, self.unit), v)) for d, v in rows]
        if not out:
            raise InputError("holds no values")
        return tuple(sorted(out))

    def _read_file(self, given: Any) -> Document:
        if not isinstance(given, Document):
            raise InputError("names a file, and none is opened here", expected="the file itself")
        return given

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


def _hours_of_clock(text: str) -> str:
    """`text` as hours of the day where a clock shows it so: ``10:30 pm`` is 22.5; other text unchanged."""
    plain = text.strip().lower()
    if plain in ("noon", "midday", "midnight"):
        return "0" if plain == "midnight" else "12"
    read = _CLOCK.fullmatch(plain)
    if read is None:
        return text
    hour, minute, half = int(read[1]), int(read[2] or 0), (read[3] or "")[:1]
    if half in ("a", "p"):
        if not 1 <= hour <= 12:
            raise InputError(f"{text.strip()!r} is no time of day", expected="such as 10:30 pm, or 22.5")
        hour = hour % 12 + (12 if half == "p" else 0)
    return f"{hour + minute / 60:g}"


def _with_sign(text: str) -> str:
    """``97.5 W`` as ``-97.5``: west and south are negative."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:°|deg(?:rees?)?)?\s*([NSEWnsew])\s*", text)
    return text if match is None else ("-" if match[2].lower() in "sw" else "") + match[1]


def _not_one_word(given: Any) -> bool:
    """Whether `given` is a list, a mapping or another object that `str` would turn into the program's own notation."""
    if isinstance(given, float):
        return not math.isfinite(given)
    return isinstance(given, bool | bytes | Mapping | set) or (
        isinstance(given, Sequence) and not isinstance(given, str)
    )


def _is_blank(given: Any) -> bool:
    return given is None or (isinstance(given, str) and not given.strip())


def _not_blank(given: Any) -> list[Any]:
    return [part for part in given if str(part).strip()]


def _unit_of(text: str) -> str:
    """The unit behind the last number of `text`, "" where none is."""
    last = re.split(r"[,;]|(?<=\d)\s+(?=\d)", text.strip(" ,;\n"))[-1]
    try:
        return units.split(_LESS_THAN.sub("", last))[1]
    except UnitError:
        return ""


def _pairs(chunk: str) -> dict[str, str]:
    pairs = {}
    for part in re.split(r",(?!(?<=\d,)\d{3}(?![\d=]))", chunk):  # not at the comma of "price=1,200 USD/ton"
        name, sign, value = part.partition("=")
        if not sign:
            raise InputError(f"{part.strip()[:80]!r} has no '='", expected="name=value, name=value; ...")
        pairs[name.strip()] = value.strip()
    return pairs


def _csv_series(text: str, name: str) -> list[tuple[str, str]]:
    """Date and value of each row of a table, its header left out; commas or blanks part them."""
    import csv

    try:
        rows = [r for r in csv.reader(text.splitlines()) if any(c.strip() for c in r)]
    except csv.Error as error:
        raise InputError(f"{name!r} cannot be read ({error})", expected="columns date and value") from None
    rows = [r if len(r) > 1 else r[0].split(None, 1) for r in rows]
    if rows and not any(c.isdigit() for c in rows[0][0]):
        rows = rows[1:]
    for number, row in enumerate(rows, 2):
        if len(row) < 2:
            raise InputError(f"{name!r} row {number} has one column", expected="columns date and value")
        if len(row) > 2 and re.fullmatch(r"\s*\d{1,3},\d{3}\D*", f"{row[1]},{row[2]}"):
            raise InputError(
                f"{name!r} row {number} can be read in two ways: {row[1]},{row[2]}",
                expected="columns date and value; no comma inside a number",
            )
    return [(row[0].strip(), row[1].strip()) for row in rows]


def with_files(fields: Sequence[Field], given: Mapping[str, Any]) -> dict[str, Any]:
    """`given` with every path in it opened: for the command line, never for what comes over a network.

    A field of kind ``file`` takes a path, a ``series`` one that ends in .csv. Raises InputError naming the field.
    """
    out = dict(given)
    for f in fields:
        value = out.get(f.name)
        if value is None or isinstance(value, Document) or (isinstance(value, str) and not value.strip()):
            continue
        if (
            f.kind == "records"
            and isinstance(value, str | Sequence)
            and any(sub.kind in ("file", "series") for sub in f.fields)
        ):
            rows = [_pairs(c) for c in value.split(";") if c.strip()] if isinstance(value, str) else value
            out[f.name] = [with_files(f.fields, row) if isinstance(row, Mapping) else row for row in rows]
        elif (f.kind == "file" and isinstance(value, str | Path)) or (f.kind == "series" and _names_csv(value)):
            try:
                out[f.name] = open_document(value)
            except InputError as error:
                raise InputError(
                    f"{error.where!r} {error.what}", where=f.name, expected=error.expected, todo=error.todo
                ) from None
    return out


def _names_csv(value: Any) -> bool:
    return isinstance(value, Path) or (
        isinstance(value, str) and "\n" not in value and value.strip().lower().endswith(".csv")
    )


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
    fields: Sequence[Field], given: Mapping[str, Any], where: str = "", *, fill: bool = True, on: date | None = None
) -> dict[str, Any]:
    """Every field's value from a mapping of text; unknown names are refused, absent ones take their default.

    Where the day asked is given (`on`), what contradicts it or itself is asked back: see `contradictions`.
    """
    wrong, missing = _unknown(fields, given, where), []
    out: dict[str, Any] = {}
    crop = str(given.get("crop") or next((f.default for f in fields if f.name == "crop"), ""))
    for f in fields:
        try:
            if f.required and _is_blank(given.get(f.name)):
                missing.append(f)
                continue
            typed = given.get(f.name)
            value = f.read(by_the_bushel(typed, crop) if f.by_bushel else typed, where)
        except InputError as error:
            wrong.append(error)
            continue
        out[f.name] = f.default if value is None and fill else value
    if missing:
        wrong.append(_all_missing(missing, where))
    if wrong:
        raise wrong[0] if len(wrong) == 1 else _together(wrong, where)
    if on is not None:
        refuse_contradictions(fields, out, on, where.strip())
    return out


def _meant(name: str, names: set[str]) -> list[str]:
    """The field that a strange name is like: nearly spelt so, else its end (`nitrate_form` is `form`), else near."""
    import difflib

    ends = sorted((known for known in names if name.endswith(f"_{known}")), key=len)[-1:]
    return difflib.get_close_matches(name, names, 1, 0.85) or ends or difflib.get_close_matches(name, names, 1)


def _unknown(fields: Sequence[Field], given: Mapping[str, Any], where: str) -> list[InputError]:
    names = {f.name for f in fields}
    strange = [str(name) for name in given if name not in names]
    if not strange:
        return []
    near = {name: _meant(name, names) for name in strange}
    meant = ", ".join(f"{found[0]} for {name[:60]}" for name, found in near.items() if found)
    return [
        InputError(
            "unknown field" if len(strange) == 1 else "unknown fields",
            where=where + ", ".join(name[:60] for name in strange[:_MOST_WRONG]),
            expected="one of " + ", ".join(sorted(names)),
            todo=f"did you mean {near[strange[0]][0] if len(strange) == 1 else meant}?" if meant else "",
        )
    ]


def _all_missing(missing: Sequence[Field], where: str) -> InputError:
    """One error for all that is missing: each with an example, and where they are few with what it is."""
    if len(missing) == 1:
        return missing[0].absent(where)
    shown = [f"{f.name} {f.expected()}".replace(f"{f.name} such as ", "") for f in missing]
    few = missing if len(missing) <= _FEW else ()
    return InputError(
        "are missing", where=where + ", ".join(f.name for f in missing), expected=", ".join(shown),
        todo="; ".join(f"{f.name}: {f.help}" for f in few if f.help),
    )  # fmt: skip


def _together(wrong: Sequence[InputError], where: str) -> InputError:
    """One line that tells all that is wrong."""
    told, more = [str(error).removeprefix(where) for error in wrong[:_MOST_WRONG]], len(wrong) - _MOST_WRONG
    return InputError(" | ".join(told) + (f" | and {more} more" if more > 0 else ""), where=where.strip())


def refuse_contradictions(fields: Sequence[Field], values: Mapping[str, Any], on: date, where: str) -> None:
    """Raise InputError with one line that tells all `contradictions`, where there are any."""
    wrong = contradictions(fields, values, on)
    if wrong:
        told, more = wrong[:_MOST_TOLD], len(wrong) - _MOST_TOLD
        raise InputError(
            "; ".join(told) + (f"; and {more} more" if more > 0 else ""), where=where,
            expected="dates that fit the day asked, and figures that fit each other", todo="check dates and figures",
        )  # fmt: skip


def contradictions(fields: Sequence[Field], values: Mapping[str, Any], on: date) -> list[str]:
    """What cannot be so on the day asked: a date outside ``within``, a value above its ``not_above``; rows too."""
    out = []
    for f in fields:
        value = values.get(f.name)
        if value is None:
            continue
        if f.within is not None and not f.within[0] <= (value - on).days <= f.within[1]:
            first, last = (on + timedelta(days=d) for d in f.within)
            out.append(f"{f.name} {value} does not fit {on}: it can be {first} to {last}")
        top = values.get(f.not_above) if f.not_above else None
        if top is not None and value > top:
            out.append(f"{f.name} {value:g} {f.unit} is above the {f.not_above}, {top:g} {f.unit}")
        if f.kind == "records":
            for number, row in enumerate(value, 1):
                out += [f"{f.name} row {number}: {wrong}" for wrong in contradictions(f.fields, row, on)]
    return out
