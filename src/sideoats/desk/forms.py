"""Forms made from fields: what a question or an evidence kind asks for becomes boxes, and boxes become values.

Nothing about a question is written here: units, bounds, choices, hints and errors all come from its own `Field`s.

Every control made from a field has a name that begins with `MARK`. A browser makes a form's controls properties of the
form, so that one named ``form``, ``action`` or ``submit`` would hide what a script needs of it; and no field can take
the place of a control of the page's own, such as the day asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any

from sideoats import units
from sideoats.crops import crop_names
from sideoats.desk import tongue
from sideoats.document import Document
from sideoats.errors import InputError, UnitError
from sideoats.ledger.evidence import DaysField, JsonField, NameField, QuantityField, read_value
from sideoats.schema import Field

MARK = "q."
FEW_CHOICES = 5
RECORD_ROWS = 3
_MOST_ROWS = 40
MOST_UPLOAD = 100_000  # bytes: what a file holds stands in its box afterwards, and a box takes no more
# Units that a person here may have in hand; those of the field's own kind are offered beside its box.
_COMMON = (
    "ac", "ft", "in", "lb", "ton", "kg", "lb/ac", "kg/ha", "bu", "bu/ac", "ton/ac", "USD/bu", "USD/cwt", "USD/lb",
    "USD/ton", "USD/ac", "USD/ha", "USD/head", "USD", "USD/bu/month", "USD/day", "USD/head/day", "F", "C", "mph",
    "m/s", "inch", "mm", "1/ft", "1/m", "1/ac", "1/ft**2", "gal/ac", "lb/day", "kg/day", "W/m^2", "MJ/m^2", "%", "ppm",
    "ppb", "mg/kg", "g/kg", "degree", "day", "month", "year", "head", "bale", "lb/bu", "psi", "gpm", "mile", "yd",
)  # fmt: skip


@dataclass
class Box:
    """One thing to fill in.

    Attributes
    ----------
    name : of its field, with the line of its record in front; `control` is what the browser sends
    shape : "text", "number", "counts", "choice", "pick" (many choices), "flag", "date", "lines", "file", "records"
    upload : whether a file may be chosen instead of typing; `called` is the name of the one chosen before
    units : units to choose from; the first is the field's own, "" stands in front where one must be chosen
    rows : for records, a list of lists of boxes
    foreign : marks a hint in English on a page that is not
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
    upload: bool = False
    called: str = ""
    rows: list[list[Box]] = field(default_factory=list)
    foreign: str = ""

    def words(self, choice: str) -> str:
        """A choice as the reader reads it; what is sent stays the same."""
        return tongue.plain(choice) if self.shape == "flag" else tongue.term(self.name.split(".")[-1], choice)

    @property
    def control(self) -> str:
        """The name of its control in the page."""
        return MARK + self.name

    @property
    def id(self) -> str:
        """Its id in the page."""
        return "f-" + self.name.replace(".", "-")


def label_of(f: Field) -> str:
    """A field's name as a label, in the reader's language."""
    text = tongue.named(f"label.{f.name}") or f.name.replace("_", " ")
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
        if other not in own and units.fits(other, unit) and units.conversion(other, unit) != (1.0, 0.0):
            out.append(other)
    ratios = {"%", "ppm", "ppb", "percent"}
    return ("", *out) if unit in ratios and len(out) > 1 else tuple(out)


def boxes(
    fields: Sequence[Field],
    given: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    prefix: str = "",
    rows: int = RECORD_ROWS,
    uploads: bool = False,
) -> list[Box]:
    """Boxes for fields, filled with what was typed before and marked where it was refused."""
    given, errors = given or {}, errors or {}
    return [_box(f, given, errors, prefix, rows, uploads) for f in fields]


