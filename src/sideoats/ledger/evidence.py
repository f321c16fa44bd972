"""Evidence kinds: which fields an entry of each kind holds, in which unit, and at which kinds of place.

They are read from the vocabulary (`sideoats.vocabulary.tables` says how it is written). Four kinds of field exist here
and not in `sideoats.schema`, because no one types them into a question:

============  ===================================================================================
json          any JSON value; ``needs`` lists paths that must be there, such as ``options[].chance_best``
days          one number or null a day, in ``unit``; a list, or ``{"unit": "inch", "values": [...]}``
quantity      a number with one of several ``units``, kept as text such as ``"4.5 USD/bu"``
name          an id of a place or farm, kept as text
============  ===================================================================================
"""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Mapping
from functools import cached_property, lru_cache
from typing import Any

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.ledger import canon
from sideoats.records import dataclass
from sideoats.schema import Field
from sideoats.vocabulary import Kind, evidence, field_of

_MOST_DAYS = 100_000
_MOST_RECORDS = 1_000


@dataclass(frozen=True)
class OwnField(Field):
    """What the ledger's own kinds of field have in common: `read` checks presence, `take` reads the value."""

    def __post_init__(self) -> None:
        """Its kind is not one of the schema's."""

    def take(self, given: Any) -> Any:
        """`given`, which is not blank, as this field's value. Raises InputError."""
        raise NotImplementedError

    def read(self, given: Any, where: str = "") -> Any:
        """As `Field.read`."""
        where = f"{where}{self.name}"
        if given is None or (isinstance(given, str) and not given.strip()):
            if self.required:
                raise InputError("is missing", where=where, expected=self.expected(), todo=self.help)
            return None
        try:
            return self.take(given)
        except InputError as error:
            expected = error.expected or self.expected()
            raise type(error)(error.what, where=where, expected=expected, todo=error.todo) from None


@dataclass(frozen=True)
class JsonField(OwnField):
    """Any JSON value that holds the paths in `needs`."""

    needs: tuple[str, ...] = ()

    def expected(self) -> str:
        """What a right value looks like."""
        return "a mapping with " + ", ".join(self.needs) if self.needs else "a JSON value"

    def take(self, given: Any) -> Any:
        """`given` unchanged once every needed path is found in it; text is read as JSON."""
        if isinstance(given, str):
            try:
                given = json.loads(given)
            except (ValueError, RecursionError):
                raise InputError("is not JSON") from None
        for path in self.needs:
            if not _holds(given, path.split(".")):
                raise InputError(f"has no {path}")
        return given


def _holds(value: Any, path: list[str]) -> bool:
    if not path:
        return True
    step, rest = path[0].removesuffix("[]"), path[1:]
    if not isinstance(value, Mapping) or step not in value:
        return False
    if path[0].endswith("[]"):
        return isinstance(value[step], list | tuple) and all(_holds(item, rest) for item in value[step])
    return _holds(value[step], rest)


@dataclass(frozen=True)
class DaysField(OwnField):
    """One number or None a day, in `unit`."""

    def expected(self) -> str:
        """What a right value looks like."""
        return f"a list with one number or null a day, in {self.unit}"

    def take(self, given: Any) -> list[float | None]:
        """The days in `unit`; NaN becomes None."""
        factor, offset = 1.0, 0.0
        if isinstance(given, Mapping):
            factor, offset = units.conversion(str(given.get("unit", self.unit)), self.unit)
            given = given.get("values")
        if hasattr(given, "tolist"):
            given = given.tolist()
        if not isinstance(given, list | tuple) or len(given) > _MOST_DAYS:
            raise InputError("is not a list of days")
        return [self._day(value, factor, offset, at) for at, value in enumerate(given)]

    def _day(self, value: Any, factor: float, offset: float, at: int) -> float | None:
        if value is None or (isinstance(value, float) and math.isnan(value)):
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"day {at} is {str(value)[:40]!r}")
        found = float(value) * factor + offset
        if not self.low <= found <= self.high or math.isinf(found):
            raise InputError(f"day {at} is {found:g}", expected=f"{self.low:g} to {self.high:g} {self.unit}, or null")
        return found


@dataclass(frozen=True)
class QuantityField(OwnField):
    """A number whose unit is one of several kinds (a yield in bu/ac or lb/ac), kept as text with its unit."""

    units: tuple[str, ...] = ()

    def expected(self) -> str:
        """What a right value looks like."""
        return "a number with a unit: " + ", ".join(self.units)

    def take(self, given: Any) -> str:
        """The quantity as text in the listed unit it was given in, else in the first listed unit of its kind."""
        value, unit = units.split(given) if isinstance(given, str) else (0.0, "")
        if not unit:
            raise UnitError(f"{given!r} has no unit")
        value, unit = self._in_listed(value, unit)
        return f"{self._bounded(value, given)!r} {unit}"

    def _in_listed(self, value: float, unit: str) -> tuple[float, str]:
        if unit in self.units:
            return value, unit
        for listed in self.units:
            try:
                return units.parse(f"{value!r} {unit}", listed), listed
            except UnitError:
                continue
        raise UnitError(f"unit {unit!r} does not fit")


