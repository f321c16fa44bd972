"""Amounts: bars from zero with a tick for what is usual, and a grid of numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

from sideoats.pictures.axis import Axis, Floats, Scale, Words, apart, span, words_of
from sideoats.pictures.paper import LINE, Paper, measured, wrapped
from sideoats.pictures.picture import Picture, Table
from sideoats.words import Paid, Reader, say, sentence

_TOP, _TALL = 34, 190


@dataclass(frozen=True, kw_only=True)
class Bars(Picture):
    """Upright bars from zero; those below zero are hatched, so that the sign shows without colour.

    Attributes
    ----------
    names : words under the bars, or days
    values : (n,) in the axis's unit
    usual : (n,) what is usual, a tick over each bar, named by `usual_name`
    reach : (low, high) (n,) range of past years, in the table and in what a bar says
    """

    names: Sequence[Words | date]
    values: ArrayLike
    axis: Axis
    over: Words = ""
    usual: ArrayLike | None = None
    usual_name: Words = ""
    reach: tuple[ArrayLike, ArrayLike] | None = None

    def table(self, reader: Reader) -> Table:
        """One row a bar."""
        unit, columns = self.axis.unit_said(reader), [words_of(self.over, reader), self.axis.head(reader)]
        cells = [np.asarray(self.values, np.float64)]
        if self.usual is not None:
            name = words_of(self.usual_name, reader)
            columns.append(f"{name}, {unit}" if unit else name)
            cells.append(np.asarray(self.usual, np.float64))
        for end, code in zip(self.reach or (), ("picture.tenth", "picture.ninetieth"), strict=False):
            columns.append(sentence(say(code), reader))
            cells.append(np.asarray(end, np.float64))
        rows = tuple(
            (_named(n, reader), *(self.axis.cell(float(c[i]), reader) for c in cells)) for i, n in enumerate(self.names)
        )
        return Table(tuple(columns), rows)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Bars with their names, ticks of the usual, and what each bar says."""
        heights = self.axis.read(self.values, reader)
        usual = self.axis.read(self.usual, reader) if self.usual is not None else np.full(heights.shape, np.nan)
        low, high = span([heights, usual], zero=True)
        name = words_of(self.usual_name, reader) if self.usual is not None else ""
        margin = min(measured(name, bold=True), 0.26 * paper.width) + 14 if name else 8
        up = Scale(self.axis, reader, low, high, _TOP + _TALL, _TOP)
        left, right = 10 + max(measured(text) for _, text in up.marks()), paper.width - margin
        for y, text in up.marks():
            paper.line(left, y, right, y, faint=True)
            paper.text(left - 6, y + 5, text, anchor="end")
        paper.text(0, 16, self.axis.head(reader), faded=True)
        wide = (right - left) / max(len(self.names), 1)
        middles = [left + wide * (i + 0.5) for i in range(len(self.names))]
        for i, x in enumerate(middles):
            self._bar(paper, up, x, min(0.66 * wide, 64), float(heights[i]), float(usual[i]), wide)
        paper.line(left, up.at(0.0), right, up.at(0.0), width=1.5)
        foot = _TOP + _TALL
        self._under(paper, [_named(n, reader) for n in self.names], middles, wide, foot)
        if name and np.isfinite(usual).any():
            lines = wrapped(name, margin - 10, 3, bold=True)
            y = up.at(float(usual[np.isfinite(usual)][-1]))
            first = min(y + 5 - LINE * (len(lines) - 1) / 2, foot - LINE * (len(lines) - 1))
            paper.texts(right + 8, first, lines, now=True)
        for i, x in enumerate(middles):
            if math.isfinite(heights[i]):
                paper.point(x, up.at(float(heights[i])), self._said(i, reader))

    def _bar(self, paper: Paper, up: Scale, x: float, width: float, height: float, usual: float, wide: float) -> None:
        if math.isfinite(height):
            top, bottom = up.at(max(height, 0.0)), up.at(min(height, 0.0))
            paper.box(x - width / 2, top, width, bottom - top, fill="solid" if height >= 0 else "hatched")
        else:
            paper.text(x, up.at(0.0) - 6, "?", anchor="middle")
        if math.isfinite(usual):
            paper.line(x - wide / 2, up.at(usual), x + wide / 2, up.at(usual), width=3, now=True)

    def _under(self, paper: Paper, names: list[str], middles: list[float], wide: float, foot: float) -> None:
        """Names under the bars: in lines where all fit, else those that stand clear of each other."""
        lines = [wrapped(n, wide - 6, 3) for n in names]
        if any(len(each) > 1 for each in lines) and all(len(n.split()) == 2 for n in names):
            lines = [n.split() for n in names]  # days, each broken at the same place
        if all(measured(part) <= wide - 4 and not part.endswith("…") for each in lines for part in each):
            for x, each in zip(middles, lines, strict=True):
                paper.texts(x, foot + 20, each, anchor="middle")
            paper.height = foot + 12 + LINE * max(map(len, lines), default=1)
            return
        for x, text in apart(list(zip(middles, names, strict=True)), 0, paper.width):
            paper.text(x, foot + 20, text, anchor="middle")
        paper.height = foot + 32

    def _said(self, i: int, reader: Reader) -> str:
        said = f"{_named(self.names[i], reader)}: {self.axis.told(float(np.asarray(self.values)[i]), reader)}"
        if self.usual is not None and math.isfinite(v := float(np.asarray(self.usual)[i])):
            said += f"; {words_of(self.usual_name, reader)} {self.axis.told(v, reader)}"
        return said


