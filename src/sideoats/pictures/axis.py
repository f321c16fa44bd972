"""What the numbers of a picture are, and how they are told: in the reader's unit, words, figures and dates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats import units
from sideoats.errors import InputError
from sideoats.pictures.paper import measured
from sideoats.pictures.ticks import Ticks, day_ticks, number_ticks
from sideoats.words import Day, Measured, Money, Paid, Reader, Said, Share, Value, sentence, shown

Floats: TypeAlias = NDArray[np.float64]
Words: TypeAlias = Said | str  # a sentence by its code, or a name that is the same in every language


def words_of(words: Words, reader: Reader) -> str:
    """The words as this reader has them."""
    return sentence(words, reader) if isinstance(words, Said) else words


@dataclass(frozen=True)
class Axis:
    """What numbers are.

    Attributes
    ----------
    name : what is measured, such as the gain over doing nothing
    unit : in which the numbers are kept: "USD/ac", "bu/ac", "degF", "1"; "day" for day numbers (``date.toordinal``)
    kind : how one is told; `Share` is kept from 0 to 1, `Day` as day numbers
    label : words for the unit where its symbol is not enough: a code whose value ``unit`` is the symbol; "" for none
    """

    name: Words
    unit: str = "1"
    kind: type[Value] = Measured
    label: str = ""

    @property
    def dated(self) -> bool:
        """True for days."""
        return self.kind is Day

    @property
    def _money(self) -> bool:
        return self.kind in (Money, Paid)

    def read(self, values: ArrayLike, reader: Reader) -> Floats:
        """Numbers in the reader's unit."""
        kept = np.asarray(values, dtype=np.float64)
        factor, offset = _conversion(self, reader)
        return kept * factor + offset if (factor, offset) != (1.0, 0.0) else kept

    def told(self, value: float, reader: Reader) -> str:
        """One number with its unit; "" for one that is not known."""
        if not math.isfinite(value):
            return ""
        if self.dated:
            return reader.day(date.fromordinal(round(value)))
        if self.kind is Share:
            return reader.share(value)
        made = self.kind(value, unit=self.unit) if self._money or self.kind is Measured else self.kind(value)  # type: ignore[call-arg]
        return shown(made, reader)

    def cell(self, value: float, reader: Reader) -> str:
        """One number as it stands in a table whose column's head names the unit; an empty cell for none."""
        if not math.isfinite(value):
            return ""
        if self.dated:
            return reader.whole_day(date.fromordinal(round(value)))
        if self._money or self.kind is Share:
            return self.told(value, reader)
        return reader.number(float(self.read(value, reader)))

    def head(self, reader: Reader) -> str:
        """The name with its unit, as over an axis or a column."""
        name, unit = words_of(self.name, reader), self.unit_said(reader)
        return f"{name}, {unit}" if name and unit else name or unit

    def unit_said(self, reader: Reader) -> str:
        """The unit as the reader writes it: "$/ac", "bu/ac", "%"; "" for days and plain numbers."""
        if self._money:
            per = reader.unit(self.unit.removeprefix("USD").removeprefix("/"))
            return f"$/{per}" if per else "$"
        if self.kind is Share:
            return "%"
        symbol = "" if self.dated or self.kind is not Measured else reader.label(self.unit)
        return sentence(Said(self.label, {"unit": _name(symbol)}), reader) if self.label else symbol

    def mark(self, value: float, decimals: int, reader: Reader) -> str:
        """A mark's figure: dollars carry their sign, so that the axis tells money from amounts."""
        text = reader.fixed(abs(value), decimals)
        sign = "−" if value < 0 and text.strip("0.,") else ""
        return f"{sign}${text}" if self._money and value else f"{sign}{text}"


def _name(text: str) -> Value:
    from sideoats.words import Name

    return Name(text)


def _conversion(axis: Axis, reader: Reader) -> tuple[float, float]:
    """Kept unit -> the reader's, as factor and offset."""
    if axis.kind is Share:
        return 100.0, 0.0
    if axis.kind in (Money, Paid):
        held = axis.unit.removeprefix("USD").removeprefix("/")
        per = reader.unit(held)
        return (1.0, 0.0) if per == held else (1 / float(units.convert(1.0, held, per)), 0.0)
    theirs = axis.unit if axis.kind is not Measured else reader.unit(axis.unit)
    if theirs == axis.unit:
        return 1.0, 0.0
    zero, one = (float(units.convert(v, axis.unit, theirs)) for v in (0.0, 1.0))
    return one - zero, zero


def span(values: list[ArrayLike | None], *, zero: bool = False) -> tuple[float, float]:
    """Lowest and highest finite value with a little air, to zero where asked. InputError where there is none."""
    flat = np.concatenate([np.asarray(v, dtype=np.float64).ravel() for v in values if v is not None] or [np.zeros(0)])
    flat = flat[np.isfinite(flat)]
    if not flat.size:
        raise InputError("nothing to draw: no finite number was given")
    low, high = float(flat.min()), float(flat.max())
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    air = 0.06 * (high - low) or 0.06 * abs(high) or 1.0
    return low - (0 if zero and low == 0 else air), high + (0 if zero and high == 0 else air)


@dataclass(frozen=True)
class Scale:
    """Numbers (in the reader's unit) to paper: from `low` at `start` to `high` at `end`."""

    axis: Axis
    reader: Reader
    low: float
    high: float
    start: float
    end: float

    @cached_property
    def ticks(self) -> Ticks:
        """Marks of a number axis."""
        return number_ticks(self.low, self.high)

    def at(self, value: float) -> float:
        """Where a number in the reader's unit stands on the paper."""
        low, high = (self.low, self.high) if self.axis.dated else (self.ticks.low, self.ticks.high)
        return self.start + (value - low) / ((high - low) or 1.0) * (self.end - self.start)

    def marks(self) -> list[tuple[float, str]]:
        """Places on the paper and their figures."""
        if not self.axis.dated:
            ticks = self.ticks
            return [(self.at(v), self.axis.mark(v, ticks.decimals, self.reader)) for v in ticks.at]
        days = day_ticks(date.fromordinal(math.ceil(self.low)), date.fromordinal(math.floor(self.high)))
        out: list[tuple[float, str]] = []
        for day in days.at:
            first_of_year = days.step == "month" and (day.month == 1 or not out)
            pattern = {"day": "d MMM", "month": "MMM y" if first_of_year else "MMM", "year": "y"}[days.step]
            out.append((self.at(day.toordinal()), self.reader.dated(day, pattern)))
        return out


def apart(marks: list[tuple[float, str]], low: float, high: float, gap: float = 8) -> list[tuple[float, str]]:
    """The marks whose words stand clear of each other and inside the paper, each moved in from the edge if need be."""
    out: list[tuple[float, str]] = []
    end = -math.inf
    for x, text in marks:
        half = measured(text) / 2
        middle = min(max(x, low + half), high - half)
        if middle - half >= end + gap or not out:
            out.append((middle, text))
            end = middle + half
    return out
