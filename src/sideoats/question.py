"""The contract of a question: a table of places and an outlook in, answers for every row out.

A question is one module in ``<room>/questions/`` that exposes ``QUESTION``. docs/building.md walks through one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from datetime import date as calendar_date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats import units
from sideoats.call import Answered, Call
from sideoats.crops import crop_of
from sideoats.errors import QuestionError
from sideoats.facts import Facts
from sideoats.outlook.draws import Footing, Outlook
from sideoats.problem import Problem
from sideoats.records import dataclass
from sideoats.region import Region
from sideoats.replies import READER, Replies
from sideoats.ruling import attitude_of, rule
from sideoats.schema import Field
from sideoats.words import Day, Measured, Name, Reader, Said, Share, has, say, sentence

if TYPE_CHECKING:
    from sideoats.outlook.soil import Probed
    from sideoats.pictures import Picture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Table:
    """A batch of places, one row each; one phone-in is a table of one row.

    Attributes
    ----------
    keys : (n,) text that identifies a row; keys the row's own random noise
    names, farms : (n,) text to show
    size : (n,) acres, head, bushels... by which money per unit becomes money for the place
    columns : field name -> (n,) array
    ages : field name -> (n,) days between the evidence and today (0 for a phone-in, NaN where none)
    evidence : (n,) tuples of ledger entry ids behind the row
    stands : (n,) sentence that says which weather station stands for each row; () where none was looked for
    markets : (n,) ids of the markets that price the rows, "" where none is named
    probed : row -> sentences on what was read off its station's soil probes
    expected : row -> what it was given of the forecast for its station: "days", "hours"
    """

    keys: tuple[str, ...]
    columns: Mapping[str, NDArray[Any]]
    names: tuple[str, ...] = ()
    farms: tuple[str, ...] = ()
    size: Floats = field(default_factory=lambda: np.ones(0))
    ages: Mapping[str, Floats] = field(default_factory=dict)
    evidence: tuple[tuple[str, ...], ...] = ()
    stands: tuple[Said, ...] = ()
    markets: tuple[str, ...] = ()
    probed: Mapping[int, tuple[Said, ...]] = field(default_factory=dict)
    expected: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.keys)

    def number(self, name: str) -> Floats:
        """(n,) float64 in the field's unit; NaN where not known. For number and share fields."""
        return np.asarray(self.columns[name], dtype=np.float64)

    def text(self, name: str) -> NDArray[np.object_]:
        """(n,) text, "" where not known. For choice, crop and text fields."""
        return np.asarray(self.columns[name], dtype=object)

    def flag(self, name: str, default: bool = False) -> Bools:
        """(n,) bool; `default` where not known."""
        raw = np.asarray(self.columns[name], dtype=np.float64)
        return np.where(np.isnan(raw), float(default), raw) > 0

    def date(self, name: str) -> NDArray[np.datetime64]:
        """(n,) datetime64[D]; NaT where not known."""
        return np.asarray(self.columns[name], dtype="datetime64[D]")

    def days_until(self, name: str, on: calendar_date) -> Floats:
        """(n,) days from `on` to the date; NaN where not known, negative where past."""
        gap = (self.date(name) - np.datetime64(on, "D")).astype("timedelta64[D]")
        return np.where(np.isnat(gap), np.nan, gap.astype(np.float64))

    def rows(self, name: str) -> NDArray[np.object_]:
        """(n,) tuples (counts, numbers, series, records); None where not known."""
        return np.asarray(self.columns[name], dtype=object)

    def known(self, name: str) -> Bools:
        """(n,) True where the field has a value."""
        raw = self.columns[name]
        if raw.dtype.kind == "f":
            return np.asarray(~np.isnan(raw))
        if raw.dtype.kind == "M":
            return np.asarray(~np.isnat(raw))
        return np.array([value is not None and value != "" for value in raw], dtype=bool)

    def age_days(self, name: str) -> Floats:
        """(n,) days since the evidence behind the field was seen; 0 for a phone-in."""
        return np.asarray(self.ages.get(name, np.zeros(len(self))), dtype=np.float64)

    def stale_in(self, inputs: Sequence[Field], row: int) -> int:
        """Days until the first of a row's entries that grow old is too old to be used; -1 where none does.

        A phone-in rests on no entry, so nothing of it grows old.
        """
        old = [(f, float(self.ages[f.name][row])) for f in inputs if f.name in self.ages and self.known(f.name)[row]]
        left = [f.fresh_days - age for f, age in old if f.fresh_days < Field.fresh_days and math.isfinite(age)]
        return max(math.ceil(min(left)), 1) if left else -1

    def take(self, rows: NDArray[np.int64]) -> Table:
        """The given rows as a table of their own."""
        picked = rows.tolist()
        return Table(
            keys=tuple(self.keys[i] for i in picked),
            columns={name: column[rows] for name, column in self.columns.items()},
            names=tuple(self.names[i] for i in picked) if self.names else (),
            farms=tuple(self.farms[i] for i in picked) if self.farms else (),
            size=self.size[rows] if self.size.size else self.size,
            ages={name: age[rows] for name, age in self.ages.items()},
            evidence=tuple(self.evidence[i] for i in picked) if self.evidence else (),
            stands=tuple(self.stands[i] for i in picked) if self.stands else (),
            markets=tuple(self.markets[i] for i in picked) if self.markets else (),
            probed={at: self.probed[i] for at, i in enumerate(picked) if i in self.probed},
            expected={at: self.expected[i] for at, i in enumerate(picked) if i in self.expected},
        )

    def stand(self, row: int) -> tuple[Said, ...]:
        """The sentence that says which station stands for a row, where there is one, and what its probes say."""
        return (*((self.stands[row],) if self.stands else ()), *self.probed.get(row, ()))

    def footings(self, outlook: Outlook) -> list[Footing]:
        """(n,) what each row's weather and prices rest on: its station's years and its market."""
        stations = [str(s) for s in self.columns["station"]] if "station" in self.columns else [""] * len(self)
        at = {pair: outlook.footing(*pair) for pair in zip(stations, self.markets or [""] * len(self), strict=True)}
        return [at[pair] for pair in zip(stations, self.markets or [""] * len(self), strict=True)]


