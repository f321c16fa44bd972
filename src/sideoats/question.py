"""The contract of a question: a table of places and an outlook in, answers for every row out.

A question is one module in ``<room>/questions/`` that exposes ``QUESTION``. docs/building.md walks through one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date as calendar_date
from datetime import timedelta
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, VERDICTS, WAIT, Call, OptionResult, Quantity
from sideoats.decide import Decision
from sideoats.errors import QuestionError
from sideoats.facts import Facts
from sideoats.outlook.draws import Outlook
from sideoats.schema import Field
from sideoats.version import VERSION

if TYPE_CHECKING:
    from sideoats.pictures import Picture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
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
    """

    keys: tuple[str, ...]
    columns: Mapping[str, NDArray[Any]]
    names: tuple[str, ...] = ()
    farms: tuple[str, ...] = ()
    size: Floats = field(default_factory=lambda: np.ones(0))
    ages: Mapping[str, Floats] = field(default_factory=dict)
    evidence: tuple[tuple[str, ...], ...] = ()

    def __len__(self) -> int:
        return len(self.keys)

    def number(self, name: str) -> Floats:
        """(n,) float64 in the field's unit; NaN where not known. For number and share fields."""
        return np.asarray(self.columns[name], dtype=np.float64)

    def text(self, name: str) -> NDArray[np.object_]:
        """(n,) text, "" where not known. For choice and text fields."""
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
        )


def column(f: Field, values: Sequence[Any]) -> NDArray[Any]:
    """Field values of many rows as the array kind that `Table` documents."""
    if f.kind in ("number", "share", "flag"):
        return np.array([np.nan if v is None else float(v) for v in values], dtype=np.float64)
    if f.kind == "date":
        return np.array([np.datetime64("NaT") if v is None else np.datetime64(v, "D") for v in values], "datetime64[D]")
    out = np.empty(len(values), dtype=object)
    for i, v in enumerate(values):
        out[i] = ("" if v is None else v) if f.kind in ("choice", "text") else v
    return out


@dataclass(frozen=True)
class Context:
    """What every question is asked with: the day, the facts (which remember what was read) and the shared outlook."""

    on: calendar_date
    facts: Facts
    outlook: Outlook
    risk_aversion: float | None = None

    def fresh(self) -> Context:
        """The same with an empty list of facts read; the outlook notes what it reads in that list too."""
        facts = self.facts.reader()
        return replace(self, facts=facts, outlook=replace(self.outlook, facts=facts))

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


@dataclass(frozen=True)
class Option:
    """Something the grower can do. `day` is days from today for timed options, None for one that waiting leaves open.

    `passive` marks doing nothing: if it is best, the verdict is wait (or look), not act.
    """

    key: str
    label: str
    day: int | None = None
    passive: bool = False


@dataclass(frozen=True)
class Bar:
    """Options that are not allowed, whatever they pay: mask (place, option) and the reason, the same or by row.

    `hazard` says that the bar is about safety of people or animals, so that the verdict is stop where it applies to the
    option in question (as opposed to a legal interval that merely rules out some days).
    """

    mask: Bools
    reason: str | Callable[[int], str]
    hazard: bool = False

    def text(self, row: int) -> str:
        """The reason for one row."""
        return self.reason if isinstance(self.reason, str) else self.reason(row)


_UNKNOWN = re.compile(r"\bnan\b")


