"""A place's season as one drawing: temperature and rain of its station, and what was seen, advised and done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from sideoats.desk.figures import nice_step
from sideoats.desk.shown import day, figure
from sideoats.station import StationDays

Floats = NDArray[np.float64]
WIDTH, LEFT, RIGHT = 720.0, 46.0, 12.0
_TOP, _HEAT, _RAIN_TOP, _RAIN, _EVENTS, _HEIGHT = 16.0, 92.0, 128.0, 58.0, 216.0, 262.0
LONGEST_DAYS, SHORTEST_DAYS = 400, 60
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class Event:
    """Something that happened at a place, with its shape in the drawing: "seen", "call" or "done"."""

    day: date
    shape: str
    text: str
    link: str


@dataclass(frozen=True)
class Season:
    """The drawing, what it says in a sentence, and the weekly figures behind it."""

    drawing: Markup
    sentence: str
    weeks: tuple[tuple[date, float, float, float, float], ...]
    start: date
    end: date


def season_start(attributes: dict[str, Any], on: date) -> date:
    """Two weeks before planting where that is known and recent, else half a year back."""
    try:
        planted = date.fromisoformat(str(attributes.get("planting_date", "")))
    except ValueError:
        planted = on - timedelta(days=183)
    start = planted - timedelta(days=14)
    if not 0 <= (on - start).days <= LONGEST_DAYS:
        start = on - timedelta(days=183)
    return min(start, on - timedelta(days=SHORTEST_DAYS))


def draw_season(record: StationDays | None, events: Sequence[Event], start: date, on: date) -> Season:
    """The season from `start` to a week past `on`; temperature in degrees Fahrenheit, rain in inches."""
    end = on + timedelta(days=7)
    days = (end - start).days

    def x(when: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * max(0, min(days, (when - start).days)) / days

    parts = [_months(start, end, x)]
    weeks: list[tuple[date, float, float, float, float]] = []
    sentence = "No station stands for this place, so no weather is drawn."
    if record is not None and len(record):
        high, low, rain, usual = (_slice(record, name, start, on) for name in ("tmax", "tmin", "rain", "usual rain"))
        high, low = high * 1.8 + 32, low * 1.8 + 32
        rain, usual = rain / 25.4, usual / 25.4
        parts += [_heat(high, low, start, x), _rain(rain, usual, start, x)]
        weeks = _weeks(high, low, rain, usual, start)
        sentence = _say(rain, usual, start, record)
    parts.append(_events([e for e in events if start <= e.day <= end], x))
    parts.append(
        Markup('<line class="today" x1="{0:.1f}" x2="{0:.1f}" y1="{1}" y2="{2}"/>').format(x(on), _TOP, _EVENTS + 14)
    )
    drawing = Markup(
        '<svg class="season" viewBox="0 0 {:.0f} {:.0f}" aria-hidden="true" focusable="false">{}</svg>'
    ).format(WIDTH, _HEIGHT, Markup("").join(parts))
    return Season(drawing, sentence, tuple(weeks), start, end)


def _slice(record: StationDays, name: str, start: date, on: date) -> Floats:
    """(day,) from `start` to the day before `on`; NaN outside the record; "usual rain" is the past years' mean."""
    days = (on - start).days
    if name == "usual rain":
        if "rain" not in record.values:
            return np.full(days, np.nan)
        _, table = record.seasons("rain", start.month, start.day, days)
        if len(table) < 2:
            return np.full(days, np.nan)
        with np.errstate(all="ignore"):
            counts = np.sum(~np.isnan(table[:-1]), axis=0)
            return np.where(counts > 0, np.nansum(table[:-1], axis=0) / np.maximum(counts, 1), np.nan)
    out = np.full(days, np.nan)
    if name not in record.values:
        return out
    values, first = record.usable(name), record.index(start)
    low, high = max(first, 0), min(first + days, len(values))
    if high > low:
        out[low - first : high - first] = values[low:high]
    return out


