"""Tables of the office: farms, fields, herds, counts, soil slips, weights, one a row, from CSV or a spreadsheet.

Columns are told by their headings, in words of either language, or by a mapping, a small TOML file::

    kind = "place"                # a kind of evidence
    date = "2026-09-14"           # of rows without a date of their own

    [columns]                     # field = its column; place, farm and seen say of what, whose and when a row is
    place = "Field id"
    name = "Field"
    acres = { column = "Size", unit = "ac" }

    [constants]                   # fields that are the same for all rows
    kind = "field"

A row's own words go through the same door as words typed by hand: units, other spellings, plausible ranges. A table is
taken whole or not at all: where a row cannot be used nothing is taken, and every such row is named.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from sideoats.errors import InputError
from sideoats.intake.quotes import place_id
from sideoats.intake.rows import Table, calendar_day, plain_name, read_text, toml_table
from sideoats.intake.sheets import is_spreadsheet, read_sheet
from sideoats.intake.taken import Draft, Format, Head, Taken
from sideoats.ledger import NewEntry, evidence_kinds
from sideoats.ledger.drafts import draft
from sideoats.ledger.evidence import DaysField, EvidenceKind, JsonField
from sideoats.schema import Field
from sideoats.station import Rejected
from sideoats.words import Count, Name, Phrase, Reader, Said, has, languages, say, sentence

# What a column that says of what, whose and when is likely to be called; the rest go by the fields' own words.
RESERVED: Mapping[str, tuple[str, ...]] = {
    "place": ("place", "place id", "field id", "id", "field", "pasture", "pen", "lot", "herd", "bin", "trap", "lugar",
              "parcela", "labor", "potrero", "hato", "corral", "clave"),
    "farm": ("farm", "farm id", "ranch", "client", "grower", "rancho", "cliente", "productor"),
    "seen": ("seen", "date", "day", "sampled", "sample date", "date sampled", "fecha", "dia", "día"),
}  # fmt: skip
_UNIT = re.compile(r"\s*[(\[]([^)\]]{1,20})[)\]]\s*$")
_KEYS = {"kind", "date", "columns", "constants", "sheet"}
_FIELD_NOTE = {"place": "take.table.place", "farm": "take.table.farm", "seen": "take.table.seen"}


@dataclass(frozen=True)
class Mapped:
    """A mapping that was read: field or reserved word -> (column, unit); the same for all rows; the day of undated
    rows."""

    kind: str
    columns: Mapping[str, tuple[str, str]]
    constants: Mapping[str, str]
    date: str = ""


def kinds() -> dict[str, EvidenceKind]:
    """Kinds of evidence that a table may hold: those that a person may type and a file may bring."""
    return {name: k for name, k in sorted(evidence_kinds().items()) if {"form", "file"} <= set(k.doors)}


def fields_of(kind: str) -> dict[str, Field]:
    """Fields of a kind that a cell can hold. Raises InputError where there is no such kind."""
    known = kinds()
    if kind not in known:
        raise InputError(f"{kind[:60]!r} is no kind of a table", where="kind", expected="one of " + ", ".join(known))
    return {n: f for n, f in known[kind].fields.items() if not isinstance(f, DaysField | JsonField)}


def told_columns(header: Sequence[str], kind: str) -> dict[str, tuple[str, str]]:
    """Which heading holds which field, by its words in any language: field -> (heading, unit in its brackets)."""
    words = _words(kind)
    found: dict[str, tuple[str, str]] = {}
    for heading in header:
        unit = _UNIT.search(heading)
        name = words.get(plain_name(_UNIT.sub("", heading)))
        if name and name not in found:
            found[name] = (heading, unit[1].strip() if unit else "")
    return found


def _words(kind: str) -> dict[str, str]:
    """Plain word -> field. A field's own name stands before what else a heading may be called."""
    own = fields_of(kind)
    out = {plain_name(name): name for name in own}
    for name in own:
        for language in languages():
            if has(f"label.{name}", language):
                out.setdefault(plain_name(sentence(say(f"label.{name}"), Reader(language))), name)
    for reserved, spellings in RESERVED.items():
        if not (kind == "farm" and reserved == "place"):
            for spelling in spellings:
                out.setdefault(plain_name(spelling), reserved)
    return out