def column(f: Field, values: Sequence[Any]) -> NDArray[Any]:
    """Field values of many rows as the array kind that `Table` documents."""
    if f.kind in ("number", "share", "flag"):
        return np.array([np.nan if v is None else float(v) for v in values], dtype=np.float64)
    if f.kind == "date":
        return np.array([np.datetime64("NaT") if v is None else np.datetime64(v, "D") for v in values], "datetime64[D]")
    out = np.empty(len(values), dtype=object)
    for i, v in enumerate(values):
        out[i] = ("" if v is None else v) if f.kind in ("choice", "crop", "text") else v
    return out


@dataclass(frozen=True)
class Context:
    """What every question is asked with: the day, the facts (which remember what was read) and the shared outlook."""

    on: calendar_date
    facts: Facts
    outlook: Outlook
    risk_aversion: float | None = None

    @property
    def region(self) -> Region:
        """The district's calendar."""
        return self.facts.region

    def fresh(self) -> Context:
        """The same with an empty list of facts read; the outlook notes what it reads in that list too."""
        facts = self.facts.reader()
        return replace(self, facts=facts, outlook=replace(self.outlook, facts=facts))

    def of(self, footing: Footing) -> Context:
        """The same for places on one footing: with their stations' weather and their market's prices, no others."""
        return replace(self, outlook=self.outlook.part(footing))

    def once(self, key: str, make: Callable[[Context], Any]) -> Any:
        """What `make` gives from facts and outlook alone, made once for all chunks of places.

        The facts that it read are noted as read each time, so that every call still cites them.
        """
        kept = self.outlook.kept
        whole = (key, id(self.facts.by_id))
        if whole not in kept:
            fresh = self.fresh()
            kept[whole] = (make(fresh), dict(fresh.facts.read))
        value, read = kept[whole]
        self.facts.read.update(read)
        return value


class AskedApart:
    """Answers of rows on several footings, row by row: each is what it would be if asked alone."""

    def __init__(self, found: Sequence[tuple[NDArray[np.int64], Answered]]) -> None:
        self._at = {row: (part, at) for rows, part in found for at, row in enumerate(rows.tolist())}

    @property
    def quantities(self) -> Mapping[str, tuple[Any, Any]]:
        """None in common: the parts state their own, call by call."""
        return {}

    def call(self, row: int) -> Call:
        """One row as a call."""
        part, at = self._at[row]
        return part.call(at)

    def shaped(self, row: int) -> Call:
        """One row as a call whose sentences have no text yet."""
        part, at = self._at[row]
        return part.shaped(at)

    def calls(self) -> Iterator[Call]:
        """Every row as a call."""
        return (self.call(row) for row in range(len(self._at)))

    def drawn(self, row: int) -> tuple[Picture, ...]:
        """Pictures of one row."""
        part, at = self._at[row]
        return part.drawn(at)

    def ruled(self, row: int) -> tuple[Replies, int]:
        """The part that holds one row's problem and ruling, and the row there."""
        part, at = self._at[row]
        return part.ruled(at)