def _box(f: Field, given: Mapping[str, str], errors: Mapping[str, str], prefix: str, rows: int, uploads: bool) -> Box:
    name = prefix + f.name
    shape, offered, choices = _shape(f)
    value = given.get(name, default_text(f))
    if f.kind == "crop" and value and value not in choices:
        choices = (value, *choices)  # another word for one of them, which stays
    box = Box(
        name,
        label_of(f),
        tongue.in_words(f.help),
        shape,
        f.required,
        value,
        given.get(name + ".unit", ""),
        offered,
        choices,
        errors.get(name, ""),
        _example(f),
        uploads and shape in ("lines", "file"),
        given.get(name + ".called", ""),
        foreign=tongue.foreign(f.help),
    )
    if shape == "records":
        box.rows = [
            boxes(f.fields, given, errors, f"{name}.{at}.", uploads=uploads) for at in range(min(rows, _MOST_ROWS))
        ]
    return box


def _shape(f: Field) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    if isinstance(f, QuantityField):
        return "number", ("", *f.units) if len(f.units) > 1 else f.units, ()
    if isinstance(f, JsonField | DaysField):
        return "lines", (), ()
    if isinstance(f, NameField):
        return "text", (), ()
    if f.kind == "crop":
        return "pick", (), crop_names()
    if f.kind == "choice":
        return ("choice" if len(f.choices) <= FEW_CHOICES else "pick"), (), f.choices
    shape = {
        "number": "number",
        "numbers": "number",
        "share": "number",
        "counts": "counts",
        "text": "text",
        "flag": "flag",
        "date": "date",
        "series": "lines",
        "file": "file",
        "records": "records",
    }[f.kind]
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


def _example(f: Field) -> str:
    if f.kind == "file" or (f.kind == "records" and any(sub.kind == "file" for sub in f.fields)):
        return ""  # it shows a path, and a form takes none
    if f.kind == "flag" and not f.example:
        return tongue.plain("yes") + tongue.plain("or") + tongue.plain("no")
    return f.example or {"counts": "12, 40, 7", "share": "27 %", "date": "YYYY-MM-DD"}.get(f.kind, "")


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
        if text and (f.kind == "file" or (f.kind == "series" and get(name + ".called"))):
            out[f.name] = Document(get(name + ".called") or label_of(f).lower(), text.encode("utf-8", "replace"))
        elif text:
            out[f.name] = with_unit(f, text, get(name + ".unit"))
    return out


def sent(form: Iterable[tuple[str, Any]], uploads: bool = False) -> dict[str, str]:
    """What was sent for the fields of a form: name of the box -> text, the mark taken off.

    A name without the mark, as in an address written by hand, fills the box too. Where
    uploads are taken, a file stands for the text of its box. Raises InputError for one that is too large or no text.
    """
    plain: dict[str, str] = {}
    marked: dict[str, str] = {}
    files: dict[str, str] = {}
    for name, value in form:
        if isinstance(value, str):
            (marked if name.startswith(MARK) else plain)[name.removeprefix(MARK)] = value
        elif uploads and value.filename and name.startswith(MARK) and name.endswith(".file"):
            box = name.removeprefix(MARK).removesuffix(".file")
            called = value.filename.replace("\\", "/").rsplit("/", 1)[-1][:120]
            files[box] = _upload(value.file.read(MOST_UPLOAD + 1), called)
            files[box + ".called"] = called
    return {**marked, **plain, **files}


def _upload(content: bytes, called: str) -> str:
    if len(content) > MOST_UPLOAD:
        raise InputError(f"is larger than {MOST_UPLOAD // 1000} kB", where=called, expected="a smaller file")
    return Document(called, content).text()


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
    text = tongue.line_of(type(error)(error.what, expected=error.expected, todo=error.todo))
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?")) else ".")


def shown_value(f: Field, value: Any) -> str:
    """A value inside (canonical units) as it would be typed into the field's box, without its unit."""
    if value is None or value == "" or (isinstance(value, float) and value != value):
        return ""
    if f.kind == "flag":
        return "yes" if value else "no"
    if f.kind == "share":
        return f"{float(value) * 100:.6g}"
    if isinstance(value, Document):
        return value.name
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return ", ".join(f"{v:g}" if isinstance(v, int | float) else str(v) for v in value)
    return str(value)