def read_table_mapping(mapping: str | Path | Mapping[str, Any], header: Sequence[str]) -> Mapped:
    """A mapping file, or its content, checked against a table. Raises InputError naming all that does not fit."""
    if isinstance(mapping, Mapping):
        rules, where = dict(mapping), "mapping"
    else:
        where = Path(mapping).name
        try:
            rules = toml_table(read_text(mapping))
        except (ValueError, RecursionError) as error:
            raise InputError(f"is not TOML ({error})", where=where) from None
    wrong = [f"{key!r} is not a key" for key in rules if key not in _KEYS]
    kind = str(rules.get("kind", ""))
    own = fields_of(kind)
    columns: dict[str, tuple[str, str]] = {}
    for name, rule in dict(rules.get("columns") or {}).items():
        column, unit = (rule.get("column", ""), rule.get("unit", "")) if isinstance(rule, Mapping) else (rule, "")
        if name not in own and name not in RESERVED:
            wrong.append(f"{name!r} is no field of {kind}")
        elif str(column) not in header:
            wrong.append(f"there is no column {str(column)[:40]!r}")
        else:
            columns[name] = str(column), str(unit)
    constants = {str(k): str(v) for k, v in dict(rules.get("constants") or {}).items()}
    wrong += [f"{name!r} is no field of {kind}" for name in constants if name not in own and name not in RESERVED]
    if not columns:
        wrong.append("it names no column")
    if wrong:
        raise InputError("; ".join(wrong), where=where, expected="fields of the kind, and columns of the table")
    return Mapped(kind, columns, constants, str(rules.get("date", "")))


def read_office_table(
    path: str | Path,
    *,
    kind: str = "",
    mapping: str | Path | Mapping[str, Any] | None = None,
    sheet: str = "",
    day: str = "",
    farm: str = "",
    place: str = "",
) -> Taken:
    """Entries of a table, all of them or none; see the module.

    Parameters
    ----------
    kind : kind of evidence, where no mapping says it
    mapping : path of a mapping, or its content; left out, headings tell
    sheet : of a spreadsheet
    day, farm, place : of rows that do not say their own

    Raises
    ------
    InputError : unreadable, no such kind, a mapping that does not fit, or no heading that is understood
    """
    table = read_sheet(path, sheet)
    if mapping is None:
        columns = told_columns(table.header, kind)
        if not columns:
            what = f"has no heading that names a field of {kind}: {', '.join(table.header[:12])}"
            raise InputError(what, where=table.name, todo="give mapping=")
        rules = Mapped(kind, columns, {})
    else:
        rules = read_table_mapping(mapping, table.header)
    drafts: list[Draft] = []
    rejected = list(table.rejected)
    known = {rules.kind: evidence_kinds()[rules.kind]}
    spare = {"seen": rules.date or day, "farm": farm, "place": place}
    for at, line in enumerate(table.lines):
        try:
            item = _row(table, at, rules, {**rules.constants, **{k: v for k, v in spare.items() if v}})
            draft(_entry(item), known)
            drafts.append(item)
        except (InputError, ValueError) as error:
            rejected.append(Rejected(line, str(error)))
    rejected.sort(key=lambda row: row.line)
    if not drafts and not rejected:
        raise InputError("holds no rows", where=table.name, expected="a header and rows under it")
    notes = _notes(table, rules)
    if rejected:
        rows = len(table.lines) + len(table.rejected)
        notes.append(say("take.table.refused", n=Count(len(rejected)), of=Count(rows)))
        drafts = []
    return Taken(tuple(drafts), tuple(rejected), tuple(notes), whole=True, onto=rules.kind == "place")