def _named(name: Words | date, reader: Reader) -> str:
    return reader.dated(name, "d MMM") if isinstance(name, date) else words_of(name, reader)


@dataclass(frozen=True, kw_only=True)
class Grid(Picture):
    """A table of numbers: losses (below zero) are hatched, gains stand bold on white; the middle cell is as told.

    Attributes
    ----------
    down, across : what the rows and columns are, and their values
    taken : words beside the row that was told
    cells : what the cells are
    """

    down: Axis
    row_values: Sequence[float]
    taken: tuple[int, Words]
    across: Axis
    column_values: Sequence[float]
    cells: Axis
    values: ArrayLike

    def __post_init__(self) -> None:
        wanted = (len(self.row_values), len(self.column_values))
        if self._values.shape != wanted:
            raise ValueError(f"values {self._values.shape} do not fit {wanted[0]} rows and {wanted[1]} columns")

    @property
    def _values(self) -> Floats:
        return np.asarray(self.values, np.float64)

    def _row_names(self, reader: Reader) -> list[str]:
        told = [self.down.told(v, reader) for v in self.row_values]
        at, words = self.taken
        return [f"{t} ({words_of(words, reader)})" if i == at else t for i, t in enumerate(told)]

    def table(self, reader: Reader) -> Table:
        """As drawn."""
        corner = f"{words_of(self.down.name, reader)} / {words_of(self.across.name, reader)}"
        columns = (corner, *(self.across.told(v, reader) for v in self.column_values))
        rows = tuple(
            (name, *(self.cells.cell(float(v), reader) for v in self._values[r]))
            for r, name in enumerate(self._row_names(reader))
        )
        return Table(columns, rows)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Cells with their values."""
        values = self.cells.read(self._values, reader)
        names, heads = (
            _plain(axis, given, reader)
            for axis, given in ((self.down, self.row_values), (self.across, self.column_values))
        )
        told = [
            (self.down.told(r, reader), self.across.told(c, reader))
            for r in self.row_values
            for c in self.column_values
        ]
        left = max(measured(n, bold=True) for n in names) + 14
        wide, top, tall = (paper.width - left - 4) / max(len(heads), 1), 88, 34
        paper.texts(0, 16, wrapped(f"{self.across.head(reader)} →", paper.width - 4, 1), faded=True)
        paper.texts(0, 40, wrapped(f"{self.down.head(reader)} ↓", paper.width - 4, 1), faded=True)
        for c, head in enumerate(heads):
            paper.text(left + wide * (c + 0.5), top - 10, head, anchor="middle", bold=c == len(heads) // 2)
        for r, name in enumerate(names):
            y = top + tall * r
            paper.text(left - 8, y + 22, name, anchor="end", bold=r == self.taken[0])
            for c in range(len(heads)):
                box = (left + wide * c, y, wide, tall)
                self._cell(paper, reader, box, float(values[r, c]), ", ".join(told[r * len(heads) + c]))
        paper.height = top + tall * len(names) + 8

    def _cell(
        self, paper: Paper, reader: Reader, box: tuple[float, float, float, float], value: float, of: str
    ) -> None:
        x, y, wide, tall = box
        paper.box(x, y, wide, tall, fill="hatched" if value < 0 else "blank")
        text = self.cells.mark(value, 0, reader) if math.isfinite(value) else ""
        shown = text if measured(text, bold=value > 0) < wide - 4 else text.replace("$", "")
        paper.text(x + wide / 2, y + 22, shown, anchor="middle", bold=value > 0)
        unit = self.cells.unit_said(reader)
        paper.point(x + wide / 2, y + tall / 2, f"{of}: {text}{unit.removeprefix('$')}")


def _plain(axis: Axis, values: Sequence[float], reader: Reader) -> list[str]:
    """Figures whose unit stands in the head: cents of what is paid, whole dollars of an estimate."""
    decimals = 2 if axis.kind is Paid else 0
    return [axis.mark(v, decimals, reader) for v in axis.read(values, reader).tolist()]
