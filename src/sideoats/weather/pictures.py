"""Pictures of the weather from plain data: heat against past years, rain, soil water, a herd's hours, a district map.

Each is a `sideoats.pictures.Picture`: a title that says the finding, a sentence, a table, and a drawing in one ink.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from sideoats.errors import InputError
from sideoats.pictures import Line, Picture, bars, date_ticks, grid, lines, shown
from sideoats.weather.arrays import floats
from sideoats.weather.pace import Pace
from sideoats.weather.rain_standing import RainStanding

_INCH = 25.4
WIDTH = 640


def _day_numbers(first: date, count: int) -> tuple[list[float], list[str], tuple[list[float], list[str]]]:
    """Day numbers of a run of days, their names, and month ticks."""
    days = [first + timedelta(days=i) for i in range(count)]
    return [float(d.toordinal()) for d in days], [d.isoformat() for d in days], date_ticks(days[0], days[-1])


def heat_against_past(found: Pace, *, what: str = "Heat units", unit: str = "degree-days F") -> Picture:
    """This season's running sum over the band and mean of the past years on the same dates.

    Parameters
    ----------
    found : from `sideoats.weather.pace.pace`
    what, unit : what is summed

    Raises
    ------
    InputError : no past year to draw against
    """
    if not len(found.years):
        raise InputError("no past year is whole enough to draw against", where="heat picture")
    x, names, ticks = _day_numbers(found.since, len(found.course))
    mean = found.courses.mean(axis=0)
    side = "ahead of" if found.days_ahead >= 0 else "behind"
    ahead = f", {abs(found.days_ahead):.0f} days {side} the mean" if math.isfinite(found.days_ahead) else ""
    years = f"{min(found.years)}-{max(found.years)}"
    summary = (
        f"{what} from {found.since:%d %B} to {found.on:%d %B %Y}: {found.total:.0f} {unit}; the mean of {years} on "
        f"this date is {found.mean:.0f}{ahead}. {found.missing} days of this season are missing and not counted."
    )
    title = f"{what} {found.total:.0f} against {found.mean:.0f} in past years{ahead}"
    series = (
        Line("this season", found.course),
        Line(f"mean {years}", mean, found.courses.min(axis=0), found.courses.max(axis=0)),
    )
    return lines(title, summary, x, series, x_label="date", y_label=unit, x_ticks=ticks, x_names=names, marks=False)


def rain_against_normal(spans: Sequence[RainStanding]) -> Picture:
    """Departure of the rain from normal over several spans, as bars.

    Parameters
    ----------
    spans : from `sideoats.weather.rain_standing.rain_standing`, shortest first; those not known are left out

    Raises
    ------
    InputError : none of them is known
    """
    spans = [s for s in spans if math.isfinite(s.stands.departure)]
    if not spans:
        raise InputError("too many of the last days are missing, or no past year is whole", where="rain picture")
    names = [f"{s.days} days" for s in spans]
    departures = [s.stands.departure / _INCH for s in spans]
    told = "; ".join(
        f"{s.days} days {s.stands.amount / _INCH:.1f} in, {s.stands.percent:.0f} % of normal" for s in spans
    )
    worst = min(spans, key=lambda s: s.stands.departure)
    short = worst.stands.departure / _INCH
    kind = "short of" if short < 0 else "above"
    title = f"Rain is {abs(short):.1f} in {kind} normal over {worst.days} days"
    return bars(title, f"Rain against normal: {told}.", names, departures, unit="inch from normal")


def soil_water(depletion: ArrayLike, available: float, fraction: float, first: date) -> Picture:
    """Water left in the root zone by day: the past as a line, the future as a band of draws.

    Parameters
    ----------
    depletion : (draw, day) [mm]; one row for a record of the past
    available : total available water [mm]
    fraction : share of it that is readily available
    first : date of the first day
    """
    left = 100 * (1 - floats(depletion).reshape(-1, floats(depletion).shape[-1]) / available)
    x, names, ticks = _day_numbers(first, left.shape[1])
    middle = np.median(left, axis=0)
    low, high = np.quantile(left, 0.1, axis=0), np.quantile(left, 0.9, axis=0)
    line = 100 * (1 - fraction)
    below = np.flatnonzero(middle < line)
    when = f"below the stress line from {names[below[0]]}" if below.size else "above the stress line throughout"
    summary = (
        f"Water left in the root zone: {middle[0]:.0f} % on {names[0]}, {middle[-1]:.0f} % on {names[-1]} in the "
        f"middle future (1 in 10 below {low[-1]:.0f} %, 1 in 10 above {high[-1]:.0f} %); crops are short of water "
        f"below {line:.0f} %."
    )
    series = (Line("water left", middle, low, high),)
    return lines(
        f"Soil water {when}", summary, x, series, x_label="date", y_label="% of usable water", x_ticks=ticks,
        x_names=names, reference=line, marks=False,
    )  # fmt: skip


def herd_hours(index: ArrayLike, first: date, class_names: Sequence[str], bounds: Sequence[float]) -> Picture:
    """Hours of each day that a herd spends in each heat class of the climate index.

    Parameters
    ----------
    index : (day, hour) comprehensive climate index [degC]
    first : date of the first day
    class_names : one more than `bounds`, from no stress up
    bounds : where the classes begin [degC]
    """
    table = floats(index)
    classes = np.searchsorted(np.asarray(bounds, dtype=np.float64), table, side="right")
    hours = np.stack([(classes == c).sum(axis=1) for c in range(len(class_names))], axis=0)
    days = [first + timedelta(days=i) for i in range(table.shape[0])]
    worst = int(np.argmax(table.max(axis=1)))
    name = class_names[int(classes[worst].max())]
    title = f"Worst day for the herd {days[worst]:%d %B}: {name}"
    summary = (
        f"Climate index up to {table.max():.0f} degC on {days[worst]:%d %B}; hours by class and day in the table, from "
        f"no stress ({class_names[0]}) to {class_names[-1]}."
    )
    columns = [f"{d:%d %b}" for d in days]
    return grid(
        title,
        summary,
        list(class_names),
        columns,
        hours.astype(np.float64),
        row_label="class",
        column_label="hours by day",
    )


def index_by_hour(index: ArrayLike, day: date, hot: float, *, names: Sequence[str] = ("in the open",)) -> Picture:
    """The climate index over the hours of one day, with the level above which cattle are not worked.

    Parameters
    ----------
    index : (line, 24) climate index at each solar hour [degC], such as in the open and in shade
    hot : the level [degC]
    """
    rows = np.atleast_2d(floats(index))
    above = np.flatnonzero((rows >= hot).any(axis=0))
    when = f"from hour {above[0]} to hour {above[-1]}" if above.size else "at no hour"
    title = f"Too hot to work cattle {when} on {day:%d %B}"
    high = f"highest {rows[0].max():.0f} degC {names[0]}"
    summary = f"Climate index on {day:%d %B}: {high}; cattle are not worked at {hot:.0f} degC or more."
    series = [Line(name, row) for name, row in zip(names, rows, strict=True)]
    hours = [float(h) for h in range(24)]
    return lines(
        title, summary, hours, series, x_label="hour of the sun", y_label="degC", reference=hot,
        x_ticks=([0.0, 6.0, 12.0, 18.0, 23.0], ["0", "6", "12", "18", "23"]),
    )  # fmt: skip


@dataclass(frozen=True)
class MapPoint:
    """A place on a district map: degrees north and east, and its value."""

    name: str
    latitude: float
    longitude: float
    value: float


def district_map(
    title: str,
    summary: str,
    points: Sequence[MapPoint],
    *,
    unit: str,
    bounds: Sequence[float],
    class_names: Sequence[str],
) -> Picture:
    """Places at their positions, marked by class: the fuller the mark, the higher the class; its value beside it.

    Longitude is shortened by the cosine of the middle latitude; no base map is drawn.

    Parameters
    ----------
    points : places; those without position or value are only in the table
    bounds : where the classes begin, rising, four at most
    class_names : one more than `bounds`
    """
    if len(class_names) != len(bounds) + 1 or len(bounds) > 4:
        raise ValueError("a map has up to five classes, one more than its bounds")
    placed = [p for p in points if all(map(math.isfinite, (p.latitude, p.longitude, p.value)))]
    if not placed:
        raise InputError("no place has a position and a value", where="map")
    north, south = max(p.latitude for p in placed), min(p.latitude for p in placed)
    east, west = max(p.longitude for p in placed), min(p.longitude for p in placed)
    shrink = math.cos(math.radians((north + south) / 2))
    wide, tall = max((east - west) * shrink, 1e-6), max(north - south, 1e-6)
    scale = min((WIDTH - 200) / wide, 300 / tall, 1e6)
    height = int(min(300, tall * scale)) + 70 + 20 * len(class_names)
    key = f"m{zlib.crc32((title + summary).encode()):08x}"
    parts = [_half_filled(key)]
    for p in placed:
        x, y = 60 + (p.longitude - west) * shrink * scale, 40 + (north - p.latitude) * scale
        parts.append(_map_mark(x, y, int(np.searchsorted(bounds, p.value, side="right")), key))
        parts.append(_text(x + 12, y + 4, f"{p.name} {shown(p.value)}"))
    parts += [_text(4, 14, unit), _text(WIDTH - 20, 14, "N up", anchor="end")]
    for at, name in enumerate(class_names):
        y = height - 20 * (len(class_names) - at) + 6
        parts += [_map_mark(70, y, at, key), _text(88, y + 4, name)]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-labelledby="{key}t {key}d" font-family="sans-serif">'
        f'<title id="{key}t">{escape(title)}</title><desc id="{key}d">{escape(summary)}</desc>'
    )
    rows = tuple(
        (
            p.name,
            shown(p.value),
            class_names[int(np.searchsorted(bounds, p.value, side="right"))] if math.isfinite(p.value) else "",
        )
        for p in points
    )
    return Picture(title, summary, ("place", unit, "class"), rows, head + "".join(parts) + "</svg>")


def _half_filled(key: str) -> str:
    return (
        f'<defs><pattern id="{key}h" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line x1="0" y1="0" x2="0" y2="4" stroke="currentColor" stroke-width="1.6"/></pattern></defs>'
    )


def _map_mark(x: float, y: float, level: int, key: str) -> str:
    """An open ring, a ring with a dot, a hatched disk, a disk with a hole, a full square: told apart without colour."""
    ring = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="FILL" stroke="currentColor" stroke-width="1.5"/>'
    dot = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.4" fill="currentColor"/>'
    if level == 0:
        return ring.replace("FILL", "none")
    if level == 1:
        return ring.replace("FILL", "none") + dot
    if level == 2:
        return ring.replace("FILL", f"url(#{key}h)")
    if level == 3:
        return ring.replace("FILL", "currentColor")
    return f'<rect x="{x - 8:.1f}" y="{y - 8:.1f}" width="16" height="16" fill="currentColor"/>'


def _text(x: float, y: float, words: str, *, anchor: str = "start") -> str:
    ink = 'font-size="12" fill="currentColor"'
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {ink}>{escape(words)}</text>'
