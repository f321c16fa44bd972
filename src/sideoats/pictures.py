"""Small charts as SVG text, shared by every room: lines with bands, bars, intervals, a grid of numbers.

Each comes as a `Picture`: a title that says the finding, a sentence that says it again in words, the numbers as a
table, and the drawing. Drawings use one ink (``currentColor``) with dashes, markers and hatching, never colour alone,
so they print in black and white and follow a dark page. Only presentation attributes are used: a page that forbids
inline styles shows them unchanged. All text is escaped.
"""

from __future__ import annotations

import itertools
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from html import escape
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError

Floats: TypeAlias = NDArray[np.float64]
WIDTH, HEIGHT = 640, 360
LEFT, RIGHT, TOP, BOTTOM = 64, 132, 18, 46  # margins; names of lines stand in the right one
DASHES = ("", "7 4", "2 3", "10 3 2 3", "1 5")
MARKS = ("circle", "square", "triangle", "diamond", "cross")


@dataclass(frozen=True)
class Picture:
    """A chart with all that a reader who cannot see it needs.

    Attributes
    ----------
    title : one sentence that says the finding
    summary : the same in words with the numbers that matter
    columns, rows : the data as a table of text
    svg : the drawing, one ``<svg>`` element
    """

    title: str
    summary: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    svg: str

    def html(self) -> str:
        """A ``<figure>`` with the drawing, the summary and the table folded under it."""
        head = "".join(f'<th scope="col">{escape(c)}</th>' for c in self.columns)
        body = "".join("<tr>" + "".join(f"<td>{escape(c)}</td>" for c in row) + "</tr>" for row in self.rows)
        return (
            f"<figure><figcaption>{escape(self.title)}</figcaption>{self.svg}<p>{escape(self.summary)}</p>"
            f"<details><summary>Numbers</summary><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
            "</details></figure>"
        )


@dataclass(frozen=True)
class Line:
    """One line: y at each x, and the ends of its band where it has one; NaN leaves a gap."""

    name: str
    y: ArrayLike
    low: ArrayLike | None = None
    high: ArrayLike | None = None


@dataclass(frozen=True)
class _Frame:
    """Data to paper. x and y are (lowest, highest) of the data; `parts` collects SVG."""

    x: tuple[float, float]
    y: tuple[float, float]
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    parts: list[str] = field(default_factory=list)

    def px(self, value: float) -> float:
        span = self.x[1] - self.x[0] or 1.0
        return self.left + (value - self.x[0]) / span * (WIDTH - self.left - self.right)

    def py(self, value: float) -> float:
        span = self.y[1] - self.y[0] or 1.0
        return self.height - BOTTOM - (value - self.y[0]) / span * (self.height - TOP - BOTTOM)

    def add(self, part: str) -> None:
        self.parts.append(part)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, width: float = 1, dash: str = "", faint: bool = False
    ) -> None:
        """A stroke in paper units."""
        extra = (f' stroke-dasharray="{dash}"' if dash else "") + (' stroke-opacity="0.25"' if faint else "")
        self.add(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="currentColor" '
            f'stroke-width="{width:g}"{extra}/>'
        )

    def text(
        self, x: float, y: float, words: str, *, anchor: str = "start", size: int = 12, bold: bool = False
    ) -> None:
        """Words in paper units, escaped."""
        weight = ' font-weight="bold"' if bold else ""
        self.add(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" fill="currentColor"{weight}>'
            f"{escape(words)}</text>"
        )

    def svg(self, title: str, summary: str) -> str:
        """The whole drawing with its title and description for assistive software."""
        key = f"p{zlib.crc32((title + summary).encode()):08x}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {self.height}" role="img" '
            f'aria-labelledby="{key}t {key}d" font-family="sans-serif">'
            f'<title id="{key}t">{escape(title)}</title><desc id="{key}d">{escape(summary)}</desc>'
            f"{''.join(self.parts).replace('#KEY', key)}</svg>"
        )


