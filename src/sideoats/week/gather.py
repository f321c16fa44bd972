"""A question's table of places out of a snapshot: nothing is looked up place by place in the ledger."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.ledger import evidence_kinds
from sideoats.question import Question, Table, column
from sideoats.schema import Field
from sideoats.week.snapshot import Snapshot

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Place


@dataclass(frozen=True)
class Problem:
    """A value on file that a question could not use; the row was asked without it."""

    place: str
    question: str
    message: str


def chosen_places(question: Question, places: Sequence[Place], farm: str | None = None) -> list[Place]:
    """The places that a question is about."""
    if question.places is None:
        return []
    kinds, crops = set(question.places.kinds), {c.lower() for c in question.places.crops}
    return [
        p
        for p in places
        if (not kinds or p.kind in kinds)
        and (not crops or str(p.attributes.get("crop", "")).lower() in crops)
        and (farm is None or p.farm == farm)
    ]


def gather(question: Question, snapshot: Snapshot, farm: str | None = None) -> tuple[Table, list[Problem]]:
    """The table of every place that `question` is about, and what on file could not be used."""
    places = chosen_places(question, snapshot.places, farm)
    problems: list[Problem] = []
    behind: list[dict[str, None]] = [{} for _ in places]
    columns, ages = {}, {}
    for f in question.inputs:
        finders = [(source, find) for source in f.found_in if (find := _finder(source, snapshot)) is not None]
        values: list[Any] = [f.default] * len(places)
        age = np.full(len(places), np.nan)
        read: dict[Any, Any] = {}  # settings and quotes are alike at most places
        for row, place in enumerate(places):
            for source, find in finders:
                raw, unit, entry = find(place)
                if raw is None:
                    continue
                days = 0 if entry is None else (snapshot.on - entry.seen_on).days
                if days > f.fresh_days:
                    continue
                try:
                    value = _once(read, f, raw, unit)
                except InputError as error:
                    if source.startswith("place:") and isinstance(error, UnitError):
                        continue  # a yield in tons is right for its place, and not what this question asks
                    problems.append(Problem(place.id, question.name, f"{source}: {error}"))
                    continue
                if entry is not None:
                    behind[row][entry.id] = None
                    age[row] = days
                if value is not None:
                    values[row] = value
                break
        columns[f.name] = column(f, values)
        ages[f.name] = age
    table = Table(
        keys=tuple(p.id for p in places),
        columns=columns,
        names=tuple(p.name for p in places),
        farms=tuple(p.farm for p in places),
        size=np.array([_size(p.attributes.get(question.size), question.size_unit) for p in places], dtype=np.float64),
        ages=ages,
        evidence=tuple(tuple(ids) for ids in behind),
    )
    return table, problems


def as_field(f: Field, raw: Any, unit: str | None) -> Any:
    """A stored value as the field's value; `unit` is the unit in which the ledger keeps plain numbers.

    Raises InputError where it cannot be used.
    """
    if f.kind in ("number", "share") and isinstance(raw, int | float) and not isinstance(raw, bool):
        if f.kind == "number" and unit is not None:
            raw = units.convert(float(raw), unit, f.unit)
        if not f.low <= raw <= f.high:
            raise InputError(f"{raw:g} is outside what is possible", expected=f"{f.low:g} to {f.high:g} {f.unit}")
        return float(raw)
    if f.kind == "numbers" and isinstance(raw, list | tuple):
        return tuple(units.convert(float(x), unit, f.unit) if unit else float(x) for x in raw)
    if f.kind == "records" and isinstance(raw, list | tuple):
        return tuple({k: as_field(sub, row.get(k), sub.unit) if row.get(k) is not None else sub.default
                      for k, sub in ((s.name, s) for s in f.fields)} for row in raw)  # fmt: skip
    return f.read(raw)


def _once(read: dict[Any, Any], f: Field, raw: Any, unit: str | None) -> Any:
    """`as_field`, worked out once for each text; a stored value of another shape than expected is an InputError."""
    if isinstance(raw, str) and raw in read:
        return read[raw]
    try:
        value = as_field(f, raw, unit)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{str(raw)[:80]!r} cannot be used ({type(error).__name__})", expected=f.expected()) from None
    if isinstance(raw, str):
        read[raw] = value
    return value


_Found = tuple[Any, str | None, "Entry | None"]  # the raw value or None, the unit of plain numbers, the entry behind it


def _finder(source: str, snapshot: Snapshot) -> Callable[[Place], _Found] | None:
    """What looks one `found_in` source up for a place; None where nothing of the kind is on file anywhere."""
    where, _, what = source.partition(":")
    if where == "place":
        unit = _unit("place", what)
        return lambda place: (place.attributes.get(what), unit, None)
    if where == "evidence":
        kind, _, name = what.partition(".")
        held, unit = snapshot.evidence.get(kind), _unit(kind, name)
        if not held:
            return None

        def newest(place: Place) -> _Found:
            entry = held.get(place.id)
            return (None, None, None) if entry is None else (entry.body.get(name), unit, entry)

        return newest
    if where == "history":
        folded = snapshot.evidence.get(source)
        if not folded:
            return None

        def all_of_it(place: Place) -> _Found:
            entry = folded.get(place.id)
            return (None, None, None) if entry is None else (entry.body["rows"], None, entry)

        return all_of_it
    if where == "setting":
        if "{" not in what:
            setting = snapshot.settings.get(what)
            return None if setting is None else lambda place: (setting, None, None)
        return lambda place: (snapshot.settings.get(what.format_map(_Blank(place.attributes))), None, None)
    if where == "quote":
        return lambda place: _quoted(what, place, snapshot)
    if where == "quotes":
        return lambda place: (snapshot.quote_series.get(_commodity(what, place)), None, None)
    raise ValueError(f"found_in {source!r}: expected evidence:, history:, place:, quote:, quotes: or setting:")


def _quoted(what: str, place: Place, snapshot: Snapshot) -> _Found:
    market, commodity = str(place.attributes.get("market", "")), _commodity(what, place)
    entry = snapshot.quotes.get((market, commodity)) or next(
        (e for (_, c), e in snapshot.quotes.items() if c == commodity), None
    )
    return (None, None, None) if entry is None else (entry.body.get("price"), None, entry)


def _commodity(what: str, place: Place) -> str:
    return what.format_map(_Blank(place.attributes)).lower() if "{" in what else what.lower()


class _Blank(dict[str, Any]):
    """Fills ``{crop}`` in a source from the place's attributes, with "" for what is not known."""

    def __init__(self, attributes: Mapping[str, Any]) -> None:
        super().__init__(attributes)

    def __missing__(self, key: str) -> str:
        return ""


def _unit(kind: str, name: str) -> str | None:
    fields = evidence_kinds()[kind].fields if kind in evidence_kinds() else {}
    found = fields.get(name)
    return None if found is None else found.unit


def _size(raw: Any, unit: str) -> float:
    """The attribute in `unit`; NaN, which leaves money as it is for one, where it is in a unit of another kind."""
    if raw is None:
        return 1.0
    if isinstance(raw, int | float):
        return float(raw)
    try:
        return units.parse(str(raw), unit, bare=True) if unit else units.split(str(raw))[0]
    except UnitError:
        return float("nan")
