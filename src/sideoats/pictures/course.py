"""Numbers over days or amounts: lines with their ranges where time flows, stems where each place is a choice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sideoats.pictures.axis import Axis, Floats, Scale, Words, apart, span, words_of
from sideoats.pictures.paper import DASHES, LINE, Paper, measured, wrapped
from sideoats.pictures.picture import Picture, Table
from sideoats.words import Name, Reader, say, sentence

MOST_POINTS = 60  # that say their value when pointed at; the table has every one
_TOP, _BOTTOM, _TALL = 34, 30, 220
_OUTER, _INNER = 0.11, 0.16


@dataclass(frozen=True)
class Line:
    """One line: its value at each place, and the ends of its ranges where it has them; NaN leaves a gap.

    Attributes
    ----------
    low, high : of the outer range, such as eight futures of ten
    inner : ends of the inner range, such as half the futures
    edges : names of the outer range's low and high edge at its end
    now : the estimate that the picture is about
    ahead : not observed: drawn dashed
    """

    name: Words
    y: ArrayLike
    low: ArrayLike | None = None
    high: ArrayLike | None = None
    inner: tuple[ArrayLike, ArrayLike] | None = None
    edges: tuple[Words, Words] | None = None
    now: bool = False
    ahead: bool = False

    def numbers(self) -> tuple[ArrayLike, ...]:
        """Every number of the line."""
        given = (self.y, self.low, self.high, *(self.inner or ()))
        return tuple(v for v in given if v is not None)


@dataclass(frozen=True)
class Level:
    """A line across, named: doing nothing, a publisher's threshold, what is wanted. `base` is drawn heavy."""

    value: float
    name: Words
    base: bool = False


