"""What a question says: a code and values, never a sentence. `words/<language>` holds the sentences.

A value may be one for all places or an array with one a place; `Said.at` takes a place's own. Values keep their unit,
and where they rest on a fact its id, so that every language renders them for its reader and the call cites what it
used.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, ClassVar

import numpy as np

from sideoats.records import dataclass


@dataclass(frozen=True)
class Value:
    """A value of a sentence. `fact` is the id of the fact that it comes from, "" for evidence or a sum.

    A kind of value that adds no field is no dataclass of its own: fifteen of them took longer than an answer's words.
    """

    amount: Any
    fact: str = ""
    kind: ClassVar[str] = ""

    def at(self, row: int) -> Value:
        """The value of one place."""
        given = self.amount
        own = getattr(self, "unit", "")  # as the amount, one for all places or one a place
        if not isinstance(given, (np.ndarray, np.generic)) and not isinstance(own, np.ndarray):
            return self
        if isinstance(given, np.ndarray) and given.ndim:
            given = given[row]
        more = {"unit": str(own[row])} if isinstance(own, np.ndarray) else {}
        return replace(self, amount=given.item() if isinstance(given, np.generic | np.ndarray) else given, **more)

    @property
    def fixed(self) -> bool:
        """True where it is the same for all places."""
        held = self.amount if isinstance(self.amount, tuple) else (self.amount,)
        return all(
            part.fixed if isinstance(part, Said) else not (isinstance(part, np.ndarray) and part.ndim)
            for part in (*held, getattr(self, "unit", ""))
        )

    @property
    def known(self) -> bool:
        """False for a number that is not finite and for an empty text."""
        return _known(self.amount)

    def shapes(self, rows: int) -> list[tuple[bool, list[Any]]]:
        """Of every place whether it is known, and its plain shape; what is the same for all is made once."""
        given, own = self.amount, getattr(self, "unit", "")
        if self.fixed:
            return [(self.known, _plain(self))] * rows
        if not isinstance(given, np.ndarray) or isinstance(own, np.ndarray) or type(self).known is not Value.known:
            return [(v.known, _plain(v)) for v in map(self.at, range(rows))]
        kind, tail = self.kind, _tail(self)
        amounts = (given.astype("datetime64[D]") if given.dtype.kind == "M" else given).tolist()
        return [(_known(amount), [kind, _kept(self, amount), *tail]) for amount in amounts]


@dataclass(frozen=True)
class Measured(Value):
    """A number with a unit, shown with as many digits as are known; `of` is the crop whose bushel is meant.

    `unit` may be an array with one a place, as `amount` may.
    """

    unit: Any = "1"
    of: str = ""
    kind: ClassVar[str] = "q"


@dataclass(frozen=True)
class _InDollars(Value):
    """Money, by whatever it is counted."""

    unit: str = "USD"


class Money(_InDollars):
    """Money in `unit` (USD, USD/ac, USD/bu ...), an estimate: two significant figures where it is large."""

    kind: ClassVar[str] = "m"


class Paid(_InDollars):
    """Dollars to the cent, as on a scale ticket, a check or a quote; what is estimated is `Money`."""

    kind: ClassVar[str] = "c"


class Share(Value):
    """A share or chance, 0 to 1."""

    kind: ClassVar[str] = "p"


class Count(Value):
    """A whole number of things; the message's plural follows the value that is named ``n``."""

    kind: ClassVar[str] = "n"


class Day(Value):
    """A calendar day (datetime.date or datetime64)."""

    kind: ClassVar[str] = "d"


class LongDay(Day):
    """A calendar day of another year perhaps, shown with its year and without the day of the week."""

    kind: ClassVar[str] = "D"


@dataclass(frozen=True)
class Hour(Value):
    """An hour of the clock, 0 to 24: ``9 am``, ``6:48 pm``."""

    kind: ClassVar[str] = "h"


@dataclass(frozen=True)
class _Worded(Value):
    """What the vocabulary has a word for."""

    of: str = ""