@dataclass
class Answers:
    """Answers for every row of a table; text is made only for rows that are shown.

    Parameters
    ----------
    headline, because : row -> text, list of text
    options, decision : the options in order and what `decide` found; both may be absent for a question without money
    unit : money unit of the payoffs, such as "USD/ac"
    bars : reasons for barred options (the masks must be those given to `decide`)
    verdict : (n,) codes from `sideoats.call`; made by `verdicts` where None
    act_by, look_by : (n,) days from today, -1 for none
    quantities : name -> ((n,) array, unit or (n,) units where rows are counted in different ones)
    worth_of_a_look : (n,) money in `unit`; look_cost : the cost of that look in the same unit
    missing : (n,) True where evidence is lacking: the row answers look, with `missing_headline`
    cautions : texts, or row -> texts
    sources : facts read while answering, for all rows alike; or row -> sources, where rows rest on different facts
    cost_of_waiting : (n,) money in `unit`; from the decision where None
    pictures : row -> drawings of the answer, made only where they are shown; a row with nothing to draw gives none
    """

    table: Table
    context: Context
    headline: Callable[[int], str]
    because: Callable[[int], list[str]]
    options: tuple[Option, ...] = ()
    decision: Decision | None = None
    unit: str = "USD"
    bars: tuple[Bar, ...] = ()
    verdict: NDArray[np.int8] | None = None
    act_by: NDArray[np.int64] | None = None
    look_by: NDArray[np.int64] | None = None
    quantities: Mapping[str, tuple[Any, Any]] = field(default_factory=dict)
    worth_of_a_look: Floats | None = None
    look_cost: float = 0.0
    missing: Bools | None = None
    missing_headline: Callable[[int], str] | str = "Nothing on file to answer from: go and look."
    missing_look_within: int = 3
    cautions: Sequence[str] | Callable[[int], Sequence[str]] = ()
    sources: Sequence[dict[str, str]] | Callable[[int], Sequence[dict[str, str]]] | None = None
    cost_of_waiting: Floats | None = None
    pictures: Callable[[int], Sequence[Picture]] | None = None
    question: Question | None = None

    def __post_init__(self) -> None:
        n = len(self.table)
        none = np.full(n, -1, dtype=np.int64)
        self.act_by = none if self.act_by is None else np.asarray(self.act_by, np.int64)
        self.look_by = none.copy() if self.look_by is None else np.asarray(self.look_by, np.int64)
        self.missing = np.zeros(n, bool) if self.missing is None else np.asarray(self.missing, bool)
        self.worth_of_a_look = np.zeros(n) if self.worth_of_a_look is None else np.nan_to_num(self.worth_of_a_look)
        if self.cost_of_waiting is None:
            self.cost_of_waiting = np.zeros(n) if self.decision is None else self.decision.cost_of_waiting
        self.cost_of_waiting = np.nan_to_num(np.asarray(self.cost_of_waiting, np.float64))
        if self.verdict is None:
            self.verdict = verdicts(self)
        self.verdict = np.where(self.missing & (self.verdict != STOP), LOOK, self.verdict).astype(np.int8)
        self.look_by = np.where(
            self.missing & (self.verdict == LOOK) & (self.look_by < 0), self.missing_look_within, self.look_by
        )
        if self.sources is None:
            self.sources = self.context.facts.cited()

    @cached_property
    def _lost(self) -> Floats:
        """(n,) money for the whole place that waiting until next week would lose; for a look, its worth."""
        size = self.table.size if self.table.size.size else np.ones(len(self.table))
        worth = np.where(self.verdict == LOOK, _array(self.worth_of_a_look), 0.0)
        lost = np.maximum(_array(self.cost_of_waiting), worth) * np.nan_to_num(size, nan=1.0)
        return np.asarray(np.nan_to_num(lost, posinf=0.0))

    @cached_property
    def _quantities(self) -> list[tuple[str, str | list[str], list[Any]]]:
        """Name, unit (one for all rows, or one a row) and the value of every row."""
        shape = (len(self.table),)
        return [
            (k, unit if isinstance(unit, str) else list(unit), np.broadcast_to(np.asarray(v), shape).tolist())
            for k, (v, unit) in self.quantities.items()
        ]

    @cached_property
    def _figures(self) -> list[Any]:
        """What `_options` shows of every row and option, as plain lists; then where each bar stands."""
        d = self.decision
        if d is None:
            return []
        figures = (d.expected, d.low, d.high, d.chance_best, d.barred, d.worst_tenth, d.certainty_equivalent)
        return [
            *(figure.tolist() for figure in figures),
            [np.broadcast_to(bar.mask, d.barred.shape).tolist() for bar in self.bars],
        ]

    def call(self, row: int) -> Call:
        """One row as a call."""
        on = self.context.on
        absent = bool(_array(self.missing)[row])
        verdict = VERDICTS[int(_array(self.verdict)[row])]
        act, look = int(_array(self.act_by)[row]), int(_array(self.look_by)[row])
        quantities = {}
        for name, units, values in self._quantities:
            value, unit = values[row], units if isinstance(units, str) else units[row]
            if isinstance(value, str):
                if value:
                    quantities[name] = Quantity(value, unit)
            elif math.isfinite(value):
                quantities[name] = Quantity(float(value), unit)
        cautions = self.cautions(row) if callable(self.cautions) else self.cautions
        sources = self.sources(row) if callable(self.sources) else self.sources
        missing = self.missing_headline if isinstance(self.missing_headline, str) else self.missing_headline(row)
        q = self.question
        return Call(
            question=q.name if q else "", on=on, verdict=verdict,
            act_by=on + timedelta(days=act) if act >= 0 and verdict in ("act", "stop") else None,
            look_by=on + timedelta(days=look) if look >= 0 else None,
            headline=missing if absent else self.headline(row),
            options=() if absent else self._options(row), quantities=quantities,
            worth_of_a_look=Quantity(float(_array(self.worth_of_a_look)[row]), self.unit),
            because=tuple(self._because(row, absent)), cautions=tuple(cautions), sources=tuple(sources or ()),
            seed=self.context.outlook.seed, version=VERSION, place=self.table.keys[row],
            place_name=self.table.names[row] if self.table.names else "",
            farm=self.table.farms[row] if self.table.farms else "", room=q.room if q else "",
            cost_of_waiting=float(self._lost[row]),
            evidence=self.table.evidence[row] if self.table.evidence else (),
        )  # fmt: skip

    def drawn(self, row: int) -> tuple[Picture, ...]:
        """Pictures of one row; none where evidence is lacking or a hazard stands, so that no line of money tempts."""
        if self.pictures is None or _array(self.missing)[row] or _array(self.verdict)[row] == STOP:
            return ()
        return tuple(self.pictures(row))

    def _because(self, row: int, absent: bool) -> list[str]:
        """Reasons; of a row that lacks evidence only those whose numbers are known."""
        lines = self.because(row)
        return [line for line in lines if not _UNKNOWN.search(line)] if absent else lines

    def calls(self) -> Iterator[Call]:
        """Every row as a call."""
        return (self.call(row) for row in range(len(self.table)))

    def _options(self, row: int) -> tuple[OptionResult, ...]:
        if self.decision is None:
            return ()
        expected, low, high, chance, barred, worst, certain, standing = self._figures
        out = []
        for at, option in enumerate(self.options):
            reasons = [bar.text(row) for bar, mask in zip(self.bars, standing, strict=True) if mask[row][at]]
            if barred[row][at] and not reasons:
                reasons = ["not open here"]
            out.append(
                OptionResult(
                    option.key, option.label, expected[row][at], low[row][at], high[row][at], self.unit,
                    chance[row][at], "; ".join(reasons) or None, worst[row][at], certain[row][at],
                )
            )  # fmt: skip
        return tuple(out)


