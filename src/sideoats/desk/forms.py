"""Forms made from fields: what a question or an evidence kind asks for becomes boxes, and boxes become values.

Nothing about a question is written here: units, bounds, choices, hints and errors all come from its own `Field`s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.ledger.evidence import DaysField, JsonField, NameField, QuantityField, read_value
from sideoats.schema import Field

FEW_CHOICES = 5
RECORD_ROWS = 3
_MOST_ROWS = 40
# Units that a person here may have in hand; those of the field's own kind are offered beside its box.
_COMMON = (
    "ac", "ft", "in", "lb", "ton", "kg", "lb/ac", "kg/ha", "bu", "bu/ac", "ton/ac", "USD/bu", "USD/cwt", "USD/lb",
    "USD/ton", "USD/ac", "USD/ha", "USD/head", "USD", "USD/bu/month", "USD/day", "USD/head/day", "F", "C", "mph",
    "m/s", "inch", "mm", "1/ft", "1/m", "1/ac", "1/ft**2", "gal/ac", "lb/day", "kg/day", "W/m^2", "MJ/m^2", "%", "ppm",
    "mg/kg", "day", "month", "year", "head", "bale", "lb/bu", "psi", "gpm", "mile", "yd",
)  # fmt: skip


@dataclass
class Box:
    """One thing to fill in.

    Attributes
    ----------
    shape : "text", "number", "counts", "choice", "pick" (many choices), "flag", "date", "lines", "records"
    units : units to choose from; the first is the field's own, "" stands in front where one must be chosen
    rows : for records, a list of lists of boxes
    """

    name: str
    label: str
    hint: str
    shape: str
    required: bool = False
    value: str = ""
    unit: str = ""
    units: tuple[str, ...] = ()
    choices: tuple[str, ...] = ()
    error: str = ""
    example: str = ""
    rows: list[list[Box]] = field(default_factory=list)

    @property
    def id(self) -> str:
        """Its id in the page."""
        return "f-" + self.name.replace(".", "-")


def label_of(f: Field) -> str:
    """A field's name as a label."""
    text = f.name.replace("_", " ")
    return text[:1].upper() + text[1:]


@lru_cache(maxsize=512)
def units_for(unit: str) -> tuple[str, ...]:
    """Units of the same kind as `unit`, `unit` first; a share of a whole starts blank, so that one must be chosen.

    A nitrate result read in percent and typed beside "ppm" would be wrong ten-thousandfold: nothing is preselected.
    """
    if unit in ("", "1"):
        return ()
    own = {unit}
    out = [unit]
    for other in _COMMON:
        try:
            pair = units.conversion(other, unit)
        except UnitError:
            continue
        if other not in own and (pair != (1.0, 0.0) or other == unit):
            out.append(other)
    ratios = {"%", "ppm", "mg/kg", "percent"}
    return ("", *out) if unit in ratios and len(out) > 1 else tuple(out)


def boxes(
    fields: Sequence[Field], given: Mapping[str, str] | None = None, errors: Mapping[str, str] | None = None,
    prefix: str = "", rows: int = RECORD_ROWS,
) -> list[Box]:  # fmt: skip
    """Boxes for fields, filled with what was typed before and marked where it was refused."""
    given, errors = given or {}, errors or {}
    return [_box(f, given, errors, prefix, rows) for f in fields]


def _box(f: Field, given: Mapping[str, str], errors: Mapping[str, str], prefix: str, rows: int) -> Box:
    name = prefix + f.name
    shape, offered, choices = _shape(f)
    value = given.get(name, default_text(f))
    box = Box(
        name, label_of(f), f.help, shape, f.required, value, given.get(name + ".unit", ""), offered, choices,
        errors.get(name, ""), f.example or _usual(f),
    )  # fmt: skip
    if shape == "records":
        box.rows = [boxes(f.fields, given, errors, f"{name}.{at}.") for at in range(min(rows, _MOST_ROWS))]
    return box


