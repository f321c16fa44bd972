"""Separate choices or kinds, a row each: the range with a dot at the middle, and words at the right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sideoats.pictures.axis import Axis, Scale, Words, apart, span, words_of
from sideoats.pictures.course import Level, range_said
from sideoats.pictures.paper import LINE, Paper, measured, wrapped
from sideoats.pictures.picture import Picture, Table
from sideoats.words import Reader, say, sentence

AWAY = 0.4  # of the farther end: where the nearer end is beyond that, the scale does not reach back to zero
_TOP, _ROW = 8, 34


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes
    ----------
    low, middle, high : ends and middle of its range; NaN where there are none
    note : words at the right of the row, such as what it pays
    more : words about it in the table and where it is pointed at, such as the chance that it is best
    worst : average of its worst tenth, in the table
    instead : words in place of a range that is not there, such as why it is ruled out
    now : the one that leads, or the grower's own
    """

    name: Words
    low: float
    middle: float
    high: float
    note: Words = ""
    more: Words = ""
    worst: float = math.nan
    instead: Words = ""
    now: bool = False


@dataclass(frozen=True, kw_only=True)
class Rows(Picture):
    """Ranges on one scale, in the order given.

    Attributes
    ----------
    axis : what the ranges are
    heads : of the table's three columns
    level : a line through all rows
    listed : the rows of the table where it has more than are drawn
    zero : reach back to zero, unless all ranges lie so far from it that nothing could be told apart
    """

    kept: Sequence[Row]
    axis: Axis
    heads: tuple[str, str, str] = ("picture.low_end", "picture.middle", "picture.high_end")
    level: Level | None = None
    zero: bool = False
    listed: Sequence[Row] = ()

    def table(self, reader: Reader) -> Table:
        """One row a choice."""
        unit = self.axis.unit_said(reader)
        listed = self.listed or self.kept
        worst = any(math.isfinite(r.worst) for r in listed)
        told = any(r.more or r.instead for r in listed)
        heads = [sentence(say(code), reader) for code in (*self.heads, *(["picture.worst_tenth"] if worst else []))]
        rows = tuple(
            (
                words_of(r.name, reader),
                *(self.axis.cell(v, reader) for v in (r.low, r.middle, r.high, *([r.worst] if worst else []))),
                *((words_of(r.instead, reader) or words_of(r.more, reader),) if told else ()),
            )
            for r in listed
        )
        columns = (
            words_of(self.axis.name, reader),
            *(f"{head}, {unit}" if unit else head for head in heads),
            *((sentence(say("picture.remark"), reader),) if told else ()),
        )
        return Table(columns, rows)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Names left (above on a phone), ranges, words right."""
        names = [words_of(r.name, reader) for r in self.kept]
        notes = [words_of(r.note, reader) for r in self.kept]
        stacked = paper.narrow and max(measured(n, bold=True) for n in names) > 0.28 * paper.width
        most = 0.36 * paper.width
        right = paper.width - (8 + max(map(measured, notes)) if any(notes) and not stacked else 12)
        left = 12.0 if stacked else min(max(measured(n, bold=True) for n in names), most) + 14
        scale = self._scale(reader, left, right) if any(math.isfinite(r.middle) for r in self.kept) else None
        y, feet = float(_TOP), []
        for row, name, note in zip(self.kept, names, notes, strict=True):
            if stacked:
                shown = wrapped(name, paper.width - measured(note) - 24, 2, bold=True)
                paper.text(paper.width - 4, y + 16, note, anchor="end", faded=True)
                paper.texts(0, y + 16, shown, bold=not row.now, now=row.now)
                y += LINE * len(shown) + 2
            else:
                shown = wrapped(name, most, 2, bold=True)
                paper.texts(
                    left - 12, y + 22 - LINE * (len(shown) - 1) / 2, shown, anchor="end", bold=True, now=row.now
                )
                paper.text(right + 8, y + 22, note, faded=True)
            feet.append((row, y + 17))
            y += _ROW
            if stacked and row.instead:
                y += 8
        paper.height = y + 4
        if scale is not None:
            self._axis(paper, reader, scale, [f for r, f in feet if math.isfinite(r.middle)], y)
        for row, foot in feet:
            if scale is not None and math.isfinite(row.middle):
                self._row(paper, reader, scale, row, foot)
            else:
                self._without(paper, reader, row, foot, left, right)

    def _scale(self, reader: Reader, left: float, right: float) -> Scale:
        given = [v for r in self.kept for v in (r.low, r.middle, r.high)]
        low, high = span([given, [self.level.value] if self.level else []] if not self.zero else [given])
        if self.zero and not (low > AWAY * high > 0 or high < AWAY * low < 0):
            low, high = span([given], zero=True)
        ends = self.axis.read([low, high], reader)
        return Scale(self.axis, reader, float(ends[0]), float(ends[1]), left + 6, right - 6)

    def _axis(self, paper: Paper, reader: Reader, scale: Scale, rows: list[float], foot: float) -> None:
        """Gridlines and the level through the rows that have a range, so that they cross no words; marks below."""
        level = math.nan if self.level is None else scale.at(float(self.axis.read(self.level.value, reader)))
        base = self.level is not None and self.level.base
        for y in rows:
            for x, _ in scale.marks():
                paper.line(x, y - _ROW / 2, x, y + _ROW / 2, faint=True)
            if scale.start - 8 <= level <= scale.end + 8:
                ends = (level, y - _ROW / 2, level, y + _ROW / 2)
                paper.line(*ends, width=2 if base else 1.2, dash="" if base else "3 3")
        left, right = scale.start, scale.end
        for x, text in apart(scale.marks(), 0, paper.width):
            paper.text(x, foot + 18, text, anchor="middle")
        head = wrapped(self.axis.head(reader), paper.width - 8, 2)
        middle = min(max((left + right) / 2, measured(head[0]) / 2), paper.width - measured(head[0]) / 2)
        paper.texts(middle, foot + 18 + LINE, head, anchor="middle", faded=True)
        paper.height = foot + 26 + LINE * len(head)

    def _row(self, paper: Paper, reader: Reader, scale: Scale, row: Row, y: float) -> None:
        low, middle, high = (float(v) for v in self.axis.read([row.low, row.middle, row.high], reader))
        ranged = math.isfinite(low) and math.isfinite(high)
        said = f"{words_of(row.name, reader)}: {self.axis.told(row.middle, reader)}"
        if ranged:
            paper.line(scale.at(low), y, scale.at(high), y, width=3)
            for end in (low, high):
                paper.line(scale.at(end), y - 5, scale.at(end), y + 5, width=1.5)
            said += f" ({range_said(self.axis, row.low, row.high, reader)})"
        paper.dot(scale.at(middle), y, 7 if row.now else 5.5, now=row.now)
        more = words_of(row.more, reader)
        paper.point(scale.at(middle), y, f"{said}; {more}" if more else said)

    def _without(self, paper: Paper, reader: Reader, row: Row, y: float, left: float, right: float) -> None:
        """Words in place of a range."""
        words = words_of(row.instead, reader) or sentence(say("picture.no_figure"), reader)
        lines = wrapped(words, right - left, 2)
        paper.texts(left, y + 5 - (LINE / 2 - 2) * (len(lines) - 1), lines, faded=True)