def verdicts(answers: Answers, act_within: int = 7) -> NDArray[np.int8]:
    """The usual rule, for questions that do not set their own verdicts.

    stop : a hazard bar stands on any option of the row, or every option is barred
    act : the best option is not passive and has no day, or its act-by falls within `act_within` days, or no look is
        worth its cost
    look : a look is worth more than it costs, or a look-by date was given and the passive option is best
    wait : otherwise
    """
    n = len(answers.table)
    worth = _array(answers.worth_of_a_look) > answers.look_cost
    verdict = np.where(worth | (_array(answers.look_by) >= 0), LOOK, WAIT)
    d = answers.decision
    if d is not None and answers.options:
        passive = np.array([o.passive for o in answers.options])
        active = (d.best >= 0) & ~passive[d.best]
        soon = (d.act_by < 0) | (d.act_by <= act_within)
        verdict = np.where(active & (soon | ~worth), ACT, np.where(active, LOOK, verdict))
        verdict = np.where(d.barred.all(axis=1), STOP, verdict)  # a row without figures is not a hazard
        for bar in answers.bars:
            if bar.hazard:
                verdict = np.where(np.broadcast_to(bar.mask, d.barred.shape).any(axis=1), STOP, verdict)
    return verdict.astype(np.int8).reshape(n)


def _array(values: Any) -> NDArray[Any]:
    return np.asarray(values)


@dataclass(frozen=True)
class Places:
    """Which places the week asks about: their kinds, their crops (any where empty), and a further test by row."""

    kinds: tuple[str, ...] = ()
    crops: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """One decision the adviser faces.

    Attributes
    ----------
    name : as typed, words joined by hyphens
    room, title, about : where it belongs, one line, one paragraph
    inputs : fields in the order in which they are asked
    answer : the batch function
    places : which places the week asks about; None for a phone-in question only
    size : place attribute that scales money (acres, head, bushels); "" for one
    size_unit : unit of that attribute where it is text with a unit, as the money is counted (bu, ton)
    in_season : which rows of the week's table make sense today; all where None
    limits : for what the answer holds, and what it leaves out
    options_count : the most options a row can have, for sizing chunks
    apart : fields on which the options or the facts read depend (``name?``: only whether it is known); the week asks
        rows that differ in them apart, so that no call shows or cites what only a neighbour in its batch needed
    check : refuse a combination of inputs in a phone-in (raise InputError); values by field name
    desk_look : its look is made at the desk or by telephone (a forecast, an account), so no round goes there for it
    """

    name: str
    room: str
    title: str
    about: str
    inputs: tuple[Field, ...]
    answer: Callable[[Table, Context], Answers]
    places: Places | None = None
    size: str = ""
    size_unit: str = ""
    in_season: Callable[[Table, Context], Bools] | None = None
    limits: str = ""
    options_count: int = 16
    apart: tuple[str, ...] = ()
    check: Callable[[dict[str, Any]], None] | None = None
    desk_look: bool = False

    def ask(self, table: Table, context: Context) -> Answers:
        """Answer every row; the facts read on the way become the sources."""
        answers = self.answer(table, context.fresh())
        answers.question = self
        return answers


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
    import difflib
    from importlib import import_module

    known = registry()
    if name not in known:
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