@dataclass(frozen=True)
class NameField(OwnField):
    """The id of a place or farm."""

    def expected(self) -> str:
        """What a right value looks like."""
        return "an id"

    def take(self, given: Any) -> str:
        """The id as given."""
        return canon.name(given, "place or farm")


_OWN: dict[str, type[Field]] = {"json": JsonField, "days": DaysField, "quantity": QuantityField, "name": NameField}


@dataclass(frozen=True)
class EvidenceKind:
    """One kind of evidence.

    Attributes
    ----------
    places : kinds of place it may be recorded at; () means anywhere, with or without a place
    topic : dotted path into the body that keeps entries of this kind at one place apart, or ""
    history_days : how far back ``history:KIND`` reads entries of this kind; 0 for the usual span of months
    roles, doors : which accounts may record it at an office's desk, and by which of `DOORS`; nobody where not said
    formerly : names under which older ledgers hold entries of this kind
    """

    name: str
    title: str
    fields: Mapping[str, Field]
    places: tuple[str, ...] = ()
    topic: str = ""
    history_days: int = 0
    roles: tuple[str, ...] = ()
    doors: tuple[str, ...] = ()
    formerly: tuple[str, ...] = ()

    def read(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """`body` with every value checked and in canonical units; what is absent is left out.

        Raises InputError (or UnitError) with one line that names the kind and the field.
        """
        if not isinstance(body, Mapping):
            raise InputError(f"{type(body).__name__} given", where=self.name, expected="field names with values")
        unknown = [str(key) for key in body if key not in self.fields]
        if unknown:
            near = difflib.get_close_matches(unknown[0], self.fields, 1)
            raise InputError(
                "is not a field of this kind",
                where=f"{self.name} {unknown[0][:60]}",
                expected=f"did you mean {near[0]}?" if near else "one of " + ", ".join(sorted(self.fields)),
            )
        out = {}
        for key in (*self._always, *(key for key in body if key not in self._always)):
            field = self.fields[key]
            value = read_value(field, body.get(key), f"{self.name} ")
            value = field.default if value is None else value
            if value is not None:
                out[key] = value
        return out

    @cached_property
    def _always(self) -> tuple[str, ...]:
        """Fields that are looked at even where a body does not have them."""
        return tuple(key for key, field in self.fields.items() if field.required or field.default is not None)

    def topic_of(self, body: Mapping[str, Any]) -> str:
        """The topic of a body that `read` has passed."""
        value: Any = body
        for step in self.topic.split(".") if self.topic else ():
            value = value.get(step) if isinstance(value, Mapping) else None
        return "" if value is body or value is None else str(value)[:200]


def read_value(field: Field, given: Any, where: str = "") -> Any:
    """`given` read by `field`, where a Python number (not text) is taken to be in the field's own unit."""
    if hasattr(given, "item") and getattr(given, "ndim", None) == 0:
        given = given.item()
    if hasattr(given, "tolist"):
        given = given.tolist()
    if field.kind == "number" and isinstance(given, int | float) and not isinstance(given, bool):
        return _bare(field).read(given, where)
    if field.kind == "numbers" and isinstance(given, list | tuple):
        strict = any(isinstance(item, str) for item in given)
        return (field if strict else _bare(field)).read(given, where)
    if field.kind == "records" and isinstance(given, list | tuple):
        if not 0 < len(given) <= _MOST_RECORDS:
            return field.read(given or None, where)  # which says what is wrong with that
        return tuple(_record(field, row, f"{where}{field.name} {at}, ") for at, row in enumerate(given, 1))
    return field.read(given, where)


def _record(field: Field, row: Any, where: str) -> dict[str, Any]:
    inner = EvidenceKind(where.rstrip(", "), "", {f.name: f for f in field.fields})
    return inner.read(row)


@lru_cache(maxsize=2048)
def _bare_cached(name: str, kind: str, unit: str, low: float, high: float) -> Field:
    return Field(name, kind, "", unit=unit, low=low, high=high, bare=True)


def _bare(field: Field) -> Field:
    return _bare_cached(field.name, field.kind, field.unit, field.low, field.high)


def evidence_kind(kind: Kind) -> EvidenceKind:
    """A kind of the vocabulary, ready to read entries. Raises VocabularyError naming the file and the kind."""
    read = {name: field_of(name, attributes, kind.where(name), _OWN) for name, attributes in kind.fields.items()}
    about = (kind.places, kind.topic, kind.history_days, kind.roles, kind.doors, kind.formerly)
    return EvidenceKind(kind.name, kind.title, read, *about)


@lru_cache(maxsize=1)
def evidence_kinds() -> Mapping[str, EvidenceKind]:
    """All evidence kinds of the program, by name."""
    return {name: evidence_kind(kind) for name, kind in evidence().items()}


def kind_now(name: str) -> str:
    """A kind's name as it is called today."""
    return _renamed().get(name, name)


def kinds_ever(name: str) -> tuple[str, ...]:
    """Every name under which a ledger may hold entries of a kind, today's first."""
    known = evidence_kinds().get(name)
    return (name, *(known.formerly if known else ()))


@lru_cache(maxsize=1)
def _renamed() -> Mapping[str, str]:
    return {old: kind.name for kind in evidence_kinds().values() for old in kind.formerly}


def place_kinds() -> tuple[str, ...]:
    """The kinds of place there are."""
    return evidence_kinds()["place"].fields["kind"].choices