@dataclass(frozen=True)
class Places:
    """Which places the week asks about: their kinds, their crops (any where empty)."""

    kinds: tuple[str, ...] = ()
    crops: tuple[str, ...] = ()

    def takes(self, crop: str) -> bool:
        """Whether a place with this crop, in whatever word of the list, is asked about."""
        return not self.crops or crop_of(crop) in {crop_of(c) for c in self.crops}


@dataclass(frozen=True, eq=False)
class Question:
    """One decision the adviser faces.

    Attributes
    ----------
    name : as typed, words joined by hyphens
    room : where it belongs
    inputs : fields in the order in which they are asked
    title, about : one line, one paragraph; the sentences ``<name>.title`` and ``<name>.about`` where not given
    pose : what the question hands to the one ruling (docs/design.md)
    places : which places the week asks about; None for a phone-in question only
    size : place attribute that scales money (acres, head, bushels); "" for one
    size_unit : unit of that attribute where it is text with a unit, as the money is counted (bu, ton)
    in_season : which rows of the week's table make sense today; all where None
    limits : for what the answer holds, and what it leaves out; the sentence ``<name>.limits`` where not given
    options_count : the most options a row can have, for sizing chunks
    apart : fields on which the options or the facts read depend (``name?``: only whether it is known); the week asks
        rows that differ in them apart, so that no call shows or cites what only a neighbour in its batch needed
    check : refuse a combination of inputs in a phone-in (raise InputError); values by field name
    desk_look : its look is made at the desk or by telephone (a forecast, an account), so no round goes there for it
    stake : what its money comes out of ("calves", "grazing"): calls of one place about one stake count the same money,
        and the farm takes the act of one of them at most; "" for money of its own
    settles : the stated chances that later weather and prices settle; all where None (of several of one thing, one)
    """

    name: str
    room: str
    inputs: tuple[Field, ...]
    pose: Callable[[Table, Context], Problem]
    title: str = ""
    about: str = ""
    places: Places | None = None
    size: str = ""
    size_unit: str = ""
    in_season: Callable[[Table, Context], Bools] | None = None
    limits: str = ""
    options_count: int = 16
    apart: tuple[str, ...] = ()
    check: Callable[[dict[str, Any]], None] | None = None
    desk_look: bool = False
    stake: str = ""
    settles: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        for part in ("title", "about", "limits"):
            if not getattr(self, part) and has(code := f"{self.name}.{part}", READER.language):
                object.__setattr__(self, part, sentence(Said(code, {}), READER))

    def part(self, part: str, reader: Reader = READER) -> str:
        """`part` ("title", "about" or "limits") for a reader; in English where the catalogue has it in no other."""
        own, code = str(getattr(self, part)), f"{self.name}.{part}"
        return sentence(Said(code, {}), reader) if own and has(code, reader.language) else own

    def ask(self, table: Table, context: Context) -> Answered:
        """Answer every row on its own footing (`parts`); the facts read on the way become the sources."""
        asked = list(parts(table, context))
        if len(asked) > 1:
            return AskedApart([(rows, self.ask(table.take(rows), here)) for rows, here in asked])
        fresh = (asked[0][1] if asked else context).fresh()
        table = with_forecast(with_probes(table, self.inputs, fresh), self.inputs, fresh)
        problem = self.pose(table, fresh)
        size = table.size if table.size.size else np.full(len(table), np.nan)
        ruling = rule(problem, attitude_of(fresh.facts, context.risk_aversion), fresh.facts, size)
        return Replies(table, fresh, self, problem, ruling)

    def seasonal(self, table: Table, context: Context) -> Bools:
        """(n,) True for the rows that make sense today."""
        found = np.ones(len(table), dtype=bool)
        if self.in_season is not None:
            for rows, here in parts(table, context):
                found[rows] = np.asarray(self.in_season(table.take(rows), here.fresh()), dtype=bool)
        return found


_STATION_SOURCE = "station:"
_EXPECTED = "forecast:"