class Term(_Worded):
    """A word of the vocabulary: `amount` is the choice, `of` the observable it belongs to."""

    kind: ClassVar[str] = "w"


class Name(Value):
    """A proper name (a station, a publisher, a place), shown as it is."""

    kind: ClassVar[str] = "t"


class Terms(_Worded):
    """Several words of one observable, listed: `amount` is a tuple of choices, the same for all places."""

    kind: ClassVar[str] = "l"


class Phrase(Value):
    """A part of a sentence that is a code of its own (the label of an option): a `Said` of one place, None for none."""

    kind: ClassVar[str] = "s"

    @property
    def known(self) -> bool:
        """A part that is left out leaves no gap; one that is there may have one."""
        return self.amount is None or bool(self.amount.known)


@dataclass(frozen=True)
class Between(Value):
    """A range, ``36 to 101 bu/ha``: `amount` is (low, high) in one unit, so that both ends are the reader's.

    `unit` may be an array with one a place, as the ends may.
    """

    unit: Any = "1"
    kind: ClassVar[str] = "b"

    def at(self, row: int) -> Value:
        """The range of one place."""
        low, high = (Measured(end, unit=self.unit).at(row) for end in self.amount)
        return replace(self, amount=(low.amount, high.amount), unit=getattr(high, "unit", self.unit))

    @property
    def known(self) -> bool:
        """Both ends are finite."""
        return all(Value(end).known for end in self.amount)


class Parts(Value):
    """Parts of a sentence, one behind the other with semicolons: `amount` is a tuple of `Said`.

    A part that is said of some places only (`Said.where`) is left out at the others.
    """

    kind: ClassVar[str] = "e"

    def at(self, row: int) -> Value:
        """The parts that one place has."""
        return replace(self, amount=tuple(part.at(row) for part in self.amount if part.at(row).fits))

    @property
    def known(self) -> bool:
        """True where there is a part and none has a gap."""
        return bool(self.amount) and all(part.known for part in self.amount)


_KINDS: dict[str, type[Value]] = {
    kind.kind: kind
    for kind in (Measured, Money, Paid, Share, Count, Day, LongDay, Hour, Term, Name, Terms, Phrase, Parts, Between)
}


def value(given: Any) -> Value:
    """A plain Python value as a `Value`: whole numbers count, floats are measured, dates are days, text is a name."""
    if isinstance(given, Value):
        return given
    if isinstance(given, Said):
        return Phrase(given)
    if isinstance(given, np.ndarray):
        kind = given.dtype.kind
        if kind == "M":
            return Day(given)
        return Count(given) if kind in "iu" else Measured(given) if kind == "f" else Name(given)
    if isinstance(given, bool):
        raise TypeError("a flag is not a value of a sentence: say it by the code")
    if isinstance(given, int):
        return Count(given)
    if isinstance(given, float):
        return Measured(given)
    return (
        Phrase(None) if given is None else Day(given) if isinstance(given, date | np.datetime64) else Name(str(given))
    )


