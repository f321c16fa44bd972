"""A place's season: temperature and rain of its station, and what was seen, advised and done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.pictures import Axis, Calendar, Event, Picture, Span, Sums
from sideoats.station import StationDays
from sideoats.words import Count, Day, Measured, Name, Share, say

Floats = NDArray[np.float64]
LONGEST_DAYS, SHORTEST_DAYS = 400, 60


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


def season_picture(record: StationDays | None, events: Sequence[Event], start: date, on: date) -> Picture:
    """The season from `start` to a week past `on`."""
    end = on + timedelta(days=7)
    spans, sums, weeks = None, None, []
    finding, saying = say("picture.calendar.dry"), say("picture.calendar.signs")
    if record is not None and len(record):
        high, low, rain, usual = (_slice(record, name, start, on) for name in ("tmax", "tmin", "rain", "usual rain"))
        starts = range(0, len(rain), 7)
        fell, normal = ([_sum(values[i : i + 7]) for i in starts] for values in (rain, usual))
        spans = Span(Axis(say("picture.calendar.temperature"), "degC"), low, high)
        sums = Sums(Axis(say("picture.calendar.rain"), "mm"), fell, normal, say("picture.calendar.usual"))
        weeks = [
            (start + timedelta(days=i), _mean(high[i : i + 7]), _mean(low[i : i + 7]), fell[i // 7], normal[i // 7])
            for i in starts
        ]
        finding, saying = _say(rain, usual, start, record)
    return Calendar(
        finding=finding,
        saying=saying,
        first=start,
        last=end,
        today=on,
        spans=spans,
        sums=sums,
        events=[e for e in events if start <= e.day <= end],
        sign_names=[(name, say(f"picture.calendar.{name}")) for name in ("seen", "call", "done")],
        heads=[say(f"picture.calendar.{name}") for name in ("week", "high", "low", "rain", "past")],
        weeks=weeks,
    )


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


def _sum(values: Floats) -> float:
    """Of the days that are known; NaN where none is."""
    return float(np.nansum(values)) if np.isfinite(values).any() else math.nan


def _mean(values: Floats) -> float:
    return float(np.nanmean(values)) if np.isfinite(values).any() else math.nan


def _say(rain: Floats, usual: Floats, start: date, record: StationDays) -> tuple[Any, Any]:
    """The finding and what stands below it."""
    fell, normal = float(np.nansum(rain)), float(np.nansum(usual))
    missing = int(np.isnan(rain).sum())
    told = {"since": Day(start), "rain": Measured(fell, unit="mm"), "station": Name(record.name or record.station)}
    finding = say("picture.calendar.title", **told)
    if normal > 1.0:
        more = {"share": Share(fell / normal), "usual": Measured(normal, unit="mm")}
        finding = say("picture.calendar.share", **told, **more)
    saying = say("picture.calendar.missing", n=Count(missing)) if missing else say("picture.calendar.says")
    return finding, saying