def with_probes(table: Table, inputs: Sequence[Field], context: Context) -> Table:
    """The table with what its stations' soil probes say where nobody said it, and a sentence for each such value."""
    records = context.outlook.records
    if not records or "station" not in table.columns:
        return table
    columns, said = dict(table.columns), {row: list(told) for row, told in table.probed.items()}
    for f in inputs:
        sources = [s.removeprefix(_STATION_SOURCE) for s in f.found_in if s.startswith(_STATION_SOURCE)]
        if not sources:
            continue
        lacking, stations = np.flatnonzero(~table.known(f.name)), table.text("station").astype(str)
        by_station = {s: _probed(s, sources, f, context) for s in dict.fromkeys(stations[lacking].tolist())}
        columns[f.name] = columns[f.name].copy()
        for row in lacking:
            found = by_station[stations[row]]
            if found is None:
                continue
            columns[f.name][row] = value = units.convert(found.value, found.unit, f.unit)
            shown = Share(value) if f.kind == "share" else Measured(round(value, 1), unit=f.unit)
            depth = Name(f"{found.depth_cm / 2.54:.0f} in ({found.depth_cm:.0f} cm)")
            told = say(f"station.probed.{f.name}", value=shown, depth=depth, day=Day(found.day))
            said.setdefault(int(row), []).append(told)
    return replace(table, columns=columns, probed={row: tuple(told) for row, told in said.items()})


def _probed(station: str, sources: Sequence[str], f: Field, context: Context) -> Probed | None:
    from sideoats.outlook.soil import probed

    record = context.outlook.records.get(station)
    if record is None:
        return None
    readings = (probed(record, what, context.on, f.fresh_days, context.facts) for what in sources)
    return next((found for found in readings if found is not None), None)


def with_forecast(table: Table, inputs: Sequence[Field], context: Context) -> Table:
    """The table with the days, or hours, that are forecast for its stations, where nobody told any."""
    known = context.outlook.forecasts
    wanted = [(f, s.removeprefix(_EXPECTED)) for f in inputs for s in f.found_in if s.startswith(_EXPECTED)]
    if not known or not wanted or "station" not in table.columns:
        return table
    columns, filled = dict(table.columns), dict(table.expected)
    stations = table.text("station").astype(str).tolist()
    for f, what in wanted:
        lacking = np.flatnonzero(~table.known(f.name)).tolist()
        by_station = {s: _rows(f, known[s].rows(what)) for s in {stations[row] for row in lacking} if s in known}
        columns[f.name] = columns[f.name].copy()
        for row in lacking:
            found = by_station.get(stations[row])
            if found:
                columns[f.name][row] = found
                filled[row] = (*filled.get(row, ()), what)
    return replace(table, columns=columns, expected=filled)


def _rows(f: Field, rows: Sequence[Mapping[str, Any]] | None) -> tuple[dict[str, Any], ...] | None:
    """Rows of a forecast as a field of records holds them: in its units already, what is not told by its default."""
    return None if rows is None else tuple({s.name: row.get(s.name, s.default) for s in f.fields} for row in rows)


def parts(table: Table, context: Context) -> Iterator[tuple[NDArray[np.int64], Context]]:
    """Rows on one footing, with the context that they are asked in; the first part holds the first row."""
    groups: dict[Footing, list[int]] = {}
    for row, footing in enumerate(table.footings(context.outlook)):
        groups.setdefault(footing, []).append(row)
    for footing, rows in groups.items():
        yield np.array(rows, dtype=np.int64), context.of(footing)


@lru_cache(maxsize=1)
def registry() -> dict[str, str]:
    """Question name -> module path, found by looking into every room's ``questions`` folder; nothing is imported."""
    from pathlib import Path

    found = {}
    for path in sorted(Path(__file__).parent.glob("*/questions/*.py")):
        if not path.stem.startswith("_"):
            found[path.stem.replace("_", "-")] = f"sideoats.{path.parent.parent.name}.questions.{path.stem}"
    return found


def find(name: str) -> Question:
    """The question of that name. Raises QuestionError with the nearest names."""
    from importlib import import_module

    known = registry()
    if name not in known:
        import difflib

        near = difflib.get_close_matches(name, known, 3, 0.4)
        hint = f"did you mean {' or '.join(near)}?" if near else "see `sideoats questions`"
        raise QuestionError(f"no question {name[:80]!r}; {hint}")
    question: Question = import_module(known[name]).QUESTION
    if question.name != name:
        raise QuestionError(f"module {known[name]} holds question {question.name!r}; file and name must agree")
    return question


def every() -> Iterator[Question]:
    """All questions, by name."""
    return (find(name) for name in sorted(registry()))
