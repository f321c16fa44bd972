"""What happened at a place over a season: rows over one run of days, today drawn through all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike

from sideoats.pictures.axis import Axis, Scale, Words, apart, words_of
from sideoats.pictures.paper import LINE, Paper, measured
from sideoats.pictures.picture import Picture, Table
from sideoats.pictures.ticks import number_ticks
from sideoats.words import Day, Reader, say, sentence

SIGNS = ("seen", "call", "done")  # an open ring, a diamond, a square
_TOP, _BAND, _GAP = 26, 96, 44


@dataclass(frozen=True)
class Span:
    """A range a day, such as the lowest and highest temperature: an upright stroke each."""

    axis: Axis
    low: ArrayLike
    high: ArrayLike


@dataclass(frozen=True)
class Sums:
    """An amount a week with what is usual; the first week begins with the first day."""

    axis: Axis
    values: ArrayLike
    usual: ArrayLike
    usual_name: Words


@dataclass(frozen=True)
class Event:
    """Something seen, advised or done; `sign` is one of `SIGNS`."""

    day: date
    sign: str
    said: str
    link: str = ""


@dataclass(frozen=True, kw_only=True)
class Calendar(Picture):
    """Rows over the days from `first` to `last`.

    Attributes
    ----------
    spans, sums : rows with a scale; None where nothing was measured
    events : the last row; `sign_names` says what its signs are
    weeks : rows of the table, in the axes' units: week's first day, then means of the span's ends, sum and usual sum
    """

    first: date
    last: date
    today: date
    spans: Span | None
    sums: Sums | None
    events: Sequence[Event]
    sign_names: Sequence[tuple[str, Words]]
    heads: Sequence[Words] = ()
    weeks: Sequence[tuple[date, float, float, float, float]] = ()

    def table(self, reader: Reader) -> Table:
        """The weeks."""
        if self.spans is None or self.sums is None or not self.weeks:
            return Table((), ())
        axes = (self.spans.axis, self.spans.axis, self.sums.axis, self.sums.axis)
        units = ["", *(a.unit_said(reader) for a in axes)]
        heads = tuple(f"{words_of(h, reader)}, {u}" if u else words_of(h, reader) for h, u in zip(self.heads, units))
        rows = tuple(
            (reader.whole_day(w[0]), *(a.cell(v, reader) for a, v in zip(axes, w[1:], strict=True))) for w in self.weeks
        )
        return Table(heads, rows)

    def draw(self, paper: Paper, reader: Reader) -> None:
        """Every row, the days below, today through all."""
        bands = [b for b in (self.spans, self.sums) if b is not None]
        marks = {id(b): self._scale(b, reader, _TOP + i * (_BAND + _GAP)) for i, b in enumerate(bands)}
        left = 10 + max([measured(text) for s in marks.values() for _, text in s.marks()] or [20.0])
        days = Scale(
            Axis("", "day", Day), reader, self.first.toordinal(), self.last.toordinal(), left, paper.width - 14
        )
        foot = _TOP + len(bands) * (_BAND + _GAP) + 30
        for x, _ in days.marks():
            paper.line(x, _TOP, x, foot, faint=True)
        for band in bands:
            scale = marks[id(band)]
            self._marks(paper, reader, scale, left)
            (self._span if isinstance(band, Span) else self._sums)(paper, reader, scale, days, band)  # type: ignore[arg-type]
        self._events(paper, days, foot - 22)
        paper.line(left, foot, paper.width - 14, foot)
        for x, text in apart(days.marks(), 0, paper.width):
            paper.text(x, foot + 20, text, anchor="middle")
        self._today(paper, reader, days, foot)
        paper.height = self._key(paper, reader, foot + 28 + LINE)

    def _scale(self, band: Span | Sums, reader: Reader, top: float) -> Scale:
        given = (band.low, band.high) if isinstance(band, Span) else (band.values, band.usual)
        flat = np.concatenate([band.axis.read(v, reader).ravel() for v in given])
        flat = flat[np.isfinite(flat)]
        low, high = (float(flat.min()), float(flat.max())) if flat.size else (0.0, 1.0)
        if isinstance(band, Sums):
            low, high = 0.0, max(high, number_ticks(0.0, 1.0).at[1])
        return Scale(band.axis, reader, low, high, top + _BAND, top)

    def _marks(self, paper: Paper, reader: Reader, scale: Scale, left: float) -> None:
        for y, text in scale.marks():
            paper.line(left, y, paper.width - 14, y, faint=True)
            paper.text(left - 6, y + 5, text, anchor="end")
        paper.text(0, scale.end - 10, scale.axis.head(reader), faded=True)

    def _span(self, paper: Paper, reader: Reader, up: Scale, days: Scale, band: Span) -> None:
        low, high = (band.axis.read(v, reader) for v in (band.low, band.high))
        known = np.flatnonzero(np.isfinite(low) & np.isfinite(high)).tolist()
        x = {i: days.at(self.first.toordinal() + i) for i in known}
        paper.shape(
            "".join(f"M{x[i]:.1f} {up.at(float(high[i])):.1f}V{up.at(float(low[i])):.1f}" for i in known),
            fill="none",
            width=1.5,
        )
        told = np.asarray(band.low, np.float64), np.asarray(band.high, np.float64)
        for i in known[:: max(1, len(known) // 60)]:
            day = reader.day(date.fromordinal(self.first.toordinal() + i))
            ends = f"{band.axis.told(float(told[0][i]), reader)}, {band.axis.told(float(told[1][i]), reader)}"
            paper.point(x[i], up.at(float(high[i])), f"{day}: {ends}")

    def _sums(self, paper: Paper, reader: Reader, up: Scale, days: Scale, band: Sums) -> None:
        values, usual = (band.axis.read(v, reader) for v in (band.values, band.usual))
        kept, kept_usual = np.asarray(band.values, np.float64), np.asarray(band.usual, np.float64)
        name = words_of(band.usual_name, reader)
        for i in range(len(values)):
            start = self.first.toordinal() + 7 * i
            left, right = days.at(start), days.at(min(start + 7, self.last.toordinal()))
            if math.isfinite(values[i]) and values[i] > 0:
                paper.box(left + 1.5, up.at(float(values[i])), right - left - 3, up.at(0) - up.at(float(values[i])))
            if math.isfinite(usual[i]):
                paper.line(left, up.at(float(usual[i])), right, up.at(float(usual[i])), width=2.4, now=True)
            said = f"{reader.day(date.fromordinal(start))}: {band.axis.told(float(kept[i]), reader)}"
            if math.isfinite(usual[i]):
                said += f"; {name} {band.axis.told(float(kept_usual[i]), reader)}"
            paper.point((left + right) / 2, up.at(float(np.nan_to_num(values[i]))), said)
        paper.line(days.start, up.at(0), days.end, up.at(0))

    def _events(self, paper: Paper, days: Scale, y: float) -> None:
        for e in self.events:
            x = days.at(e.day.toordinal())
            sign(paper, e.sign, x, y)
            paper.point(x, y, f"{days.reader.day(e.day)}: {e.said}", e.link)

    def _today(self, paper: Paper, reader: Reader, days: Scale, foot: float) -> None:
        x = days.at(self.today.toordinal())
        paper.line(x, _TOP - 6, x, foot, width=2, now=True)
        paper.text(x - 5, foot - 42, sentence(say("picture.today"), reader), anchor="end", now=True)

    def _key(self, paper: Paper, reader: Reader, y: float) -> float:
        """What the signs are, in as many lines as they need."""
        x = 10.0
        usual = words_of(self.sums.usual_name, reader) if self.sums else ""
        for name, words in (*self.sign_names, *((("usual", usual),) if usual else ())):
            text = words_of(words, reader)
            wide = 24 + measured(text) + 16
            if x + wide > paper.width and x > 10:
                x, y = 10.0, y + LINE + 4
            if name == "usual":
                paper.line(x - 2, y - 5, x + 14, y - 5, width=2.4, now=True)
            else:
                sign(paper, name, x + 6, y - 5)
            paper.text(x + 22, y, text)
            x += wide
        return y + 10


def sign(paper: Paper, name: str, x: float, y: float) -> None:
    """An open ring for what was seen, a diamond for a call, a square for what was done."""
    if name == "done":
        paper.box(x - 5, y - 5, 10, 10)
    elif name == "call":
        paper.shape(f"M{x:.1f} {y - 7:.1f}l6 7l-6 7l-6-7z", now=True)
    else:
        paper.dot(x, y, 5, ring=True)