@dataclass(frozen=True, kw_only=True)
class Course(Picture):
    """Lines or stems over `x`.

    Attributes
    ----------
    x : (n,) rising numbers, day numbers where `across` is of days
    across, up : what the numbers are
    lines : the most important first; at most five are told apart
    levels : lines across
    stems : each x is a choice of its own, drawn as a stem through its ranges with a dot at the value
    today : a place on x
    x_names : words for x where the numbers are not to be shown, such as months
    """

    x: ArrayLike
    across: Axis
    up: Axis
    lines: Sequence[Line]
    levels: Sequence[Level] = ()
    stems: bool = False
    today: float | None = None
    x_names: Sequence[Words] = ()

    def table(self, reader: Reader) -> Table:
        """One row a place on x: each line with the ends of its ranges."""
        unit = self.up.unit_said(reader)
        columns, cells = [self.across.head(reader)], []
        for line in self.lines:
            name = words_of(line.name, reader)
            columns.append(f"{name}, {unit}" if unit else name)
            cells.append(np.asarray(line.y, np.float64))
            if line.low is not None and line.high is not None:
                columns += [sentence(say(f"picture.{end}", of=Name(name)), reader) for end in ("low", "high")]
                cells += [np.asarray(line.low, np.float64), np.asarray(line.high, np.float64)]
        rows = tuple(
            (self._place(at, reader, cell=True), *(self.up.cell(float(c[at]), reader) for c in cells))
            for at in range(len(self._x))
        )
        return Table(tuple(columns), rows)

    @property
    def _x(self) -> Floats:
        return np.asarray(self.x, dtype=np.float64)

    def _place(self, at: int, reader: Reader, *, cell: bool = False) -> str:
        if self.x_names:
            return words_of(self.x_names[at], reader)
        return (self.across.cell if cell else self.across.told)(float(self._x[at]), reader)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Axes, levels, ranges, lines, their names at their ends, and what each place says."""
        names = self._ends(reader)
        room = max([measured(text, bold=True) for _, text, _ in names] or [0.0])
        right = paper.width - (min(room, paper.width * 0.3) + 14 if names else 16)
        head = wrapped(self.up.head(reader), paper.width, 2)
        top = _TOP + LINE * (len(head) - 1)
        low, high = span([*(e for line in self.lines for e in line.numbers()), [v.value for v in self.levels]])
        ends = self.up.read([low, high], reader)
        up = Scale(self.up, reader, float(ends[0]), float(ends[1]), top + _TALL, top)
        left = 10 + max(measured(text) for _, text in up.marks())
        across = self._scale(reader, left + (18 if self.stems else 0), right - (18 if self.stems else 0))
        paper.texts(0, 16, head, faded=True)
        self._axes(paper, reader, up, across, left, right)
        for at, line in enumerate(self.lines):
            (self._stems if self.stems and line.low is not None else self._line)(paper, reader, up, across, line, at)
        self._names(paper, up, names, right)
        self._points(paper, reader, up, across)

    def _scale(self, reader: Reader, left: float, right: float) -> Scale:
        x = self.across.read(self._x, reader)
        low, high = (float(x.min()), float(x.max())) if x.size else (math.nan, math.nan)
        return Scale(self.across, reader, low, high, left, right)

    def _axes(self, paper: Paper, reader: Reader, up: Scale, across: Scale, left: float, right: float) -> None:
        for y, text in up.marks():
            paper.line(left, y, right, y, faint=True)
            paper.text(left - 6, y + 5, text, anchor="end")
        for level in self.levels:
            y = up.at(float(self.up.read(level.value, reader)))
            paper.line(left, y, right, y, width=2 if level.base else 1.2, dash="" if level.base else "2 3")
        foot = up.start
        paper.line(left, foot, right, foot)
        for x, text in apart(self._marks(across, reader), 0, paper.width):
            paper.text(x, foot + 22, text, anchor="middle")
        for x, _ in self._marks(across, reader):
            paper.line(x, foot, x, foot + 5)
        paper.height = foot + _BOTTOM
        if not (self.across.dated or self.x_names):
            paper.text((left + right) / 2, foot + 22 + LINE, self.across.head(reader), anchor="middle", faded=True)
            paper.height += LINE
        if self.today is not None:
            x = across.at(float(self.across.read(self.today, reader)))
            paper.line(x, up.end, x, foot, width=2, now=True)
            said = sentence(say("picture.today"), reader)
            paper.text(min(x + 5, right - measured(said)), up.end + 12, said, now=True)

    def _marks(self, across: Scale, reader: Reader) -> list[tuple[float, str]]:
        """Where x is named: at its own places where these are few, else at round ones."""
        x = self.across.read(self._x, reader)
        if self.x_names:
            return [(across.at(v), words_of(n, reader)) for v, n in zip(x.tolist(), self.x_names, strict=True)]
        if not self.stems or x.size > 12:
            return across.marks()
        if self.across.dated:
            from datetime import date

            days = (date.fromordinal(round(v)) for v in x.tolist())
            return [(across.at(day.toordinal()), reader.dated(day, "d MMM")) for day in days]
        return [(across.at(v), reader.number(v)) for v in x.tolist()]

    def _line(self, paper: Paper, reader: Reader, up: Scale, across: Scale, line: Line, at: int) -> None:
        x = [across.at(v) for v in self.across.read(self._x, reader).tolist()]
        for low, high, tint in ((line.low, line.high, _OUTER), (*(line.inner or (None, None)), _INNER)):
            if low is None or high is None:
                continue
            ends = [self.up.read(v, reader) for v in (low, high)]
            for first, end in _runs(np.isfinite(ends[0]) & np.isfinite(ends[1])):
                over = [(x[i], up.at(float(ends[1][i]))) for i in range(first, end)]
                under = [(x[i], up.at(float(ends[0][i]))) for i in reversed(range(first, end))]
                paper.area(over + under, tint)
        y = self.up.read(line.y, reader)
        dash = "6 4" if line.ahead else DASHES[at % len(DASHES)] if not line.now else ""
        for first, end in _runs(np.isfinite(y)):
            points = [(x[i], up.at(float(y[i]))) for i in range(first, end)]
            if len(points) > 1:
                paper.trace(points, width=2.6 if line.now else 2, dash=dash, now=line.now)
            else:
                paper.dot(*points[0], now=line.now)

    def _stems(self, paper: Paper, reader: Reader, up: Scale, across: Scale, line: Line, _at: int) -> None:
        """Thin through the outer range, thick through the inner, a dot at the value."""
        x = self.across.read(self._x, reader)
        pairs = [((line.low, line.high), 1.5), *([(line.inner, 8)] if line.inner else [])]
        for (bottom, top), width in pairs:
            if bottom is None or top is None:
                continue
            low, high = self.up.read(bottom, reader), self.up.read(top, reader)
            for i in np.flatnonzero(np.isfinite(low) & np.isfinite(high)).tolist():
                at = across.at(float(x[i]))
                paper.line(at, up.at(float(low[i])), at, up.at(float(high[i])), width=width)
        y = self.up.read(line.y, reader)
        best = int(np.nanargmax(y)) if np.isfinite(y).any() else -1
        for i in np.flatnonzero(np.isfinite(y)).tolist():
            paper.dot(across.at(float(x[i])), up.at(float(y[i])), 7 if i == best else 5.5, now=True)

    def _ends(self, reader: Reader) -> list[tuple[float, str, bool]]:
        """(value in the reader's unit, name, whether it is the estimate) of all that is named at the right edge."""
        out = []
        for line in self.lines:
            y = np.asarray(line.y, np.float64)
            known = np.flatnonzero(np.isfinite(y))
            if known.size and not (self.stems and line.low is not None):
                out.append((float(self.up.read(y[known[-1]], reader)), words_of(line.name, reader), line.now))
                for name, end in zip(line.edges or (), (line.low, line.high), strict=False):
                    out.append((float(self.up.read(_of(end, known[-1]), reader)), words_of(name, reader), False))
        for level in self.levels:
            out.append((float(self.up.read(level.value, reader)), words_of(level.name, reader), False))
        return [end for end in out if end[1]]

    def _names(self, paper: Paper, up: Scale, ends: list[tuple[float, str, bool]], right: float) -> None:
        """Names at the ends of lines, pushed apart so that they can be read."""
        room = paper.width - right - 8
        blocks = [(up.at(v), wrapped(text, room, 4, bold=True), now) for v, text, now in ends]
        blocks.sort(key=lambda b: b[0])
        tops = [y - LINE * len(lines) / 2 for y, lines, _ in blocks]
        for i in range(1, len(tops)):
            tops[i] = max(tops[i], tops[i - 1] + LINE * len(blocks[i - 1][1]) + 3)
        floor = up.start + 8.0
        for i in reversed(range(len(tops))):
            tops[i] = min(tops[i], floor - LINE * len(blocks[i][1]))
            floor = tops[i] - 3
        for top, (_, lines, now) in zip(tops, blocks, strict=True):
            paper.texts(right + 8, max(top, 0) + 15, lines, now=now)

    def _points(self, paper: Paper, reader: Reader, up: Scale, across: Scale) -> None:
        """What each place says when pointed at."""
        x = self.across.read(self._x, reader)
        known = [i for i in range(len(x)) if any(math.isfinite(_of(line.y, i)) for line in self.lines)]
        if len(known) > MOST_POINTS:
            known = [known[round(k * (len(known) - 1) / (MOST_POINTS - 1))] for k in range(MOST_POINTS)]
        for i in known:
            first = next(line for line in self.lines if math.isfinite(_of(line.y, i)))
            y = up.at(float(self.up.read(_of(first.y, i), reader)))
            paper.point(across.at(float(x[i])), y, self._said(i, reader))

    def _said(self, i: int, reader: Reader) -> str:
        parts = []
        for line in self.lines:
            value = _of(line.y, i)
            if not math.isfinite(value):
                continue
            name = words_of(line.name, reader)
            text = f"{name} {self.up.told(value, reader)}".strip()
            if line.low is not None and line.high is not None and math.isfinite(_of(line.low, i)):
                text += " (" + range_said(self.up, _of(line.low, i), _of(line.high, i), reader) + ")"
            parts.append(text)
        return f"{self._where(i, reader)}: {'; '.join(parts)}"

    def _where(self, i: int, reader: Reader) -> str:
        place = self._place(i, reader)
        if self.x_names or self.across.dated or self.across.unit not in ("1", ""):
            return place
        return f"{words_of(self.across.name, reader)} {place}"


def range_said(axis: Axis, low: float, high: float, reader: Reader) -> str:
    """``$4 to $12/ac`` in the reader's words."""
    ends = {"low": Name(axis.told(low, reader)), "high": Name(axis.told(high, reader))}
    return sentence(say("picture.range", **ends), reader)


def _of(values: ArrayLike | None, i: int) -> float:
    return math.nan if values is None else float(np.asarray(values, np.float64)[i])


def _runs(good: np.ndarray) -> list[tuple[int, int]]:
    """Stretches of True as (first, end exclusive)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