def _row(table: Table, at: int, rules: Mapped, spare: Mapping[str, str]) -> Draft:
    cells = {}
    for name, (column, unit) in rules.columns.items():
        text = table.rows[at][table.header.index(column)].strip()
        cells[name] = f"{text} {unit}" if text and unit and re.search(r"\d$", text) else text
    cells = {**spare, **{name: text for name, text in cells.items() if text}}
    seen, farm, place = (cells.pop(name, "") for name in ("seen", "farm", "place"))
    farm_id = place_id(farm)
    if rules.kind == "farm":
        farm_id, place = farm_id or place_id(cells.get("name", "")), ""
        cells.setdefault("name", farm)
    if rules.kind == "place":
        cells.setdefault("name", place)
        place = place or cells["name"]
    where = _place(place, farm_id, rules.kind)
    return Draft(rules.kind, cells, _moment(seen), place=where, farm=farm_id or None, line=table.lines[at])


def _place(text: str, farm: str, kind: str) -> str | None:
    """An id: as it is where it looks like one, else made of the words; of a place of a farm with the farm before it."""
    if not text:
        return None
    if re.fullmatch(r"[a-z0-9]+(?:[-.][a-z0-9]+)+", text):
        return text
    plain = place_id(text)
    return f"{farm}.{plain}" if farm and plain and "." not in text else plain or None


def _moment(text: str) -> datetime:
    if not text:
        raise ValueError("has no date; give date=YYYY-MM-DD for rows without their own")
    day: date = calendar_day(text[:10] if re.match(r"\d{4}-\d\d-\d\d", text) else text)
    return datetime.combine(day, time(12), tzinfo=UTC)


def _entry(item: Draft) -> NewEntry:
    return NewEntry(item.kind, item.body, place=item.place, farm=item.farm, seen_at=item.seen_at, id=item.id)


def _notes(table: Table, rules: Mapped) -> list[str | Said]:
    """Which column is read as what, and which are not read."""
    notes: list[str | Said] = [say("take.table.rows", n=Count(len(table)), kind=Phrase(say(f"kind.{rules.kind}")))]
    used = {column for column, _ in rules.columns.values()}
    for name, (column, unit) in rules.columns.items():
        code = _FIELD_NOTE.get(name) or (f"label.{name}" if has(f"label.{name}", "en") else "take.table.seen")
        told = {"column": Name(column), "field": Phrase(say(code))}
        notes.append(say("take.table.column_in", unit=Name(unit), **told) if unit else say("take.table.column", **told))
    spare = [column for column in table.header if column and column not in used]
    if spare:
        notes.append(say("take.table.unread", n=Count(len(spare)), columns=Name(", ".join(spare[:12]))))
    return notes


def _take(path: Path, options: dict[str, Any]) -> Taken:
    if not options.get("kind") and not options.get("mapping"):
        expected = "one of " + ", ".join(kinds())
        raise InputError(
            "does not say what its rows are", where=path.name, todo="give kind= or mapping=", expected=expected
        )
    when = options.get("date")
    return read_office_table(
        path,
        kind=options.get("kind") or "",
        mapping=options.get("mapping"),
        sheet=options.get("sheet") or "",
        day=when.isoformat()[:10] if when is not None else "",
        farm=options.get("farm") or "",
        place=options.get("place") or "",
    )


def _is_table(head: Head) -> bool:
    return is_spreadsheet(head.data)


FORMATS = (
    Format(
        "office-table",
        "farms, fields, herds, counts, slips or weights, one a row: CSV or spreadsheet, by headings or a mapping",
        _take,
        (
            Field("kind", "text", "what a row is: farm, place, or a kind of evidence such as leaf_counts"),
            Field("mapping", "text", "path of a mapping TOML: which column holds which field"),
            Field("sheet", "text", "sheet of a spreadsheet, where several hold rows"),
            Field("date", "date", "day of rows without a date of their own"),
            Field("farm", "text", "farm of rows that name none"),
            Field("place", "text", "place of rows that name none"),
        ),
        _is_table,
    ),
)