def _months(start: date, end: date, x: Any) -> Markup:
    parts = [
        Markup('<line class="axis" x1="{}" x2="{}" y1="{}" y2="{}"/>').format(
            LEFT, WIDTH - RIGHT, _HEIGHT - 22, _HEIGHT - 22
        )
    ]
    when = date(start.year, start.month, 1)
    while when <= end:
        if when >= start:
            parts.append(
                Markup(
                    '<line class="grid" x1="{0:.1f}" x2="{0:.1f}" y1="{1}" y2="{2}"/>'
                    '<text x="{3:.1f}" y="{4}" font-size="11">{5}</text>'
                ).format(
                    x(when), _TOP, _HEIGHT - 22, x(when) + 3, _HEIGHT - 8, _MONTHS[when.month - 1]
                )
            )  # fmt: skip
        when = date(when.year + when.month // 12, when.month % 12 + 1, 1)
    return Markup("").join(parts)


def _heat(high: Floats, low: Floats, start: date, x: Any) -> Markup:
    known = np.concatenate([high[~np.isnan(high)], low[~np.isnan(low)]])
    if not known.size:
        return Markup("")
    step = nice_step(float(known.max() - known.min()), 3)
    bottom, top = math.floor(known.min() / step) * step, math.ceil(known.max() / step) * step
    top = top if top > bottom else bottom + step

    def y(value: float) -> float:
        return float(_TOP + _HEAT * (top - value) / (top - bottom))

    marks = [
        Markup(
            '<line class="grid" x1="{}" x2="{}" y1="{:.1f}" y2="{:.1f}"/>'
            '<text x="{}" y="{:.1f}" font-size="11" text-anchor="end">{:.0f}</text>'
        ).format(
            LEFT, WIDTH - RIGHT, y(v), y(v), LEFT - 5, y(v) + 4, v
        )
        for v in np.arange(bottom, top + step / 2, step)
    ]  # fmt: skip
    sticks = "".join(
        f"M{x(start + timedelta(days=i)):.1f} {y(a):.1f}V{y(b):.1f}"
        for i, (a, b) in enumerate(zip(high.tolist(), low.tolist(), strict=True))
        if a == a and b == b
    )
    label = Markup('<text x="2" y="{}" font-size="11">°F</text>').format(_TOP - 4)
    return Markup("").join([*marks, Markup('<path class="heat" d="{}"/>').format(sticks), label])


def _rain(rain: Floats, usual: Floats, start: date, x: Any) -> Markup:
    weeks = range(0, len(rain), 7)
    sums = [float(np.nansum(rain[i : i + 7])) for i in weeks]
    normal = [float(np.nansum(usual[i : i + 7])) for i in weeks]
    most = max([0.5, *sums, *normal])
    floor = _RAIN_TOP + _RAIN
    parts = []
    for i, total in zip(weeks, sums, strict=True):
        left, right = x(start + timedelta(days=i)), x(start + timedelta(days=min(i + 7, len(rain))))
        height = _RAIN * total / most
        parts.append(
            Markup('<rect class="rain" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>').format(
                left + 1, floor - height, max(right - left - 2, 0.5), height
            )
        )
    line = "".join(
        f"{'M' if k == 0 else 'L'}{x(start + timedelta(days=min(i + 3, len(rain)))):.1f} {floor - _RAIN * v / most:.1f}"
        for k, (i, v) in enumerate(zip(weeks, normal, strict=True))
    )
    parts.append(Markup('<path class="usual" d="{}"/>').format(line))
    parts.append(
        Markup('<line class="axis" x1="{}" x2="{}" y1="{}" y2="{}"/>').format(LEFT, WIDTH - RIGHT, floor, floor)
    )
    parts.append(
        Markup('<text x="{}" y="{}" font-size="11" text-anchor="end">{:.1f}</text>').format(
            LEFT - 5, _RAIN_TOP + 4, most
        )
    )
    parts.append(Markup('<text x="2" y="{}" font-size="11">in/wk</text>').format(_RAIN_TOP + 22))
    return Markup("").join(parts)


def _events(events: Sequence[Event], x: Any) -> Markup:
    parts = []
    for e in events:
        at = x(e.day)
        if e.shape == "done":
            shape = Markup('<rect class="event-box" x="{:.1f}" y="{}" width="10" height="10"/>').format(
                at - 5, _EVENTS - 5
            )
        elif e.shape == "call":
            shape = Markup('<path class="event" d="M{0:.1f} {1}l6 7l-6 7l-6-7z"/>').format(at, _EVENTS - 7)
        else:
            shape = Markup('<circle class="event-ring" cx="{:.1f}" cy="{}" r="5"/>').format(at, _EVENTS)
        parts.append(
            Markup('<a href="{}" tabindex="-1"><title>{}: {}</title>{}</a>').format(e.link, day(e.day), e.text, shape)
        )
    return Markup("").join(parts)


def _weeks(
    high: Floats, low: Floats, rain: Floats, usual: Floats, start: date
) -> list[tuple[date, float, float, float, float]]:
    out = []
    for i in range(0, len(rain), 7):
        part = slice(i, i + 7)
        columns = (high[part], low[part])
        means = [float(np.nanmean(c)) if (~np.isnan(c)).any() else math.nan for c in columns]
        out.append((start + timedelta(days=i), *means, float(np.nansum(rain[part])), float(np.nansum(usual[part]))))
    return out  # type: ignore[return-value]


def _say(rain: Floats, usual: Floats, start: date, record: StationDays) -> str:
    fell, normal = float(np.nansum(rain)), float(np.nansum(usual))
    missing = int(np.isnan(rain).sum())
    text = f"Since {day(start)}, {figure(fell, 1)} inches of rain fell at {record.name or record.station}"
    if normal > 0.05:
        text += f", {fell / normal * 100:.0f} % of the past years' {figure(normal, 1)}"
    return text + (f"; {missing} days have no rain record and count as none." if missing else ".")