def nice_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers from `low` to `high`, at most about `most` of them."""
    if not (math.isfinite(low) and math.isfinite(high)):
        raise InputError("nothing to draw: no finite number was given")
    span = high - low or abs(high) or 1.0
    raw = span / max(1, most - 1)
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(m * size for m in (1, 2, 2.5, 5, 10) if m * size >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    count = math.floor(high / step + 1e-9) - first + 1
    return [(first + i) * step for i in range(max(count, 1))]


def tick_names(ticks: Sequence[float]) -> list[str]:
    """Ticks as printed beside an axis: all with as many decimals as their step needs."""
    step = min((abs(b - a) for a, b in itertools.pairwise(ticks)), default=0.0)
    digits = next((d for d in range(6) if abs(round(step, d) - step) <= 1e-9 * max(step, 1e-9)), 6) if step else 0
    return [f"{value + 0.0:,.{digits}f}" for value in ticks] if step else [shown(value) for value in ticks]


def date_ticks(first: date, last: date, most: int = 8) -> tuple[list[float], list[str]]:
    """First days of months between two days as day numbers (``date.toordinal``) and their names."""
    months = (last.year - first.year) * 12 + last.month - first.month + 1
    every = max(1, -(-months // most))
    at: list[float] = []
    names: list[str] = []
    for step in range(0, months + 1, every):
        year, month = divmod(first.month - 1 + step, 12)
        day = date(first.year + year, month + 1, 1)
        if first <= day <= last:
            at.append(float(day.toordinal()))
            names.append(day.strftime("%b %Y" if day.month == 1 or not names else "%b"))
    return at, names


def _span(values: Sequence[ArrayLike | None], *, zero: bool = False) -> tuple[float, float]:
    """Lowest and highest finite value with a little air, through zero where asked."""
    flat = np.concatenate([np.asarray(v, dtype=np.float64).ravel() for v in values if v is not None] or [np.zeros(0)])
    flat = flat[np.isfinite(flat)]
    if not flat.size:
        raise InputError("nothing to draw: no finite number was given")
    low, high = float(flat.min()), float(flat.max())
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    air = 0.05 * (high - low) or 0.05 * abs(high) or 1.0
    return low - (0 if zero and low == 0 else air), high + (0 if zero and high == 0 else air)


def shown(value: float) -> str:
    """A number as printed on an axis or in a table: thousands, few decimals, an empty cell for no value."""
    if not math.isfinite(value):
        return ""
    size = abs(value)
    digits = 0 if size >= 100 or value == round(value) else 1 if size >= 10 else 2 if size >= 1 else 3
    return f"{value:,.{digits}f}"


def _axes(frame: _Frame, x_label: str, y_label: str, x_ticks: tuple[Sequence[float], Sequence[str]] | None) -> None:
    levels = nice_ticks(*frame.y)
    for value, name in zip(levels, tick_names(levels), strict=True):
        y = frame.py(value)
        frame.line(frame.left, y, WIDTH - frame.right, y, faint=True)
        frame.text(frame.left - 6, y + 4, name, anchor="end")
    numbers = nice_ticks(*frame.x)
    at, names = x_ticks if x_ticks is not None else (numbers, tick_names(numbers))
    bottom = frame.height - BOTTOM
    for value, name in zip(at, names, strict=True):
        frame.line(frame.px(value), bottom, frame.px(value), bottom + 5)
        frame.text(frame.px(value), bottom + 18, name, anchor="middle")
    frame.line(frame.left, bottom, WIDTH - frame.right, bottom)
    frame.text((frame.left + WIDTH - frame.right) / 2, frame.height - 6, x_label, anchor="middle")
    frame.text(4, 12, y_label)


def _runs(good: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of True as (first, end exclusive)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _mark(frame: _Frame, kind: str, x: float, y: float) -> None:
    ink = 'fill="currentColor" stroke="currentColor"'
    shapes = {
        "circle": f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" {ink}/>',
        "square": f'<rect x="{x - 3.2:.1f}" y="{y - 3.2:.1f}" width="6.4" height="6.4" {ink}/>',
        "triangle": f'<path d="M{x:.1f} {y - 4:.1f}l4 7h-8z" {ink}/>',
        "diamond": f'<path d="M{x:.1f} {y - 4.5:.1f}l4 4.5-4 4.5-4-4.5z" {ink}/>',
        "cross": f'<path d="M{x - 3.5:.1f} {y - 3.5:.1f}l7 7m0-7l-7 7" {ink} stroke-width="1.8"/>',
    }
    frame.add(shapes[kind])


def _band(frame: _Frame, x: Floats, low: Floats, high: Floats, at: int) -> None:
    for first, end in _runs(np.isfinite(low) & np.isfinite(high)):
        over = [f"{frame.px(x[i]):.1f} {frame.py(high[i]):.1f}" for i in range(first, end)]
        under = [f"{frame.px(x[i]):.1f} {frame.py(low[i]):.1f}" for i in reversed(range(first, end))]
        frame.add(
            f'<path d="M{"L".join(over + under)}Z" fill="currentColor" fill-opacity="0.13" stroke="currentColor" '
            f'stroke-opacity="0.5" stroke-width="0.8" stroke-dasharray="{DASHES[(at + 2) % len(DASHES)]}"/>'
        )


def _stroke(frame: _Frame, x: Floats, y: Floats, at: int, marks: bool) -> None:
    dash = DASHES[at % len(DASHES)]
    extra = f' stroke-dasharray="{dash}"' if dash else ""
    for first, end in _runs(np.isfinite(y)):
        points = [f"{frame.px(x[i]):.1f} {frame.py(y[i]):.1f}" for i in range(first, end)]
        frame.add(f'<path d="M{"L".join(points)}" fill="none" stroke="currentColor" stroke-width="2"{extra}/>')
        if marks or end - first == 1:
            for i in range(first, end):
                _mark(frame, MARKS[at % len(MARKS)], frame.px(x[i]), frame.py(y[i]))


def _names(frame: _Frame, named: Sequence[tuple[str, float]]) -> None:
    """Names at the right ends of lines, pushed apart so that they can be read."""
    order = sorted(range(len(named)), key=lambda i: frame.py(named[i][1]))
    below = -math.inf
    for i in order:
        y = max(frame.py(named[i][1]) + 4, below + 14)
        frame.text(WIDTH - frame.right + 8, y, named[i][0])
        below = y


def lines(
    title: str,
    summary: str,
    x: ArrayLike,
    series: Sequence[Line],
    *,
    x_label: str,
    y_label: str,
    x_ticks: tuple[Sequence[float], Sequence[str]] | None = None,
    x_names: Sequence[str] | None = None,
    reference: float | None = None,
    marks: bool | None = None,
) -> Picture:
    """Lines over x, each with its band.

    Parameters
    ----------
    x : (n,) rising numbers; for dates give day numbers and `x_ticks` (see `date_ticks`)
    series : the lines, the most important first; at most five are told apart
    x_label, y_label : with their units
    x_ticks : positions and names on the x axis; round numbers where None
    x_names : text of x in the table; the numbers where None
    reference : a level drawn across, such as break-even
    marks : draw a marker at each point; by default where there are 24 points or fewer
    """
    across = np.asarray(x, dtype=np.float64)
    frame = _Frame(
        (float(across.min()), float(across.max())) if across.size else (math.nan, math.nan),
        _span([v for s in series for v in (s.y, s.low, s.high)] + ([reference] if reference is not None else [])),
    )
    _axes(frame, x_label, y_label, x_ticks)
    if reference is not None:
        frame.line(LEFT, frame.py(reference), WIDTH - RIGHT, frame.py(reference), width=1.2, dash="3 3")
    pointed = across.size <= 24 if marks is None else marks
    ends, columns = [], [x_label]
    for at, one in enumerate(series):
        y = np.asarray(one.y, dtype=np.float64)
        if one.low is not None and one.high is not None:
            _band(frame, across, np.asarray(one.low, float), np.asarray(one.high, float), at)
        _stroke(frame, across, y, at, pointed)
        known = np.flatnonzero(np.isfinite(y))
        if known.size:
            ends.append((one.name, float(y[known[-1]])))
        columns += [one.name] + ([f"{one.name}, low", f"{one.name}, high"] if one.low is not None else [])
    _names(frame, ends)
    cells = [np.asarray(v, float) for s in series for v in (s.y, s.low, s.high) if v is not None]
    told = list(x_names) if x_names is not None else [shown(v) for v in across.tolist()]
    rows = tuple((told[i], *(shown(float(c[i])) for c in cells)) for i in range(across.size))
    return Picture(title, summary, tuple(columns), rows, frame.svg(title, summary))


def bars(title: str, summary: str, names: Sequence[str], values: ArrayLike, *, unit: str) -> Picture:
    """Upright bars from zero; those below zero are hatched, so that the sign shows without colour."""
    heights = np.asarray(values, dtype=np.float64)
    frame = _Frame((-0.5, len(names) - 0.5), _span([heights], zero=True), right=16)
    _hatching(frame)
    _axes(frame, "", unit, ([float(i) for i in range(len(names))], list(names)))
    for at, height in enumerate(heights.tolist()):
        if math.isfinite(height):
            top, bottom = frame.py(max(height, 0.0)), frame.py(min(height, 0.0))
            wide = 0.7 * (frame.px(1) - frame.px(0))
            ink = 'fill="currentColor" fill-opacity="0.75"' if height >= 0 else 'fill="url(##KEYh)"'
            frame.add(
                f'<rect x="{frame.px(at) - wide / 2:.1f}" y="{top:.1f}" width="{wide:.1f}" '
                f'height="{max(bottom - top, 0.5):.1f}" {ink} stroke="currentColor"/>'
            )
    frame.line(frame.left, frame.py(0), WIDTH - frame.right, frame.py(0), width=1.5)
    rows = tuple((name, shown(v)) for name, v in zip(names, heights.tolist(), strict=True))
    return Picture(title, summary, ("", unit), rows, frame.svg(title, summary))


def intervals(
    title: str,
    summary: str,
    names: Sequence[str],
    low: ArrayLike,
    middle: ArrayLike,
    high: ArrayLike,
    *,
    unit: str,
    reference: float | None = None,
) -> Picture:
    """One row a name: a bar from low to high with a dot at the middle; a row without numbers says so."""
    ends = [np.asarray(v, dtype=np.float64) for v in (low, middle, high)]
    height = TOP + BOTTOM + 30 * len(names)
    reach = _span([*ends, *([reference] if reference is not None else [])])
    frame = _Frame(reach, (0.0, float(len(names))), height=height, left=200, right=20)
    bottom = height - BOTTOM
    marks = nice_ticks(*reach)
    for value, told in zip(marks, tick_names(marks), strict=True):
        frame.line(frame.px(value), TOP, frame.px(value), bottom, faint=True)
        frame.text(frame.px(value), bottom + 16, told, anchor="middle")
    if reference is not None:
        frame.line(frame.px(reference), TOP, frame.px(reference), bottom, width=1.2, dash="3 3")
    for at, name in enumerate(names):
        y = TOP + 30 * at + 15
        frame.text(frame.left - 8, y + 4, name if len(name) <= 30 else name[:29] + "…", anchor="end")
        first, mid, last = (float(v[at]) for v in ends)
        if math.isfinite(first) and math.isfinite(last):
            frame.line(frame.px(first), y, frame.px(last), y, width=3)
            for end in (first, last):
                frame.line(frame.px(end), y - 5, frame.px(end), y + 5, width=1.5)
        if math.isfinite(mid):
            frame.add(
                f'<circle cx="{frame.px(mid):.1f}" cy="{y:.1f}" r="5" fill="currentColor" stroke="currentColor"/>'
            )
        else:
            frame.text(frame.px(reach[0]) + 4, y + 4, "no figure")
    frame.text((frame.left + WIDTH - frame.right) / 2, height - 8, unit, anchor="middle")
    rows = tuple((n, *(shown(float(v[i])) for v in ends)) for i, n in enumerate(names))
    return Picture(title, summary, ("", "low", "middle", "high"), rows, frame.svg(title, summary))


def grid(
    title: str,
    summary: str,
    row_names: Sequence[str],
    column_names: Sequence[str],
    values: ArrayLike,
    *,
    row_label: str,
    column_label: str,
) -> Picture:
    """A table of numbers: losses (below zero) are hatched, gains stand bold on white."""
    table = np.asarray(values, dtype=np.float64)
    if table.shape != (len(row_names), len(column_names)):
        raise ValueError(f"values {table.shape} do not fit {len(row_names)} rows and {len(column_names)} columns")
    left, top, tall = 118, 48, 30
    height = top + tall * len(row_names) + 14
    frame = _Frame((0.0, 1.0), (0.0, 1.0), height=height, left=left, right=10)
    _hatching(frame)
    wide = (WIDTH - left - 10) / max(1, len(column_names))
    frame.text(left + wide * len(column_names) / 2, 16, column_label, anchor="middle")
    frame.text(4, 16, row_label)
    for c, name in enumerate(column_names):
        frame.text(left + wide * (c + 0.5), top - 8, name, anchor="middle")
    for r, name in enumerate(row_names):
        frame.text(left - 8, top + tall * (r + 0.5) + 4, name, anchor="end")
        for c in range(len(column_names)):
            value = float(table[r, c])
            ink = "url(##KEYh)" if value < 0 else "none"
            frame.add(
                f'<rect x="{left + wide * c:.1f}" y="{top + tall * r:.1f}" width="{wide:.1f}" height="{tall}" '
                f'fill="{ink}" stroke="currentColor" stroke-opacity="0.6"/>'
            )
            frame.text(
                left + wide * (c + 0.5), top + tall * (r + 0.5) + 4, shown(value), anchor="middle", bold=value > 0
            )
    columns = (f"{row_label} / {column_label}", *column_names)
    rows = tuple((n, *(shown(float(v)) for v in table[r])) for r, n in enumerate(row_names))
    return Picture(title, summary, columns, rows, frame.svg(title, summary))


def _hatching(frame: _Frame) -> None:
    frame.add(
        '<defs><pattern id="#KEYh" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line x1="0" y1="0" x2="0" y2="6" stroke="currentColor" stroke-width="1.4" stroke-opacity="0.45"/></pattern>'
        "</defs>"
    )
