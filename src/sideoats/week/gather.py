"""A question's table of places out of a snapshot: nothing is looked up place by place in the ledger."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.crops import by_the_bushel, market_word
from sideoats.errors import InputError, UnitError
from sideoats.ledger import evidence_kinds
from sideoats.outlook.stations import Spot, Stand
from sideoats.question import Question, Table, column
from sideoats.schema import Field
from sideoats.week.snapshot import Snapshot
from sideoats.week.spots import position

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Place


STATION = "station"  # the field and the place attribute that name a weather station


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
    kinds, asked = set(question.places.kinds), question.places
    return [
        p
        for p in places
        if (not kinds or p.kind in kinds)
        and asked.takes(str(p.attributes.get("crop", "")))
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
                    if f.by_bushel:
                        raw = by_the_bushel(raw, str(place.attributes.get("crop", "")))
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
    stands = _stood(places, snapshot) if STATION in columns else []
    if stands:
        columns[STATION] = np.array([stand.station for stand in stands], dtype=object)
    table = Table(
        keys=tuple(p.id for p in places),
        columns=columns,
        names=tuple(p.name for p in places),
        farms=tuple(p.farm for p in places),
        size=np.array([_size(p.attributes.get(question.size), question.size_unit) for p in places], dtype=np.float64),
        ages=ages,
        evidence=tuple(tuple(ids) for ids in behind),
        stands=tuple(stand.said for stand in stands),
        markets=tuple(str(p.attributes.get("market", "")) for p in places),
    )
    return table, problems


def _stood(places: Sequence[Place], snapshot: Snapshot) -> list[Stand]:
    """The station that stands for each place of a snapshot, looked for once for all questions."""
    new = [p for p in places if p.id not in snapshot.stood]
    snapshot.stood.update(zip((p.id for p in new), stands_of(new, snapshot), strict=True))
    return [snapshot.stood[p.id] for p in places]


def stands_of(places: Sequence[Place], snapshot: Snapshot) -> list[Stand]:
    """The station that stands for each place."""
    spots = []
    for place in places:
        height = place.attributes.get("elevation")
        latitude, longitude = position(place)
        known = float(height) if isinstance(height, int | float) else float("nan")
        spots.append(Spot(str(place.attributes.get(STATION, "")), latitude, longitude, known))
    return [snapshot.sites.stand_for(spot) for spot in spots]


def as_field(f: Field, raw: Any, unit: str | None, read: dict[Any, Any] | None = None) -> Any:
    """A stored value as the field's value; `unit` is the unit in which the ledger keeps plain numbers.

    `read` keeps what texts within records were read as: many rows have the same. Raises InputError where the value
    cannot be used.
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
        kept: dict[Any, Any] = {} if read is None else read
        return tuple({sub.name: _part(sub, row.get(sub.name), kept) for sub in f.fields} for row in raw)
    return f.read(raw)


def _part(sub: Field, raw: Any, read: dict[Any, Any]) -> Any:
    """One value of a record; a text is read once."""
    if raw is None:
        return sub.default
    if not isinstance(raw, str):
        return as_field(sub, raw, sub.unit)
    if (key := (sub.name, raw)) not in read:
        read[key] = sub.read(raw)
    return read[key]


def _once(read: dict[Any, Any], f: Field, raw: Any, unit: str | None) -> Any:
    """`as_field`, worked out once for each text; a stored value of another shape than expected is an InputError."""
    if isinstance(raw, str) and raw in read:
        return read[raw]
    try:
        value = as_field(f, raw, unit, read)
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
        kind, _, name = source.partition(".")
        folded = snapshot.evidence.get(kind)
        if not folded:
            return None

        def all_of_it(place: Place) -> _Found:
            entry = folded.get(place.id)
            if entry is None:
                return (None, None, None)
            rows = entry.body["rows"]
            return (_joined(rows, name) or None) if name else rows, None, entry

        return all_of_it
    if where == "setting":
        if "{" not in what:
            setting = snapshot.settings.get(what)
            return None if setting is None else lambda place: (setting, None, None)
        return lambda place: (snapshot.settings.get(what.format_map(_Blank(place.attributes))), None, None)
    if where == "quote":
        return lambda place: _quoted(what, place, snapshot)
    if where == "quotes":
        return lambda place: (snapshot.quote_series.get(_market(what, place, snapshot)), None, None)
    if where in ("station", "forecast"):
        return None  # read by whoever answers, for a phone-in that names a station too
    raise ValueError(
        f"found_in {source!r}: expected evidence:, history:, place:, quote:, quotes:, setting:, station: or forecast:"
    )


def _joined(rows: Sequence[Mapping[str, Any]], name: str) -> list[Any]:
    """The lists of one field of all entries as one, oldest first; what a later entry repeats is taken once."""
    out: list[Any] = []
    for row in rows:
        before = list(out)
        out += [item for item in row.get(name) or () if item not in before]
    return out


def _quoted(what: str, place: Place, snapshot: Snapshot) -> _Found:
    entry = snapshot.quotes.get(_market(what, place, snapshot))
    return (None, None, None) if entry is None else (entry.body.get("price"), None, entry)


def _market(what: str, place: Place, snapshot: Snapshot) -> tuple[str, str]:
    """(market, commodity) whose quotes hold at the place."""
    commodity = _commodity(what, place)
    return snapshot.market_of(str(place.attributes.get("market", "")), commodity), commodity


def _commodity(what: str, place: Place) -> str:
    return market_word(what.format_map(_Blank(place.attributes)) if "{" in what else what)


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