@dataclass(frozen=True)
class Said:
    """A sentence to be: its code in the catalogue and the values that stand in it."""

    code: str
    values: Mapping[str, Value]

    def at(self, row: int) -> Said:
        """The sentence of one place."""
        return Said(self.code, {name: v.at(row) for name, v in self.values.items()})

    @property
    def known(self) -> bool:
        """True where every value is known: a sentence with a gap is not said."""
        return all(v.known for v in self.values.values())

    def where(self, rows: Any) -> Said:
        """The sentence for the places where `rows` is True, and for no others."""
        return Said(self.code, {**self.values, "said": Share(np.where(rows, 1.0, np.nan))})

    @property
    def fixed(self) -> bool:
        """True where it is the same for all places."""
        return all(v.fixed for v in self.values.values())

    @property
    def varied(self) -> bool:
        """True where places differ in its parts too, and so in the facts that it rests on."""
        return any(isinstance(v, (Parts, Phrase)) and not v.fixed for v in self.values.values())

    @property
    def fits(self) -> bool:
        """False at a place of which it is not said (`where`); one with a gap may fit."""
        return "said" not in self.values or self.values["said"].known

    @property
    def facts(self) -> tuple[str, ...]:
        """Ids of the facts that its values come from."""
        own = [v.fact for v in self.values.values() if v.fact]
        for v in self.values.values():
            for part in v.amount if isinstance(v.amount, tuple) else (v.amount,):
                if isinstance(part, Said):
                    own += part.facts
        return tuple(dict.fromkeys(own))

    def shapes(self, rows: int) -> list[list[Any] | None]:
        """The plain shape of every place, None where there is a gap: as `at`, `known` and `plain` one by one."""
        names, columns = list(self.values), [v.shapes(rows) for v in self.values.values()]
        if not columns:
            return [[self.code, {}]] * rows
        return [
            [self.code, dict(zip(names, (shape for _, shape in own), strict=True))] if all(k for k, _ in own) else None
            for own in zip(*columns, strict=True)
        ]

    def plain(self) -> list[Any]:
        """As JSON: code, then name -> [kind, amount, unit, of, fact], short because the week keeps many."""
        return [self.code, {name: _plain(v) for name, v in self.values.items()}]


def say(code: str, **values: Any) -> Said:
    """``say("aphid.gain", gain=Money(x, "USD/ac"), n=leaves)``."""
    return Said(code, {name: value(v) for name, v in values.items()})


def said_from(shape: list[Any]) -> Said:
    """The inverse of `Said.plain` for one place."""
    code, values = shape
    return Said(code, {name: _value_from(v) for name, v in values.items()})


def _known(amount: Any) -> bool:
    if isinstance(amount, (float, int)):
        return math.isfinite(amount)
    return amount is not None and amount != ""


def _plain(v: Value) -> list[Any]:
    amount = v.amount
    if isinstance(amount, (np.generic, np.ndarray)):
        amount = amount.astype("datetime64[D]").item() if amount.dtype.kind == "M" else amount.item()
    return [v.kind, _kept(v, amount), *_tail(v)]


def _tail(v: Value) -> list[str]:
    """What stands behind the amount, as far as there is something."""
    tail = [getattr(v, "unit", ""), getattr(v, "of", ""), v.fact]
    while tail and not tail[-1]:
        tail.pop()
    return tail


def _kept(v: Value, amount: Any) -> Any:
    """An amount as it is kept; money on paper has its cents."""
    if isinstance(v, Paid):
        return round(float(amount), 2) if math.isfinite(amount) else None
    if isinstance(amount, float):
        return _figure(amount)
    if isinstance(amount, date):
        return amount.isoformat()
    if isinstance(amount, Said):
        return amount.plain()
    if isinstance(amount, tuple):
        return [_figure(p) if isinstance(p, float) else p.plain() if isinstance(p, Said) else p for p in amount]
    return amount


def _figure(amount: float) -> float | None:
    """Six digits are more than any input carries."""
    return float(f"{amount:.6g}") if math.isfinite(amount) else None


def _value_from(shape: list[Any]) -> Value:
    padded = [*shape, "", "", ""]
    kind, amount, unit, of, fact = padded[:5]
    if kind in "dD":
        amount = None if amount is None else date.fromisoformat(amount)
    elif kind == "s":
        amount = None if amount is None else said_from(amount)
    elif kind == "l":
        amount = tuple(amount)
    elif kind == "e":
        amount = tuple(map(said_from, amount))
    elif kind == "b":
        amount = tuple(math.nan if end is None else end for end in amount)
    elif kind in "qmpcnh" and amount is None:
        amount = math.nan
    extra = {"unit": unit, "of": of}
    made = _KINDS[kind]
    return made(amount, fact=fact, **{k: v for k, v in extra.items() if v and k in made.__dataclass_fields__})