def _shape(f: Field) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    if isinstance(f, QuantityField):
        return "number", ("", *f.units) if len(f.units) > 1 else f.units, ()
    if isinstance(f, JsonField | DaysField):
        return "lines", (), ()
    if isinstance(f, NameField):
        return "text", (), ()
    if f.kind == "choice":
        return ("choice" if len(f.choices) <= FEW_CHOICES else "pick"), (), f.choices
    shape = {
        "number": "number", "numbers": "number", "share": "number", "counts": "counts", "text": "text", "flag": "flag",
        "date": "date", "series": "lines", "records": "records",
    }[f.kind]  # fmt: skip
    if f.kind == "share":
        return shape, ("%",), ()
    return shape, units_for(f.unit) if shape == "number" else (), ()


def default_text(f: Field) -> str:
    """A field's default as a person would type it."""
    if f.default is None:
        return ""
    if isinstance(f.default, bool):
        return "yes" if f.default else "no"
    if f.kind == "share":
        return f"{f.default * 100:g}"
    if isinstance(f.default, int | float):
        return f"{f.default:g}"
    if isinstance(f.default, list | tuple):
        return ", ".join(str(v) for v in f.default)
    return str(f.default)


def _usual(f: Field) -> str:
    return {"counts": "12, 40, 7", "share": "27 %", "date": "YYYY-MM-DD", "flag": "yes or no"}.get(f.kind, "")


def typed(
    fields: Sequence[Field], get: Callable[[str], str], prefix: str = "", rows: int = RECORD_ROWS
) -> dict[str, Any]:
    """What was typed, as `Field.read` takes it: text with its unit, a list of mappings for records; no blanks."""
    out: dict[str, Any] = {}
    for f in fields:
        name = prefix + f.name
        if f.kind == "records":
            listed = [typed(f.fields, get, f"{name}.{at}.") for at in range(min(rows, _MOST_ROWS))]
            usual = {sub.name: default_text(sub) for sub in f.fields}
            filled = [row for row in listed if any(str(value) != usual[key] for key, value in row.items())]
            if filled:
                out[f.name] = filled
            continue
        text = get(name)
        if text:
            out[f.name] = with_unit(f, text, get(name + ".unit"))
    return out


def with_unit(f: Field, text: str, unit: str) -> str:
    """A number and the unit chosen beside it; a unit typed into the box itself wins."""
    if f.kind == "share":
        return text if text.rstrip().endswith("%") or not _is_number(text) else f"{text} %"
    if f.kind == "numbers" and unit:
        parts = [part.strip() for part in text.replace(";", ",").split(",")]
        return text if any(not _is_number(part) for part in parts if part) else f"{text} {unit}"
    if isinstance(f, QuantityField) or f.kind == "number":
        if not unit and isinstance(f, QuantityField) and len(f.units) == 1:
            unit = f.units[0]
        return f"{text} {unit}" if unit and _is_number(text) else text
    return text


def _is_number(text: str) -> bool:
    try:
        return not units.split(text)[1]
    except UnitError:
        return False


def read(fields: Sequence[Field], given: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """Values of what was typed, and one line for each field that was refused.

    Unlike `read_all` it goes on after the first refusal, so that a person sees all of them at once.
    """
    values: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for f in fields:
        try:
            values[f.name] = read_value(f, given.get(f.name)) if f.kind == "records" else f.read(given.get(f.name))
        except InputError as error:
            errors[f.name] = _line(error)
    return values, errors


def _line(error: InputError) -> str:
    parts = [error.what, f"expected {error.expected}" if error.expected else "", error.todo]
    text = "; ".join(part for part in parts if part)
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) else ".")


def shown_value(f: Field, value: Any) -> str:
    """A value inside (canonical units) as it would be typed into the field's box, without its unit."""
    if value is None or value == "" or (isinstance(value, float) and value != value):
        return ""
    if f.kind == "flag":
        return "yes" if value else "no"
    if f.kind == "share":
        return f"{float(value) * 100:.6g}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return ", ".join(f"{v:g}" if isinstance(v, int | float) else str(v) for v in value)
    return str(value)
